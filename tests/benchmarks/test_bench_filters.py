"""The areal Gaussian low-pass against the script: scipy.ndimage's separable convolution with the same weights.

Run with:  pytest tests/benchmarks/test_bench_filters.py --benchmark-enable --benchmark-only -m "long or not long"
All ways run in one process on the same map, so the ratio of their times is the result, with an FFT there and back and a
copy as floors; no time is asserted, equality is.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
import pytest
from numpy.typing import NDArray
from pytest_benchmark.fixture import BenchmarkFixture
from scipy import fft, ndimage

from core.filters import low_pass, robust_low_pass
from core.filters.line import Way
from core.filters.weights import kernel
from core.heightmap import HeightMap
from core.treatment import Band

Array = NDArray[np.float64]
SIDES = [1024, pytest.param(4096, marks=pytest.mark.long)]
CUTOFFS = [5.0, 16.0, 64.0, 256.0]
KINDS = ["complete", "2 % missing"]


def rough(side: int, kind: str = "complete") -> HeightMap:
    rng = np.random.default_rng(side)
    z = 1e-9 * rng.standard_normal((side, side))
    if kind != "complete":
        z[rng.random(z.shape) < 0.02] = np.nan
    return HeightMap(z, (1.0, 1.0))


def script(scan: HeightMap, cutoff: float) -> Array:
    """Two passes over the axes, and two over the validity where points are missing."""
    half = kernel(cutoff, 1 << 20)
    weights = np.concatenate([half[:0:-1], half])

    def both(values: Array) -> Array:
        once = ndimage.correlate1d(values, weights, axis=0, mode="constant")
        return np.asarray(ndimage.correlate1d(once, weights, axis=1, mode="constant"))

    return both(np.nan_to_num(scan.z)) / both(scan.used.astype(float))


def ours(scan: HeightMap, cutoff: float, way: Way | None = None) -> Array:
    return low_pass(scan, cutoff, edges="kept", way=way).z


WAYS: dict[str, Callable[[HeightMap, float], Array]] = {
    "chosen": ours,
    "direct": partial(ours, way="direct"),
    "waves": partial(ours, way="waves"),
    "script": script,
}


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("cutoff", CUTOFFS)
@pytest.mark.parametrize("way", WAYS)
def test_low_pass(benchmark: BenchmarkFixture, way: str, cutoff: float, kind: str, side: int) -> None:
    if side > 1024 and (way, cutoff) in {("script", 256.0), ("script", 64.0), ("direct", 256.0)}:
        pytest.skip("minutes")
    if benchmark.disabled and (side > 1024 or cutoff > 64):
        pytest.skip("only measured")
    scan = rough(side, kind)
    benchmark.group = f"low-pass, {cutoff:g} px, {side}², {kind}"
    found = benchmark(WAYS[way], scan, cutoff)
    if way != "script" and side == 1024 and cutoff <= 64:
        measured = ~np.isnan(found)
        np.testing.assert_allclose(found[measured], script(scan, cutoff)[measured], rtol=0, atol=1e-10 * 1e-9)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("band", ["linear", "robust"])
def test_band(benchmark: BenchmarkFixture, band: str, kind: str, side: int) -> None:
    """The treatment step with the common band: both filters, edges cut, RMS of what was removed."""
    if benchmark.disabled and (side > 1024 or band == "robust"):
        pytest.skip("only measured")
    benchmark.group = f"band, {side}², {kind}"
    scan = rough(side, kind)
    if band == "linear":
        assert benchmark(Band().apply, scan).shape == (side - side // 4,) * 2
    else:
        assert benchmark.pedantic(robust_low_pass, (scan, side / 4), {"edges": "cut"}, rounds=1, iterations=1).converged


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("floor", ["copy", "fft there and back"])
def test_floor(benchmark: BenchmarkFixture, floor: str, side: int) -> None:
    """What no filter can go below, for the ratio."""
    if benchmark.disabled and side > 1024:
        pytest.skip("only measured")
    z = rough(side).z
    benchmark.group = f"floor, {side}²"
    if floor == "copy":
        assert benchmark(z.copy).shape == z.shape
    else:
        assert benchmark(lambda: fft.irfft2(fft.rfft2(z), z.shape)).shape == z.shape
