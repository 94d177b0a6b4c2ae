"""Areal, radial and axis spectra: Parseval, closed forms, bands, holes, oblong pixels."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from numpy.typing import NDArray

from core.errors import MapError
from core.filters.bandpass import band_pass
from core.heightmap import HeightMap
from core.spectrum import (
    ArealSpectrum,
    Spectrum,
    Window,
    angular_spectrum,
    areal_spectrum,
    fast_axis_spectrum,
    radial_average,
    slow_axis_spectrum,
)
from core.spectrum.taper import CORRELATION, SPREAD, window_weights
from core.synthetic import gaussian_texture, row_offsets

PITCH = (1.5e-8, 1e-8)
Expected = Callable[..., Any]

maps = arrays(
    np.float64,
    array_shapes(min_dims=2, max_dims=2, min_side=4, max_side=14),
    elements=st.floats(-1e-7, 1e-7, allow_subnormal=False),
).filter(lambda z: z.std() > 1e-10)
quick = settings(max_examples=40, deadline=None)


def whole(spectrum: ArealSpectrum) -> NDArray[np.float64]:
    """All bins, as fft2 orders them."""
    ny, nx = spectrum.shape
    full = np.empty((ny, nx))
    full[:, : nx // 2 + 1] = spectrum.densities
    for column in range(nx // 2 + 1, nx):
        full[:, column] = spectrum.densities[-np.arange(ny) % ny, nx - column]
    return full


@quick
@given(maps, st.sampled_from(["hann", "none"]), st.integers(0, 2**32 - 1), st.floats(0, 0.5))
def test_equals_the_definition_with_and_without_holes(
    z: NDArray[np.float64], window: Window, seed: int, share: float
) -> None:
    z = np.where(np.random.default_rng(seed).random(z.shape) < share, np.nan, z)
    a = np.outer(*(window_weights(window, n) for n in z.shape)) * np.isfinite(z)
    if not np.sum(a * a) > 1e-3 or not np.nanstd(z) > 1e-10:
        return
    spectrum = areal_spectrum(HeightMap(z, PITCH), window=window)
    filled = np.where(np.isfinite(z), z, 0.0)
    u = a * (filled - np.sum(a * filled) / np.sum(a))
    if np.sum(u * u) / np.sum(a * a) < 1e-20:
        return  # all that differs stands where the window is shut: nothing but rounding is left
    wanted = PITCH[0] * PITCH[1] * np.abs(np.fft.fft2(u)) ** 2 / np.sum(a * a)
    np.testing.assert_allclose(whole(spectrum), wanted, rtol=0, atol=1e-11 * wanted.max())
    variance = np.sum(u * u) / np.sum(a * a)
    assert spectrum.mean_square() == pytest.approx(variance, rel=1e-10)  # Parseval
    assert np.sum(whole(spectrum)) * math.prod(spectrum.steps) == pytest.approx(variance, rel=1e-10)


@pytest.mark.parametrize("shape", [(64, 64), (63, 50), (50, 63), (301, 200)])
def test_parseval_8_01(expected: Expected, shape: tuple[int, int]) -> None:
    z = 1e-9 * np.random.default_rng(1).standard_normal(shape) + 1e-6
    scan = HeightMap(z, PITCH)
    found = areal_spectrum(scan, window="none").mean_square() / np.var(z)
    assert found == expected("8.01|sum / Sq^2 (no window, mean removed)")
    z[3:9, 4:20] = np.nan
    found = areal_spectrum(HeightMap(z, PITCH), window="none").mean_square() / np.nanvar(z)
    assert found == pytest.approx(1, rel=1e-10)


def test_hann_window_8_01(expected: Expected) -> None:
    taper = window_weights("hann", 100)
    assert np.mean(taper**2) == expected("8.01|Hann window mean square 1D")
    assert np.mean(np.outer(taper, taper) ** 2) == expected("8.01|Hann window mean square 2D")
    assert np.mean(taper**2) / np.mean(taper) ** 2 == expected("8.01|Hann noise bandwidth")


def test_what_a_window_does_to_bins() -> None:
    """Derived here from the window itself: its transform gives the spread of power and the likeness of neighbours."""
    for window in ("hann", "none"):
        taper = window_weights(window, 64)
        power = np.abs(np.fft.fft(taper)) ** 2
        assert np.roll(power, 1)[:3] / power.sum() == pytest.approx(SPREAD[window], abs=1e-14)
        likeness = np.abs(np.fft.fft(taper**2)) ** 2
        assert likeness.sum() / likeness[0] == pytest.approx(CORRELATION[window], rel=1e-12)


def test_cosine_on_a_bin_8_02(expected: Expected) -> None:
    """A = 10 nm, 10 periods in 10 µm; checks in nm² µm and nm² µm²."""
    x = (np.arange(200) + 0.5) / 200
    scan = HeightMap(np.tile(1e-8 * np.cos(20 * np.pi * x), (100, 1)), (1e-7, 5e-8))
    line = fast_axis_spectrum(scan, window="none")
    assert line.densities.max() == expected("8.02|two-sided 1D PSD peak A^2 L/4", unit=1e-24)
    assert line.wavenumbers[np.argmax(line.densities)] == pytest.approx(1e6, rel=1e-12)
    areal = areal_spectrum(scan, window="none")
    assert areal.densities.max() == expected("8.02|2D PSD peak A^2 L^2/4", unit=1e-30)
    assert line.one_sided().densities.max() == pytest.approx(2 * line.densities.max(), rel=1e-15)


def test_hann_keeps_the_power_of_a_cosine() -> None:
    """A²/2 on any whole number of periods: the three bins on either side hold (1, 4, 1)/6 of it."""
    x = np.arange(128) / 128
    scan = HeightMap(np.tile(1e-9 * np.cos(2 * np.pi * 11 * x + 0.4), (64, 1)), PITCH)
    assert areal_spectrum(scan).mean_square() == pytest.approx(0.5e-18, rel=1e-10)
    line = fast_axis_spectrum(scan)
    peak = line.densities[9:12] * line.steps[0] * 2
    assert peak == pytest.approx(0.5e-18 * np.array([1, 4, 1]) / 6, rel=1e-10)


def exact_map(density: Callable[[NDArray[np.float64]], NDArray[np.float64]], n: int, pitch: float) -> HeightMap:
    """A periodic map whose periodogram is exactly the density (bins at the origin and at two points per wave are 0)."""
    f = np.hypot(np.fft.fftfreq(n, pitch)[:, None], np.fft.fftfreq(n, pitch)[None, :])
    phase = np.fft.fft2(np.random.default_rng(5).standard_normal((n, n)))
    amplitude = np.sqrt(density(f)) * n / pitch
    amplitude[0, 0] = 0
    return HeightMap(np.fft.ifft2(amplitude * phase / np.abs(phase)).real, (pitch, pitch))


SIGMA, T = 1e-9, 5e-7


def gaussian(f: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.pi * SIGMA**2 * T**2 * np.exp(-((np.pi * T * f) ** 2)))


def test_gaussian_pair_8_03(expected: Expected) -> None:
    """20 µm, 512²: bins 0.05/µm apart. The density is exact in every bin; the band is a sum over whole bins, whose
    number in an annulus of 4 to 20 bins differs from its area by the lattice: the ring at 4 bins alone leaves 1 % of
    the power open, while the smooth integral of the radial average, at mean wavenumbers, is good to 0.2 %."""
    spectrum = areal_spectrum(exact_map(gaussian, 512, 20e-6 / 512), window="none")
    at = np.argmin(np.abs(spectrum.fx - 0.5e6))
    assert spectrum.densities[0, at] == expected("8.03|PSD2 at f=0.5/um", unit=1e-30)
    assert spectrum.densities[0, 1] == pytest.approx(gaussian(np.array(5e4)), rel=1e-9)
    assert gaussian(np.array(0.0)) == expected("8.03|PSD2(0)=pi sigma^2 T^2", unit=1e-30)
    assert spectrum.band_rms(0.2e6, 1e6) == expected("8.03|band rms 0.2..1 /um", unit=1e-9, rel=0.01)
    assert radial_average(spectrum).band_rms(0.2e6, 1e6) == expected("8.03|band rms 0.2..1 /um", unit=1e-9, rel=0.002)


def test_axis_spectrum_of_the_gaussian_pair_8_03(expected: Expected) -> None:
    """The line through the areal density: two-sided √π σ² T exp(−π²T²f²). Bins at fy = 0 are among those summed, so the
    trapezoid over fy is exact to rounding for a Gaussian (its aliases are 1e-17)."""
    scan = exact_map(gaussian, 512, 20e-6 / 512)
    for line in (fast_axis_spectrum(scan, window="none"), slow_axis_spectrum(scan, window="none")):
        level = line.densities[:10] / np.exp(-((np.pi * T * line.wavenumbers[:10]) ** 2))
        for one in level:
            assert one == expected("8.03|two-sided PSD1(0)=sqrt(pi) sigma^2 T", unit=1e-24)


@quick
@given(maps)
def test_axis_spectra_are_sums_of_the_areal_one(z: NDArray[np.float64]) -> None:
    scan = HeightMap(z, PITCH)
    areal = whole(areal_spectrum(scan, window="none"))
    fast, slow = fast_axis_spectrum(scan, window="none"), slow_axis_spectrum(scan, window="none")
    ny, nx = z.shape
    scale = areal.max() / (ny * PITCH[0])
    np.testing.assert_allclose(
        fast.densities, areal.sum(axis=0)[1 : nx // 2 + 1] / (ny * PITCH[0]), rtol=1e-9, atol=1e-11 * scale
    )
    np.testing.assert_allclose(
        slow.densities, areal.sum(axis=1)[1 : ny // 2 + 1] / (nx * PITCH[1]), rtol=1e-9, atol=1e-11 * scale
    )


@quick
@given(maps, st.integers(0, 2**32 - 1), st.floats(0, 0.4))
def test_axis_spectra_hold_the_mean_square_of_the_lines(z: NDArray[np.float64], seed: int, share: float) -> None:
    """Parseval by rows, with holes: rows about their own means, pooled over all points that count."""
    z = np.where(np.random.default_rng(seed).random(z.shape) < share, np.nan, z)
    used = np.isfinite(z)
    if not used.any():
        return
    counts = used.sum(axis=1, keepdims=True)
    means = np.where(used, z, 0.0).sum(axis=1, keepdims=True) / np.maximum(counts, 1)
    wanted = np.sum(np.where(used, z - means, 0.0) ** 2) / used.sum()
    line = fast_axis_spectrum(HeightMap(z, PITCH), window="none")
    folds = np.full(line.densities.size, 2.0)
    if z.shape[1] % 2 == 0:
        folds[-1] = 1.0
    assert np.sum(folds * line.densities) * line.steps[0] == pytest.approx(wanted, rel=1e-10, abs=1e-30)


def test_row_offsets_are_seen_along_the_slow_axis_only() -> None:
    rng = np.random.default_rng(8)
    z = gaussian_texture((128, 128), (1e-8, 1e-8), sq=1e-9, length=5e-8, rng=rng)
    offset = z + row_offsets((128, 128), sq=5e-9, rng=rng)
    for window in ("hann", "none"):
        quiet, loud = (fast_axis_spectrum(HeightMap(m, PITCH), window=window).densities for m in (z, offset))
        assert loud == pytest.approx(quiet, rel=1e-9)
    quiet, loud = (slow_axis_spectrum(HeightMap(m, PITCH)).densities for m in (z, offset))
    assert loud[-20:].min() > 10 * quiet[-20:].max()


def test_slope_from_the_spectrum_8_08(expected: Expected) -> None:
    """Σ (2πf)² C df² over the Fourier-series surface of 1.20 (512², 10 µm)."""
    terms = (
        (1, 0, 5, 0), (0, 1, 4, 0.5), (1, 1, 3, 1.0), (3, -2, 2, 1.5), (5, 4, 1, 2.0), (8, -7, 0.5, 2.5),
    )  # fmt: skip
    x = np.arange(512) / 512
    z = 1e-9 * sum(a * np.cos(2 * np.pi * (p * x + q * x[:, None]) + f) for p, q, a, f in terms)
    spectrum = areal_spectrum(HeightMap(z, (1e-5 / 512, 1e-5 / 512)), window="none")
    square = spectrum.mean_square(lambda fy, fx: (2 * np.pi) ** 2 * (fy**2 + fx**2))
    assert math.sqrt(square) == expected("8.08|F1 surface (1.20) spectral Sdq")
    assert spectrum.band_rms() == expected("1.20|Sq", unit=1e-9)


def test_band_rms_is_that_of_the_filtered_map() -> None:
    """A filter with sharp edges on a periodic map: equal to rounding, on oblong pixels and odd sides too."""
    z = 1e-9 * np.random.default_rng(3).standard_normal((75, 64))
    spectrum = areal_spectrum(HeightMap(z, PITCH), window="none")
    f = np.hypot(np.fft.fftfreq(75, PITCH[0])[:, None], np.fft.fftfreq(64, PITCH[1])[None, :])
    edges = (0.0, 5e6, 1.3e7, 3e7, math.inf)
    total = 0.0
    for low, high in itertools.pairwise(edges):
        kept = np.fft.ifft2(np.fft.fft2(z - z.mean()) * ((f >= low) & (f < high))).real
        assert spectrum.band_rms(low, high) == pytest.approx(kept.std(), rel=1e-10)
        total += spectrum.band_rms(low, high) ** 2
    assert total == pytest.approx(z.var(), rel=1e-10)  # bands that touch add up


@pytest.mark.parametrize(("shortest", "longest"), [(4.1e-8, None), (None, 2e-7), (4.1e-8, 2e-7), (1e-7, 3e-7)])
def test_gaussian_band_is_that_of_the_filtered_map(shortest: float | None, longest: float | None) -> None:
    """The sampled Gaussian weights of ISO 16610-61, wrapped round a periodic map, written out here in full."""
    z = 1e-9 * np.random.default_rng(3).standard_normal((60, 90))
    u = z - z.mean()

    def smoothed(heights: NDArray[np.float64], cutoff: float) -> NDArray[np.float64]:
        alpha = math.sqrt(math.log(2) / math.pi)
        for axis, pitch in enumerate(PITCH):
            n = heights.shape[axis]
            lags = np.arange(-6 * n, 6 * n + 1)
            weights = np.exp(-math.pi * (lags * pitch / (alpha * cutoff)) ** 2)
            weights /= weights.sum()
            matrix = np.zeros((n, n))
            for lag, weight in zip(lags, weights, strict=True):
                matrix[np.arange(n), (np.arange(n) + lag) % n] += weight
            heights = np.moveaxis(np.tensordot(matrix, heights, (1, axis)), 0, axis)
        return heights

    if shortest is not None:
        u = smoothed(u, shortest)
    if longest is not None:
        u = u - smoothed(u, longest)
    found = areal_spectrum(HeightMap(z, PITCH), window="none").gaussian_band_rms(shortest, longest)
    assert found == pytest.approx(np.sqrt(np.mean(u * u)), rel=1e-10)


@pytest.mark.parametrize(("shortest", "longest"), [(4.1e-8, None), (None, 2e-7), (4.1e-8, 2e-7)])
def test_gaussian_band_agrees_with_the_filter(shortest: float | None, longest: float | None) -> None:
    """Against the program's own areal filter: the middle of nine copies lies beyond the weights' reach of an edge
    and so is the periodic map. Both sum the same sampled weights, the filter to 1.7 cut-offs (1e-17 beyond)."""
    z = 1e-9 * np.random.default_rng(3).standard_normal((60, 90))
    banded = band_pass(HeightMap(np.tile(z, (3, 3)), PITCH), shortest, longest, edges="kept")
    middle = banded.z[60:120, 90:180]
    found = areal_spectrum(HeightMap(z, PITCH), window="none").gaussian_band_rms(shortest, longest)
    wanted = middle.std() if longest is None else np.sqrt(np.mean(middle**2))
    assert found == pytest.approx(wanted, rel=1e-10)


def test_radial_average_by_hand() -> None:
    z = 1e-9 * np.random.default_rng(4).standard_normal((40, 90))
    spectrum = areal_spectrum(HeightMap(z, PITCH))
    found = radial_average(spectrum)
    f = np.hypot(np.fft.fftfreq(40, PITCH[0])[:, None], np.fft.fftfreq(90, PITCH[1])[None, :])
    step = max(1 / (40 * PITCH[0]), 1 / (90 * PITCH[1]))
    ring = np.floor(f / step + 0.5).astype(int)
    densities = whole(spectrum)
    assert found.wavenumbers.size == 20  # whole rings end at two points per wave on the coarser axis
    for number in range(1, 21):
        inside = ring == number
        assert found.densities[number - 1] == pytest.approx(densities[inside].mean(), rel=1e-10)
        assert found.wavenumbers[number - 1] == pytest.approx(f[inside].mean(), rel=1e-10)
        assert found.independent[number - 1] == pytest.approx(inside.sum() / 2, rel=1e-12)


def test_white_noise_is_level_everywhere() -> None:
    """σ² dx dy; a ring of m independent bins scatters by 1/√m, with the Hann window by √3.78/√m at most."""
    z = 1e-9 * np.random.default_rng(6).standard_normal((256, 128))
    found = radial_average(areal_spectrum(HeightMap(z, PITCH)))
    level = found.densities / (1e-18 * PITCH[0] * PITCH[1]) - 1
    assert np.all(np.abs(level[3:]) < 5 / np.sqrt(found.freedom[3:]))
    line = fast_axis_spectrum(HeightMap(z, PITCH))
    assert line.densities[2:] == pytest.approx(1e-18 * PITCH[1], rel=5 / 16)
    assert np.median(line.independent) == pytest.approx(256, rel=0.1)  # rows of noise are all independent


def test_like_rows_count_as_one() -> None:
    z = np.tile(np.random.default_rng(6).standard_normal(128), (50, 1))
    assert np.all(fast_axis_spectrum(HeightMap(z, PITCH), window="none").independent <= 2)


@pytest.mark.parametrize("window", ["hann", "none"])
def test_transposing_swaps_the_axes(window: Window) -> None:
    z = 1e-9 * np.random.default_rng(9).standard_normal((40, 30))
    z[5, 7] = np.nan
    here, there = HeightMap(z, PITCH), HeightMap(z.T, PITCH[::-1])
    fast, slow = (axis(here, window=window).densities for axis in (fast_axis_spectrum, slow_axis_spectrum))
    assert fast_axis_spectrum(there, window=window).densities == pytest.approx(slow, rel=1e-10)
    assert slow_axis_spectrum(there, window=window).densities == pytest.approx(fast, rel=1e-10)
    radial = [radial_average(areal_spectrum(scan, window=window)).densities for scan in (here, there)]
    assert radial[1] == pytest.approx(radial[0], rel=1e-10)


def test_turning_by_a_quarter_swaps_the_axes() -> None:
    """Without window: the periodic Hann window has its zero at one end, so that turning moves it by a point."""
    z = 1e-9 * np.random.default_rng(9).standard_normal((40, 30))
    here, there = HeightMap(z, PITCH), HeightMap(np.rot90(z), PITCH[::-1])
    fast, slow = (axis(here, window="none").densities for axis in (fast_axis_spectrum, slow_axis_spectrum))
    assert fast_axis_spectrum(there, window="none").densities == pytest.approx(slow, rel=1e-10)
    assert slow_axis_spectrum(there, window="none").densities == pytest.approx(fast, rel=1e-10)


@quick
@given(maps, st.floats(-1e-5, 1e-5))
def test_moved_mirrored_and_scaled(z: NDArray[np.float64], up: float) -> None:
    still = areal_spectrum(HeightMap(z, PITCH)).densities
    if areal_spectrum(HeightMap(z, PITCH)).mean_square() < 1e-20:
        return  # as above
    atol = 1e-10 * still.max()
    assert areal_spectrum(HeightMap(-z, PITCH)).densities == pytest.approx(still, rel=1e-10, abs=atol)
    assert areal_spectrum(HeightMap(3 * z, PITCH)).densities == pytest.approx(9 * still, rel=1e-10, abs=9 * atol)
    rounding = 1e-5 * np.finfo(float).eps / z.std()
    moved = areal_spectrum(HeightMap(z + up, PITCH)).densities
    assert moved == pytest.approx(still, rel=1e-10, abs=still.max() * (1e-10 + 100 * rounding))
    wider = areal_spectrum(HeightMap(z, (2 * PITCH[0], 2 * PITCH[1])))
    assert wider.densities == pytest.approx(4 * still, rel=1e-10, abs=atol)


def test_holes_at_random_spread_their_share_evenly() -> None:
    """A share p of holes leaves (1 − p) of the density and lays p σ² dx dy under it, on average; 10 masks, σ of the
    level over 200 high bins about 2 %."""
    rng = np.random.default_rng(10)
    z = gaussian_texture((128, 128), (1e-8, 1e-8), sq=1e-9, length=8e-8, rng=rng)
    share, levels = 0.1, []
    for _ in range(10):
        holed = np.where(rng.random(z.shape) < share, np.nan, z)
        spectrum = radial_average(areal_spectrum(HeightMap(holed, (1e-8, 1e-8)), window="none"))
        levels.append(spectrum.densities[50:].mean() / (np.nanvar(holed) * 1e-16))
    edge = radial_average(areal_spectrum(HeightMap(z, (1e-8, 1e-8)), window="none")).densities[50:].mean()
    wanted = share + (1 - share) * edge / (z.var() * 1e-16)
    assert np.mean(levels) == pytest.approx(wanted, rel=0.05)


def test_masked_and_missing_alike() -> None:
    rng = np.random.default_rng(11)
    z = rng.standard_normal((30, 40))
    out = rng.random(z.shape) < 0.1
    missing, masked = HeightMap(np.where(out, np.nan, z), PITCH), HeightMap(z, PITCH, mask=out)
    assert np.array_equal(areal_spectrum(missing).densities, areal_spectrum(masked).densities)
    assert np.array_equal(fast_axis_spectrum(missing).densities, fast_axis_spectrum(masked).densities)
    assert np.array_equal(slow_axis_spectrum(missing).densities, slow_axis_spectrum(masked).densities)


def test_single_precision_input() -> None:
    z = np.random.default_rng(2).standard_normal((40, 40)).astype(np.float32)
    single, double = (areal_spectrum(HeightMap(m, PITCH)).densities for m in (z, z.astype(np.float64)))
    assert np.array_equal(single, double)


def test_records_are_read_only_and_say_what_they_are() -> None:
    spectrum = areal_spectrum(HeightMap(np.random.default_rng(1).standard_normal((16, 16)), PITCH))
    for array in (spectrum.fx, spectrum.fy, spectrum.densities, radial_average(spectrum).densities):
        assert not array.flags.writeable
    assert "Two-sided" in spectrum.convention
    line = fast_axis_spectrum(HeightMap(np.eye(16), PITCH))
    assert line.one_sided().convention.startswith("One-sided")
    assert line.one_sided().one_sided().sided == 1
    with pytest.raises(MapError, match="along an axis"):
        radial_average(spectrum).one_sided()


@pytest.mark.parametrize(
    ("height", "lateral", "f", "areal", "line", "units"),
    [
        ("nm", "mm", 1e-3, 1e24, 1e21, ("1/mm", "nm²·mm²", "nm²·mm")),
        ("um", "um", 1e-6, 1e24, 1e18, ("1/µm", "µm⁴", "µm³")),
        ("nm", "nm", 1e-9, 1e36, 1e27, ("1/nm", "nm⁴", "nm³")),
    ],
)
def test_units_of_drawings(
    height: str, lateral: str, f: float, areal: float, line: float, units: tuple[str, str, str]
) -> None:
    """ISO 10110-8 writes nm²·mm over 1/mm or µm³ over 1/µm (from memory); the factors are plain arithmetic."""
    scan = HeightMap(np.random.default_rng(1).standard_normal((16, 16)), PITCH)
    for spectrum, factor, unit in (
        (radial_average(areal_spectrum(scan)), areal, units[1]),
        (fast_axis_spectrum(scan), line, units[2]),
    ):
        wavenumbers, densities, across, up = spectrum.in_units(height, lateral)
        assert (across, up) == (units[0], unit)
        assert wavenumbers == pytest.approx(spectrum.wavenumbers * f, rel=1e-12)
        assert densities == pytest.approx(spectrum.densities * factor, rel=1e-12)


def test_band_of_a_power_law_8_07(expected: Expected) -> None:
    """One-sided A f^−B, A = 1e-3 in µm: between any bins the sum over power-law pieces is exact."""
    f = np.geomspace(0.05, 20, 40)
    for exponent, entry in ((2.0, "8.07|rms^2"), (1.0, "8.07|rms^2 for B=1 : A ln(f2/f1)")):
        law = Spectrum("fast axis", f, 1e-3 * f**-exponent, np.ones(40), (0.05,), "none", "", 1)
        assert law.band_rms(0.1, 10) ** 2 == expected(entry)
        two_sided = Spectrum("fast axis", f, 0.5e-3 * f**-exponent, np.ones(40), (0.05,), "none", "")
        assert two_sided.band_rms(0.1, 10) ** 2 == expected(entry)


@pytest.mark.parametrize(("low", "high"), [(0.0, 1e7), (1e7, 1e7), (2e7, 1e7), (1e6, 1e12)])
def test_bands_outside_the_spectrum_are_refused(low: float, high: float) -> None:
    spectrum = areal_spectrum(HeightMap(np.eye(16), PITCH))
    with pytest.raises(MapError, match="band"):
        radial_average(spectrum).band_rms(low, high)
    if low >= high:
        with pytest.raises(MapError, match="band"):
            spectrum.band_rms(low, high)


def test_refusals() -> None:
    with pytest.raises(MapError, match="too small"):
        areal_spectrum(HeightMap(np.zeros((3, 50)), PITCH))
    with pytest.raises(MapError, match="too short"):
        fast_axis_spectrum(HeightMap(np.zeros((50, 3)), PITCH))
    for spectrum in (areal_spectrum, fast_axis_spectrum, slow_axis_spectrum):
        with pytest.raises(MapError, match="counts"):
            spectrum(HeightMap(np.full((9, 9), np.nan), PITCH))
        with pytest.raises(MapError, match="window"):
            spectrum(HeightMap(np.eye(9), PITCH), window="flat")  # type: ignore[arg-type]
    with pytest.raises(MapError, match="cut-off"):
        areal_spectrum(HeightMap(np.eye(9), PITCH)).gaussian_band_rms(0.0)


def test_a_flat_map_has_no_power() -> None:
    spectrum = areal_spectrum(HeightMap(np.full((9, 9), 0.3), PITCH))
    assert spectrum.mean_square() == 0
    assert not angular_spectrum(spectrum).distinct


def test_angular_spectrum_of_noise_is_even() -> None:
    """White noise on square pixels, 512²: about 100,000 bins in the circle, 3.78 alike, 10° joined: 1 % scatter and
    what the lattice does to sectors of one degree."""
    z = np.random.default_rng(12).standard_normal((512, 512))
    angular = angular_spectrum(areal_spectrum(HeightMap(z, (1.0, 1.0))))
    assert angular.power == pytest.approx(1, abs=0.1)
    assert angular.power.mean() == pytest.approx(1, rel=1e-12)
    assert angular.gathered == pytest.approx(0.25, abs=0.02)
