"""Spatial readings and spectra against the script: a fully padded autocorrelation, an FFT with rings and sectors.

Run with:  pytest tests/benchmarks/test_bench_spatial.py --benchmark-enable --benchmark-only -m "long or not long"
Both run in one process on the same map, so the ratio of their times is the result; no time is asserted, agreement is.
The FFT of the map is timed beside them as the floor.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from pytest_benchmark.fixture import BenchmarkFixture
from scipy import fft, ndimage, signal

from core.heightmap import HeightMap
from core.measures.spatial import aspect_ratio, autocorrelation_length
from core.measures.surface import Surface
from core.spectrum import angular_spectrum, areal_spectrum, fast_axis_spectrum, radial_average
from core.synthetic import gaussian_texture

PITCH = (1e-8, 1e-8)
SIDES = [1024, pytest.param(4096, marks=pytest.mark.long)]


def film(side: int, *, holes: bool = False) -> HeightMap:
    rng = np.random.default_rng(side)
    z = gaussian_texture((side, side), PITCH, sq=1e-9, length=1.5e-7, rng=rng)
    if holes:
        z[rng.random(z.shape) < 0.02] = np.nan
    return HeightMap(z, PITCH)


def lobe_by_script(scan: HeightMap) -> tuple[float, float]:
    """All lags by padding to twice the side, overlaps from the same transform, the lobe's outermost pixels."""
    used = np.isfinite(scan.z)
    u = np.where(used, scan.z - np.nanmean(scan.z), 0.0)
    sums = signal.fftconvolve(u, u[::-1, ::-1])
    counts = signal.fftconvolve(used.astype(float), used[::-1, ::-1].astype(float))
    acf = sums / np.maximum(counts, 1)
    centre = (acf.shape[0] // 2, acf.shape[1] // 2)
    half = (slice(scan.shape[0] // 2, -(scan.shape[0] // 2)), slice(scan.shape[1] // 2, -(scan.shape[1] // 2)))
    acf = acf[half] / acf[centre]
    labels, _ = ndimage.label(acf > 0.2)
    middle = (acf.shape[0] // 2, acf.shape[1] // 2)
    lobe = labels == labels[middle]
    border = lobe & ~ndimage.binary_erosion(lobe)
    y, x = np.nonzero(border)
    distance = np.hypot((y - middle[0]) * PITCH[0], (x - middle[1]) * PITCH[1])
    return float(distance.min()), float(distance.min() / distance.max())


def lobe_padded_little(scan: HeightMap) -> tuple[float, float]:
    surface = Surface(scan)
    return float(autocorrelation_length(surface).value or 0), float(aspect_ratio(surface).value or 0)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("holes", [False, True], ids=["complete", "2 % missing"])
@pytest.mark.parametrize("way", [lobe_padded_little, lobe_by_script], ids=lambda way: way.__name__)
def test_autocorrelation(
    benchmark: BenchmarkFixture, way: Callable[[HeightMap], tuple[float, float]], holes: bool, side: int
) -> None:
    scan = film(side, holes=holes)
    benchmark.group = f"Sal and Str, {side}², {'2 % missing' if holes else 'complete'}"
    sal, aspect = benchmark(way, scan)
    # the script's pixel rule reads up to a lag short: a pixel in 19
    assert sal == pytest.approx(1.9e-7, rel=0.12)
    assert aspect == pytest.approx(0.95, abs=0.12)


def spectrum_by_script(scan: HeightMap) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    ny, nx = scan.shape
    window = np.outer(signal.windows.hann(ny, sym=False), signal.windows.hann(nx, sym=False))
    psd = np.abs(np.fft.fft2((scan.z - scan.z.mean()) * window)) ** 2 * PITCH[0] * PITCH[1] / np.sum(window**2)
    fy, fx = np.meshgrid(np.fft.fftfreq(ny, PITCH[0]), np.fft.fftfreq(nx, PITCH[1]), indexing="ij")
    step = 1 / (nx * PITCH[1])
    ring = (np.hypot(fy, fx) / step + 0.5).astype(int)
    angle = np.degrees(np.arctan2(-fy, fx)) % 180
    radial = np.bincount(ring.ravel(), psd.ravel()) / np.bincount(ring.ravel())
    inside = (ring > 1) & (ring <= nx // 2)
    sectors, _ = np.histogram(angle[inside], 180, (0, 180), weights=psd[inside])
    return radial[1 : nx // 2 + 1], sectors


def spectrum_on_a_quadrant(scan: HeightMap) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    areal = areal_spectrum(scan)
    return radial_average(areal).densities, angular_spectrum(areal).power


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("way", [spectrum_on_a_quadrant, spectrum_by_script], ids=lambda way: way.__name__)
def test_spectrum(
    benchmark: BenchmarkFixture,
    way: Callable[[HeightMap], tuple[NDArray[np.float64], NDArray[np.float64]]],
    side: int,
) -> None:
    scan = film(side)
    benchmark.group = f"areal, radial and angular spectrum, {side}²"
    radial, sectors = benchmark(way, scan)
    wanted, _ = spectrum_by_script(scan)
    assert radial[2:20] == pytest.approx(wanted[2:20], rel=1e-2)  # the script's mean is not the windowed one
    assert sectors.size == 180


def lines_by_script(scan: HeightMap) -> NDArray[np.float64]:
    _, psd = signal.periodogram(scan.z, 1 / PITCH[1], "hann", detrend="constant", axis=1)
    return np.asarray(psd.mean(axis=0)[1:])


def lines(scan: HeightMap) -> NDArray[np.float64]:
    return fast_axis_spectrum(scan).one_sided().densities


@pytest.mark.parametrize("way", [lines, lines_by_script], ids=lambda way: way.__name__)
def test_fast_axis(benchmark: BenchmarkFixture, way: Callable[[HeightMap], NDArray[np.float64]]) -> None:
    """Ours also counts the independent rows, by a second transform."""
    scan = film(1024)
    benchmark.group = "fast-axis spectrum, 1024²"
    found = benchmark(way, scan)
    assert found[3:100] == pytest.approx(lines_by_script(scan)[3:100], rel=0.02)


@pytest.mark.parametrize("side", SIDES)
def test_transform_floor(benchmark: BenchmarkFixture, side: int) -> None:
    z = film(side).z
    benchmark.group = f"Sal and Str, {side}², complete"
    assert math.isfinite(abs(benchmark(fft.rfft2, z)[0, 0]))
