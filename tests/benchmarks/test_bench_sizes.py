"""Cost per pixel of every family of readings from 256² to 8192², beside its floor: a copy, a sort, an FFT of that size.

Run with:  pytest tests/benchmarks/test_bench_sizes.py --benchmark-enable --benchmark-only -m "long or not long" -s
Each measurement adds its nanoseconds per pixel to the benchmark's extra information, and prints them; no time is
asserted. What is asked is that a family costs the same per pixel within 25 %, or the same multiple of its floor where
the floor itself is not flat: an FFT does N log N work, and beyond the last cache every pass over the map is a pass over
memory.

Measured, ns per pixel in one thread's own time on a machine busy with other work, which is felt most at 8192²:

                        256²   1024²   4096²   8192²
    copy                 0.2     0.3     0.7     1.5
    sort                  39      54      73
    FFT                  3.1     5.1     7.4      10
    plane                3.7     2.9     3.7     6.9
    heights              6.5     4.8     6.4      11
    slopes                10     8.2     6.9     6.7
    autocorrelation       17      16      21      48    5.6, 3.1, 2.8, 4.8 FFT
    spectra               12      13      23      34    3.8, 2.6, 3.1, 3.4 FFT
    spectrum of rows     8.4     9.2      11      13    2.7, 1.8, 1.5, 1.3 FFT
    material ratio        23      32      54      87    0.6, 0.6, 0.7 sort
    hills                 64      54      62      75    with noise of half of Sq 76, 67, 79 (were 71, 68, 110)
    flatness              17      21      29      37
    minimum zone          89     8.8     5.8     7.0    3 ms to start the solver
    window curve          31      11      13      15    1.5 ms in 600 calls of numpy
    low-pass, 5 pixels   9.6     8.7      12      10

From 1024² to 4096² within 25 %: hills, slopes (falling) and the spectrum of rows; the plane, heights and window curve
within 33 %, the low-pass within 38 %; the autocorrelation and the spectra within 20 % of the FFT's own growth. Not
flat: the material ratio, whose ordered stretch is gathered from all over memory, flatness, and at 8192² the
autocorrelation.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from scipy import fft

from core.filters import low_pass
from core.heightmap import HeightMap
from core.measures import Surface
from core.measures.catalogue import FAMILIES
from core.measures.quantity import Quantity
from core.measures.window_curve import window_curve
from core.scale import own_limits
from core.spectrum import angular_spectrum, areal_spectrum, fast_axis_spectrum, radial_average
from core.synthetic import self_affine
from core.treatment import Level

PITCH = (1e-8, 1e-8)
SIDES = [256, 1024, *(pytest.param(side, marks=pytest.mark.long) for side in (2048, 4096, 8192))]


@lru_cache(maxsize=1)
def film(side: int) -> HeightMap:
    """Self-affine up to 64 pixels, with white noise of a tenth of it: as scanned, not filtered."""
    rng = np.random.default_rng(side)
    tile = min(side, 2048)  # larger ones are made of the same texture side by side: its making is not measured
    z = self_affine((tile, tile), PITCH, sq=1e-9, hurst=0.8, roll_off=64 * PITCH[0], rng=rng)
    z = np.tile(z, (side // tile, side // tile))
    z += 1e-10 * rng.standard_normal(z.shape)
    return HeightMap(z, PITCH)


def of_family(entries: tuple[Quantity, ...], but: tuple[str, ...] = ()) -> Callable[[HeightMap], object]:
    def read(scan: HeightMap) -> object:
        surface = Surface(scan)
        return [quantity.function(surface) for quantity in entries if quantity.symbol not in but]

    return read


def only(symbol: str) -> Callable[[HeightMap], object]:
    entry = next(quantity for entries in FAMILIES.values() for quantity in entries if quantity.symbol == symbol)
    return of_family((entry,))


def spectra(scan: HeightMap) -> object:
    areal = areal_spectrum(scan)
    return radial_average(areal), angular_spectrum(areal)


WAYS: dict[str, Callable[[HeightMap], object]] = {
    "floor: copy": lambda scan: scan.z.copy(),
    "floor: sort": lambda scan: np.sort(scan.z, axis=None),
    "floor: FFT": lambda scan: fft.rfft2(scan.z),
    "plane": Level().apply,
    "heights": of_family(FAMILIES["heights"]),
    "slopes": of_family(FAMILIES["slopes"]),
    "autocorrelation": only("Sal"),
    "spectra": spectra,
    "spectrum of the rows": fast_axis_spectrum,
    "material ratio": of_family(FAMILIES["material ratio"]),
    "hills": lambda scan: Surface(scan).hills,
    "hills and dales": of_family(FAMILIES["hills and dales"]),
    "flatness": of_family(FAMILIES["flatness"], but=("FLTt(MZ)",)),
    "minimum zone": only("FLTt(MZ)"),
    "window curve": window_curve,
    "range of a tile": own_limits,
    "low-pass, 5 pixels": lambda scan: low_pass(scan, 5 * PITCH[0], edges="cut"),
    "low-pass, an eighth": lambda scan: low_pass(scan, scan.size[1] / 8, edges="cut"),
}


@pytest.mark.parametrize("family", WAYS)
@pytest.mark.parametrize("side", SIDES)
def test_cost_per_pixel(benchmark: BenchmarkFixture, family: str, side: int) -> None:
    if benchmark.disabled:
        side = 64
    scan = film(side)
    benchmark.group = f"cost per pixel, {family}"
    rounds = {256: 30, 1024: 10, 2048: 5, 4096: 3}.get(side, 1)
    assert benchmark.pedantic(WAYS[family], (scan,), rounds=rounds, warmup_rounds=1) is not None
    if not benchmark.disabled:
        per_pixel = benchmark.stats.stats.min / side**2 * 1e9
        benchmark.extra_info["ns per pixel"] = per_pixel
        print(f"\n{family}, {side}²: {per_pixel:.2f} ns per pixel")  # noqa: T201  the result of this benchmark
