"""Hills against h-maxima and watershed, and the window curve against one plane fit after the other.

Run with:  pytest tests/benchmarks --benchmark-enable --benchmark-only -m "long or not long"
Both ways run in one process on the same map, so the ratio of their times is the result; no time is asserted, equality
is.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from pytest_benchmark.fixture import BenchmarkFixture

from core.heightmap import HeightMap
from core.measures.hills import PRUNING, hills_of
from core.measures.window_curve import sizes_up_to, window_curve
from core.synthetic import self_affine

PITCH = (1e-8, 1e-8)
SIDES = [256, 1024, pytest.param(512, marks=pytest.mark.long), pytest.param(2048, marks=pytest.mark.long)]


def polished(side: int, *, noise: float = 0.0, missing: float = 0.0) -> HeightMap:
    rng = np.random.default_rng(side)
    z = self_affine((side, side), PITCH, sq=1e-9, hurst=0.8, roll_off=side * PITCH[0] / 8, rng=rng)
    z += noise * 1e-9 * rng.standard_normal(z.shape)
    z[rng.random(z.shape) < missing] = np.nan
    return HeightMap(z, PITCH)


def least(scan: HeightMap) -> float:
    return PRUNING * float(np.ptp(scan.heights()))


def pruned(scan: HeightMap) -> int:
    return len(hills_of(scan, least(scan)))


def h_maxima_and_watershed(scan: HeightMap) -> int:
    from scipy import ndimage
    from skimage.morphology import h_maxima
    from skimage.segmentation import watershed

    # h_maxima allows for rounding in proportion to the height: near height 0 it loses summits (scikit-image 0.26:
    # 10 of 2136 on the noisy 256² map, where a flood finds 2136), so the map is lifted off 0
    tops = h_maxima(scan.z - scan.z.min() + 10 * least(scan), least(scan))
    markers, count = ndimage.label(tops, np.ones((3, 3)))
    watershed(-scan.z, markers, connectivity=2)
    return int(count)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("noise", [0.0, 0.5], ids=["smooth", "noisy"])
@pytest.mark.parametrize("way", [pruned, h_maxima_and_watershed], ids=lambda way: way.__name__)
def test_hills(benchmark: BenchmarkFixture, way: Callable[[HeightMap], int], noise: float, side: int) -> None:
    scan = polished(side, noise=noise)
    benchmark.group = f"hills, {side}², {'noisy' if noise else 'smooth'}"
    assert benchmark(way, scan) == pruned(scan)


@pytest.mark.parametrize("side", SIDES)
def test_hills_with_missing_points(benchmark: BenchmarkFixture, side: int) -> None:
    benchmark.group = f"hills, {side}², smooth"
    assert benchmark(pruned, polished(side, missing=0.02)) > 0


@pytest.mark.parametrize("side", SIDES)
def test_sort_floor(benchmark: BenchmarkFixture, side: int) -> None:
    heights = polished(side).heights()
    benchmark.group = f"hills, {side}², smooth"
    assert benchmark(np.sort, heights).size == heights.size


def joined_blocks(scan: HeightMap) -> NDArray[np.float64]:
    return window_curve(scan).rms


def plane_after_plane(scan: HeightMap) -> NDArray[np.float64]:
    """Windows side by side only: those that overlap, as `window_curve` takes them, would be far more."""
    rms = []
    for size in sizes_up_to(min(scan.shape) // 8):
        n = 8 * size
        y, x = np.mgrid[0:n, 0:n].reshape(2, -1) - (n - 1) / 2
        terms = np.stack([np.ones(n * n), y, x], axis=1)
        squares = []
        for top in range(0, scan.shape[0] - n + 1, n):
            for left in range(0, scan.shape[1] - n + 1, n):
                window = scan.z[top : top + n, left : left + n].reshape(-1)
                residual = window - terms @ np.linalg.lstsq(terms, window, rcond=None)[0]
                squares.append(float(np.mean(residual**2)))
        rms.append(math.sqrt(np.mean(squares)))
    return np.array(rms)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("way", [joined_blocks, plane_after_plane], ids=lambda way: way.__name__)
def test_window_curve(benchmark: BenchmarkFixture, way: Callable[[HeightMap], NDArray[np.float64]], side: int) -> None:
    scan = polished(side)
    benchmark.group = f"window curve, {side}²"
    found = benchmark.pedantic(way, (scan,), rounds=1 if way is plane_after_plane else 10, warmup_rounds=1)
    same = window_curve(scan).rms
    assert found[0] == pytest.approx(
        same[0], rel=1e-9, abs=0
    )  # the smallest windows and the whole map are the same ones
    assert found[-1] == pytest.approx(same[-1], rel=1e-9, abs=0)


@pytest.mark.parametrize("side", SIDES)
def test_window_curve_with_missing_points(benchmark: BenchmarkFixture, side: int) -> None:
    benchmark.group = f"window curve, {side}²"
    assert benchmark(joined_blocks, polished(side, missing=0.02)).size > 0


@pytest.mark.parametrize("side", SIDES)
def test_copy_floor(benchmark: BenchmarkFixture, side: int) -> None:
    scan = polished(side)
    benchmark.group = f"window curve, {side}²"
    assert benchmark(np.copy, scan.z).size == scan.z.size
