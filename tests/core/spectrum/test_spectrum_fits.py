"""Models of the spectrum and their fits: closed forms, recovered parameters, intervals that hold what they say."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from core.errors import MapError
from core.heightmap import HeightMap
from core.spectrum import (
    Fit,
    KCorrelation,
    PowerLaw,
    Spectrum,
    areal_spectrum,
    fast_axis_spectrum,
    fit_k_correlation,
    fit_self_affine,
    radial_average,
    slow_axis_spectrum,
)
from core.synthetic import self_affine, without_plane

Expected = Callable[..., Any]


@pytest.mark.parametrize("hurst", [0.3, 0.5, 0.8, 1])
def test_power_law_along_a_line_8_06(expected: Expected, hurst: float) -> None:
    areal = PowerLaw(2.0, 2 * hurst + 2, 2)
    line = areal.along_a_line()
    assert line.amplitude / 2 == expected(f"8.06|c, H={hurst:g}")
    assert areal.hurst == pytest.approx(hurst)
    assert line.hurst == pytest.approx(hurst)
    if hurst == 0.8:
        assert -areal.exponent == expected("8.06|log-log slope 2D, H=0.8")
        assert -line.exponent == expected("8.06|log-log slope 1D, H=0.8")
    # by quadrature: C1(fx) = ∫ C2(√(fx² + fy²)) dfy
    whole, _ = quad(lambda fy: 2 * (1.3**2 + fy**2) ** (-hurst - 1), -np.inf, np.inf)
    assert line.density(np.array(1.3)) == pytest.approx(whole, rel=1e-6)


def test_power_law_bands_8_07(expected: Expected) -> None:
    """A is one-sided in the reference: half of it is two-sided."""
    assert PowerLaw(0.5e-3, 2.0, 1).band_rms(0.1, 10) ** 2 == expected("8.07|rms^2")
    assert PowerLaw(0.5e-3, 1.0, 1).band_rms(0.1, 10) ** 2 == expected("8.07|rms^2 for B=1 : A ln(f2/f1)")
    whole, _ = quad(lambda f: 2 * math.pi * f * 3 * f**-3.6, 0.2, 5)
    assert PowerLaw(3.0, 3.6, 2).band_rms(0.2, 5) ** 2 == pytest.approx(whole, rel=1e-9)


@pytest.mark.parametrize(("c", "entry"), [(2.0, "C=2"), (2.5, "C=2.5"), (3.0, "C=3 (=1/pi)")])
def test_k_correlation_8_05(expected: Expected, c: float, entry: str) -> None:
    model = KCorrelation(3.0, 2.0, c)
    assert model.areal_factor == expected(f"8.05|K, {entry}")
    ratio = "C=2 (=pi/2)" if c == 2 else f"C={c:g}"
    assert model.rms**2 * 2 / 3 == expected(f"8.05|sigma^2 B/A, {ratio}")
    line, _ = quad(lambda fy: float(model.density(np.array(math.hypot(0.7, fy)))), -np.inf, np.inf)
    assert model.density(np.array(0.7), 1) == pytest.approx(line, rel=1e-6)
    areal, _ = quad(lambda f: 2 * math.pi * f * float(model.density(np.array(f))), 0.1, 9)
    assert model.band_rms(0.1, 9) ** 2 == pytest.approx(areal, rel=1e-9)
    assert model.band_rms(0, math.inf) == pytest.approx(model.rms, rel=1e-12)


def test_exponential_pair_8_04(expected: Expected) -> None:
    """The exponential autocorrelation is the k-correlation with C = 2, B = 2πT; reference in nm and µm."""
    model = KCorrelation.from_rms(1e-9, b=2 * math.pi * 5e-7, c=2.0)
    zero, one = np.array(0.0), np.array(1e6)
    assert model.density(zero, 1) == expected("8.04|two-sided PSD1(0)=2 sigma^2 T", unit=1e-24)
    assert model.density(zero) == expected("8.04|PSD2(0)=2 pi sigma^2 T^2", unit=1e-30)
    assert model.density(one, 1) == expected("8.04|PSD1 at f=1/um", unit=1e-24)
    assert model.density(one) == expected("8.04|PSD2 at f=1/um", unit=1e-30)
    assert model.band_rms(0.2e6, 2e6) == expected("8.04|band rms 0.2..2 /um (2D integral)", unit=1e-9)


def test_models_out_of_reach_are_refused() -> None:
    with pytest.raises(MapError, match="RMS"):
        KCorrelation.from_rms(1e-9, b=1e-6, c=1.0)
    with pytest.raises(MapError, match="line"):
        PowerLaw(1.0, 0.9, 2).along_a_line()
    assert KCorrelation(1.0, 1.0, 0.8).rms == math.inf


def affine(n: int, hurst: float, rng: np.random.Generator, pitch: tuple[float, float] = (1.0, 1.0)) -> HeightMap:
    """Cut from a larger field, plane off, level only beyond the map: as a scan of a self-affine surface."""
    z = self_affine((n, n), pitch, sq=1.0, hurst=hurst, roll_off=float(n), rng=rng)
    return HeightMap(without_plane(z), pitch)


def correlated(n: int, model: KCorrelation, rng: np.random.Generator) -> HeightMap:
    """A Gaussian field with the areal density of the model, cut from a periodic field three times as wide."""
    field = 3 * n
    f = np.hypot(np.fft.fftfreq(field)[:, None], np.fft.rfftfreq(field)[None, :])
    white = np.fft.rfft2(rng.standard_normal((field, field)))
    return HeightMap(np.fft.irfft2(white * np.sqrt(model.density(f)), s=(field, field))[:n, :n], (1.0, 1.0))


def radial(scan: HeightMap) -> Spectrum:
    return radial_average(areal_spectrum(scan))


@pytest.mark.parametrize("hurst", [0.3, 0.8])
def test_exact_spectra_give_exact_parameters(hurst: float) -> None:
    """Densities that are the model itself, without a window: only the width of the rings is left (second order)."""
    f = np.arange(1, 200) * 1e5
    law = Spectrum("fast axis", f, 3e-20 * f ** -(2 * hurst + 1), np.full(199, 50.0), (1e5,), "none", "")
    fit = fit_self_affine(law)
    assert fit.estimates["hurst"].value == pytest.approx(hurst, abs=1e-8)
    assert fit.estimates["amplitude"].value == pytest.approx(3e-20, rel=1e-6)
    assert fit.model == PowerLaw(fit.estimates["amplitude"].value, fit.estimates["exponent"].value, 1)
    assert fit.misfit < 1e-12
    true = KCorrelation.from_rms(1e-9, b=3e-7, c=2 * hurst + 1)
    for dimension, kind, steps in ((1, "fast axis", (1e5,)), (2, "radial", (1e-3, 1e-3))):
        spectrum = Spectrum(kind, f, true.density(f, dimension), np.full(199, 50.0), steps, "none", "")  # type: ignore[arg-type]
        found = fit_k_correlation(spectrum)
        assert found.estimates["a"].value == pytest.approx(true.a, rel=1e-5)
        assert found.estimates["b"].value == pytest.approx(true.b, rel=1e-5)
        assert found.estimates["c"].value == pytest.approx(true.c, rel=1e-5)
        assert isinstance(found.model, KCorrelation)
        assert found.model.rms == pytest.approx(1e-9, rel=1e-4)


def test_slope_of_one_map_8_06() -> None:
    """Fitted areal slope within 0.05 of −2(H+1) over more than a decade at 1024² (note of reference 8.06)."""
    fit = fit_self_affine(radial(affine(1024, 0.8, np.random.default_rng(1))))
    assert fit.estimates["exponent"].value == pytest.approx(3.6, abs=0.05)
    assert fit.wavenumbers[1] > 10 * fit.wavenumbers[0]


def coverage(fits: list[Fit], name: str, true: float) -> float:
    return float(np.mean([fit.estimates[name].low <= true <= fit.estimates[name].high for fit in fits]))


def mean_error(fits: list[Fit], name: str, true: float) -> float:
    """Error of the mean estimate in its own standard errors."""
    values = np.array([fit.estimates[name].value for fit in fits])
    return float((values.mean() - true) / (values.std() / math.sqrt(values.size)))


@pytest.mark.parametrize(("hurst", "pitch"), [(0.8, (1.0, 1.0)), (0.3, (1.0, 1.0)), (0.8, (1.0, 1.7))])
def test_hurst_exponent_and_its_interval(hurst: float, pitch: tuple[float, float]) -> None:
    """60 maps of 128²: a true cover of 95 % shows fewer than 51 hits once in 1,000 runs; a bias of a third of the
    standard deviation (2.6 standard errors of the mean) would be seen."""
    rng = np.random.default_rng(8)
    fits = [fit_self_affine(radial(affine(128, hurst, rng, pitch))) for _ in range(60)]
    assert coverage(fits, "hurst", hurst) >= 51 / 60
    assert abs(mean_error(fits, "hurst", hurst)) < 3.5


@pytest.mark.long
@pytest.mark.parametrize("hurst", [0.3, 0.6, 0.9])
def test_cover_of_the_hurst_interval(hurst: float) -> None:
    """400 maps: 95 % ± 1.1 %."""
    rng = np.random.default_rng(9)
    fits = [fit_self_affine(radial(affine(128, hurst, rng))) for _ in range(400)]
    assert 0.915 < coverage(fits, "hurst", hurst) < 0.985
    assert abs(np.mean([fit.estimates["hurst"].value for fit in fits]) - hurst) < 0.01


def test_k_correlation_and_its_intervals() -> None:
    true = KCorrelation.from_rms(1.0, b=40.0, c=2.6)
    rng = np.random.default_rng(10)
    fits = [fit_k_correlation(radial(correlated(160, true, rng))) for _ in range(40)]
    for name in ("a", "b", "c"):
        assert coverage(fits, name, getattr(true, name)) >= 33 / 40, name  # as above: once in 1,000 runs
        values = np.array([fit.estimates[name].value for fit in fits])
        assert np.median(values) == pytest.approx(getattr(true, name), rel=0.15), name


@pytest.mark.long
def test_cover_of_the_k_correlation_intervals() -> None:
    true = KCorrelation.from_rms(1.0, b=40.0, c=2.6)
    rng = np.random.default_rng(11)
    fits = [fit_k_correlation(radial(correlated(256, true, rng))) for _ in range(200)]
    for name in ("a", "b", "c"):
        assert 0.90 < coverage(fits, name, getattr(true, name)) <= 1.0, name


@pytest.mark.parametrize("axis", [fast_axis_spectrum, slow_axis_spectrum])
def test_hurst_exponent_along_an_axis(axis: Callable[[HeightMap], Spectrum]) -> None:
    """The synthetic field ends at two points per wave, so a line misses what lies beyond: a tenth of the power at an
    eighth of a cycle per point already. Fitted below that."""
    rng = np.random.default_rng(12)
    fits = [fit_self_affine(axis(affine(128, 0.7, rng)), high=0.12) for _ in range(60)]
    assert coverage(fits, "hurst", 0.7) >= 50 / 60
    assert np.mean([fit.estimates["hurst"].value for fit in fits]) == pytest.approx(0.7, abs=0.03)


def test_units_do_not_matter() -> None:
    """Metres or nanometres: parameters scale, the exponent and its interval stay."""
    scan = affine(128, 0.6, np.random.default_rng(13))
    small = HeightMap(scan.z * 1e-9, (1e-8, 1e-8))
    for fit in (fit_self_affine, fit_k_correlation):
        large_fit, small_fit = fit(radial(scan)), fit(radial(small))
        name = "exponent" if fit is fit_self_affine else "c"
        here, there = large_fit.estimates[name], small_fit.estimates[name]
        assert (there.value, there.low, there.high) == pytest.approx((here.value, here.low, here.high), rel=1e-4)


def test_one_sided_spectra_give_the_same() -> None:
    line = fast_axis_spectrum(affine(128, 0.6, np.random.default_rng(14)))
    two, one = fit_self_affine(line), fit_self_affine(line.one_sided())
    assert one.estimates["amplitude"].value == pytest.approx(two.estimates["amplitude"].value, rel=1e-9)


def test_a_model_that_does_not_hold_shows() -> None:
    """White noise over a self-affine surface: the power law misfits, and says so; the interval widens with it."""
    rng = np.random.default_rng(15)
    scan = affine(256, 0.9, rng)
    noisy = HeightMap(scan.z + 0.3 * rng.standard_normal(scan.shape), scan.pitch)
    assert fit_self_affine(radial(scan)).misfit < 2
    assert fit_self_affine(radial(noisy)).misfit > 5
    white = HeightMap(rng.standard_normal((128, 128)), (1.0, 1.0))
    assert "Hurst" in fit_self_affine(radial(white)).note


def test_a_knee_outside_the_range_is_said() -> None:
    assert "knee" in fit_k_correlation(radial(affine(256, 0.7, np.random.default_rng(16))), low=0.1, high=0.25).note


def test_what_a_spectrum_does_not_tell_has_a_wide_interval() -> None:
    """White noise has no knee: B may be anything small, and the interval says so."""
    fit = fit_k_correlation(radial(HeightMap(np.random.default_rng(18).standard_normal((128, 128)), (1.0, 1.0))))
    knee = fit.estimates["b"]
    assert knee.high > 10 * knee.low
    assert fit.estimates["c"].high - fit.estimates["c"].low > 0.5


def test_too_few_bins_are_refused() -> None:
    spectrum = radial(HeightMap(np.random.default_rng(1).standard_normal((64, 64)), (1.0, 1.0)))
    with pytest.raises(MapError, match="bins"):
        fit_self_affine(spectrum, 0.1, 0.12)
    with pytest.raises(MapError, match="bins"):
        fit_k_correlation(radial(HeightMap(np.zeros((64, 64)), (1.0, 1.0))))


def test_default_range() -> None:
    spectrum = radial(affine(128, 0.5, np.random.default_rng(17)))
    fit = fit_self_affine(spectrum)
    assert fit.wavenumbers[0] == pytest.approx(spectrum.wavenumbers[3])
    assert fit.wavenumbers[1] <= spectrum.wavenumbers[-1] / 2
    with pytest.raises(TypeError):
        fit.estimates["hurst"] = fit.estimates["hurst"]  # type: ignore[index]
