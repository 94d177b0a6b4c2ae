"""All readings of a map against the script: powers for the moments, percentiles, whole-array slopes.

Run with:  pytest tests/benchmarks --benchmark-enable --benchmark-only -m "long or not long"
Both run in one process on the same map, so the ratio of their times is the result; no time is asserted, equality is.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from pytest_benchmark.fixture import BenchmarkFixture

from core.heightmap import HeightMap
from core.measures import readings

PITCH = (1e-8, 1e-8)
SIDES = [1024, pytest.param(4096, marks=pytest.mark.long)]


def film(side: int, *, holes: bool = False) -> HeightMap:
    rng = np.random.default_rng(side)
    z = 1e-9 * rng.standard_normal((side, side))
    if holes:
        z[rng.random(z.shape) < 0.02] = np.nan
    return HeightMap(z, PITCH)


def script(z: NDArray[np.float64]) -> dict[str, float]:
    from scipy import ndimage

    points = z[np.isfinite(z)]
    u = points - points.mean()
    sq = np.sqrt(np.mean(u**2))
    low, high = np.percentile(points, [0.1, 99.9])
    weights = np.array([-1, 9, -45, 0, 45, -9, 1]) / 60
    inner = (slice(3, -3), slice(3, -3))
    sy, sx = (ndimage.correlate1d(z, weights, axis=axis)[inner] / PITCH[axis] for axis in (0, 1))
    s = sx**2 + sy**2
    s = s[np.isfinite(s) & np.isfinite(z[inner])]
    found = {
        "Sq": sq,
        "Sa": np.mean(np.abs(u)),
        "Sz": u.max() - u.min(),
        "Sp": u.max(),
        "Sv": -u.min(),
        "Ssk": np.mean(u**3) / sq**3,
        "Sku": np.mean(u**4) / sq**4,
        "S99.8": high - low,
        "Sdq": np.sqrt(np.mean(s)),
        "Sdr": np.mean(np.sqrt(1 + s) - 1),
    }
    return {symbol: float(value) for symbol, value in found.items()}


SYMBOLS = ("Sq", "Sa", "Sz", "Sp", "Sv", "Ssk", "Sku", "S99.8", "Sdq", "Sdr")


def shared_passes(scan: HeightMap) -> dict[str, float]:
    return {symbol: float(reading) for symbol, reading in readings(scan, SYMBOLS).items()}


def plain(scan: HeightMap) -> dict[str, float]:
    return script(scan.z)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("holes", [False, True], ids=["complete", "2 % missing"])
@pytest.mark.parametrize("way", [shared_passes, plain], ids=lambda way: way.__name__)
def test_all_readings(
    benchmark: BenchmarkFixture, way: Callable[[HeightMap], dict[str, float]], holes: bool, side: int
) -> None:
    scan = film(side, holes=holes)
    benchmark.group = f"all readings, {side}², {'2 % missing' if holes else 'complete'}"
    found = benchmark(way, scan)
    # the centred sums of the script lose about log2(n) bits; Ssk is near 0 and has no relative digits
    assert found == pytest.approx(script(scan.z), rel=1e-10, abs=1e-11)


def test_sort_floor(benchmark: BenchmarkFixture) -> None:
    """One full sort, which the readings do without: its time differs ten times between processors."""
    heights = film(1024).heights()
    benchmark.group = "all readings, 1024², complete"
    assert benchmark(np.sort, heights).size == heights.size
