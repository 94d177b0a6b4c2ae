"""Readings against reference values. The surface of each entry is stated here; reference/README.md gives the sources.

The seven-point slopes leave out three points at every edge, so maps for Sdq and Sdr are made three points wider on
every side: their inner points are the whole periods that the closed form speaks of.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import erfcx
from scipy.stats import norm

from core.heightmap import HeightMap
from core.measures import readings
from core.treatment import Level

NM = 1e-9
Expected = Callable[..., Any]
Surface = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]


def sampled(surface: Surface, n: int, side: float, *, wider: int = 0, centre: float = 0.5) -> HeightMap:
    """`surface(x, y)` in metres on n × n points of a square; `wider` adds points on every side."""
    step = side / n
    along = (np.arange(-wider, n + wider) + centre) * step
    x, y = np.meshgrid(along, along)
    return HeightMap(surface(x, y), pitch=(step, step))


def values(scan: HeightMap) -> dict[str, float]:
    return {symbol: float(reading) for symbol, reading in readings(scan).items()}


def cosine(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(10 * NM * np.cos(2 * np.pi * x / 1e-6))


def egg_box(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(10 * NM * np.cos(2 * np.pi * x / 1e-6) * np.cos(2 * np.pi * y / 0.5e-6))


def crossed(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(3 * NM * np.cos(2 * np.pi * x / 1e-6) + 4 * NM * np.cos(2 * np.pi * y / 0.5e-6))


def fourier_series(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    terms = [(1, 0, 5, 0), (0, 1, 4, 0.5), (1, 1, 3, 1.0), (3, -2, 2, 1.5), (5, 4, 1, 2.0), (8, -7, 0.5, 2.5)]
    return sum((a * NM * np.cos(2 * np.pi * (p * x + q * y) / 10e-6 + f) for p, q, a, f in terms), np.zeros_like(x))


WAVES = {
    "1.01": (cosine, 1000, 0.5, ["Sq", "Sa", "Ssk", "Sku", "Sp", "Sv", "Sz"]),
    "1.03": (egg_box, 1000, 0.5, ["Sq", "Sa", "Ssk", "Sku"]),
    "1.05": (crossed, 1000, 0.5, ["Sq", "Sa", "Ssk", "Sku", "Sp", "Sz"]),
    "1.20": (fourier_series, 512, 0.0, ["Sq", "Sa", "Ssk", "Sku", "Sp", "Sv", "Sz"]),
}


@pytest.mark.parametrize("entry", WAVES)
def test_heights_of_waves(entry: str, expected: Expected) -> None:
    surface, n, centre, symbols = WAVES[entry]
    found = values(sampled(surface, n, 10e-6, centre=centre))
    for symbol in symbols:
        unit = 1.0 if symbol in ("Ssk", "Sku") else NM
        assert found[symbol] == expected(f"{entry}|{symbol}", unit), symbol


@pytest.mark.parametrize(("entry", "symbols"), [("1.01", 2), ("1.03", 2), ("1.05", 1), ("1.20", 2)])
def test_slopes_of_waves(entry: str, symbols: int, expected: Expected) -> None:
    surface, n, centre, _ = WAVES[entry]
    found = values(sampled(surface, n, 10e-6, wider=3, centre=centre))
    for symbol in ("Sdq", "Sdr")[:symbols]:
        assert found[symbol] == expected(f"{entry}|{symbol}"), symbol


@pytest.mark.parametrize("per_period", [10, 20, 50])
@pytest.mark.parametrize("axis", [0, 1])
def test_response_of_the_derivative(per_period: int, axis: int, expected: Expected) -> None:
    """Entry 1.02: the Sdq of a cosine with few samples reads low by the stated factor."""
    n, step = 10 * per_period, 1e-8
    x = (np.arange(n + 6) - 3) * step
    k = 2 * np.pi / (per_period * step)
    z = np.broadcast_to(NM * np.cos(k * x), (n + 6, n + 6))
    true = NM * k / np.sqrt(2)
    found = values(HeightMap(z if axis else z.T, pitch=(step, step)))["Sdq"]
    assert found / true == expected(f"1.02|7-point n={per_period}")


def test_skewed_pair_and_its_mirror(expected: Expected) -> None:
    """Entry 1.06: z = A (cos t + ½ cos 2t), A = 8 nm, 250 samples in each of 4 periods."""
    t = 2 * np.pi * (np.arange(1000) + 0.5) / 250
    z = np.broadcast_to(8 * NM * (np.cos(t) + 0.5 * np.cos(2 * t)), (8, 1000))
    found = values(HeightMap(z, pitch=(1e-8, 1e-8)))
    for symbol in ("Sq", "Sp", "Sv", "Sa"):
        assert found[symbol] / (8 * NM) == expected(f"1.06|{symbol}/A"), symbol
    mirrored = values(HeightMap(-z, pitch=(1e-8, 1e-8)))
    for flat, sign in ((found, 1), (mirrored, -1)):
        assert sign * flat["Ssk"] == expected("1.06|Ssk")
        assert flat["Sku"] == expected("1.06|Sku")
    assert (mirrored["Sp"], mirrored["Sv"]) == pytest.approx((found["Sv"], found["Sp"]), rel=1e-12)


@pytest.mark.parametrize("share", [0.5, 0.1, 0.01])
def test_two_levels(share: float, expected: Expected) -> None:
    """Entry 1.08: a fraction of the points at h, the rest at 0."""
    z = np.zeros(10_000)
    z[: round(10_000 * share)] = 1.0
    found = values(HeightMap(z.reshape(100, 100) * NM, pitch=(1e-8, 1e-8)))
    assert found["Sq"] == expected(f"1.08|f={share} Sq", NM)
    assert found["Sa"] == expected(f"1.08|f={share} Sa", NM)
    assert found["Ssk"] == expected(f"1.08|f={share} Ssk")
    assert found["Sku"] == expected(f"1.08|f={share} Sku")


def test_hemisphere(expected: Expected) -> None:
    """Entry 1.10: r = 50 nm on 1 µm, 2000² points. Its Sdr is left to 1.11: the rim is vertical."""
    scan = sampled(lambda x, y: np.sqrt(np.maximum(0, (50 * NM) ** 2 - _r2(x, y))), 2000, 1e-6)
    found = values(scan)
    assert -scan.z.min() + found["Sv"] == expected("1.10|mean height", NM)
    for symbol, unit in (("Sq", NM), ("Sa", NM), ("Ssk", 1.0), ("Sku", 1.0)):
        assert found[symbol] == expected(f"1.10|{symbol}", unit), symbol


def test_paraboloid(expected: Expected) -> None:
    """Entry 1.11: z = h (1 − ρ²/a²), a = 50 nm, h = 10 nm, on 1 µm, 2000² points."""
    scan = sampled(lambda x, y: np.maximum(0, 10 * NM * (1 - _r2(x, y) / (50 * NM) ** 2)), 2000, 1e-6)
    found = values(scan)
    assert found["Sv"] == expected("1.11|mean height", NM)
    assert found["Sv"] * 1e-12 == expected("1.11|volume", NM**3)
    for symbol, unit in (("Sq", NM), ("Sa", NM), ("Ssk", 1.0), ("Sku", 1.0), ("Sdq", 1.0), ("Sdr", 1.0)):
        assert found[symbol] == expected(f"1.11|{symbol}", unit), symbol


def test_cap(expected: Expected) -> None:
    """Entry 1.12: a spherical cap, h = 10 nm, a = 50 nm, on 1 µm."""
    radius = (50**2 + 10**2) / 20 * NM
    scan = sampled(
        lambda x, y: np.maximum(0, np.sqrt(np.maximum(0, radius**2 - _r2(x, y))) - radius + 10 * NM), 2000, 1e-6
    )
    found = values(scan)
    assert found["Sv"] * 1e-12 == expected("1.12|volume", NM**3)
    assert found["Sdr"] == expected("1.12|Sdr")


def _r2(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    cx, cy = x.mean(), y.mean()
    return np.asarray((x - cx) ** 2 + (y - cy) ** 2)


def shuffled(quantiles: NDArray[np.float64]) -> HeightMap:
    z = np.random.default_rng(113).permutation(quantiles)
    return HeightMap(z.reshape(1000, 1000) * NM, pitch=(1e-8, 1e-8))


PLACES = (np.arange(1_000_000) + 0.5) / 1_000_000


def test_gaussian_heights(expected: Expected) -> None:
    """Entry 1.13: quantiles of the normal distribution, shuffled."""
    found = values(shuffled(norm.ppf(PLACES)))
    assert found["Sa"] / found["Sq"] == expected("1.13|Sa/Sq")
    assert found["Ssk"] == expected("1.13|Ssk")
    assert found["Sku"] == expected("1.13|Sku")
    # derived here: 2 Φ⁻¹(0.999); the quantiles of the samples differ from it by their spacing only
    assert found["S99.8"] / found["Sq"] == pytest.approx(2 * norm.ppf(0.999), rel=1e-4)


def test_other_distributions(expected: Expected) -> None:
    """Entry 1.14: quantiles of the exponential, Laplace and uniform distributions."""
    exponential = values(shuffled(-np.log1p(-PLACES)))
    assert exponential["Sa"] / exponential["Sq"] == expected("1.14|one-sided exponential Sa/Sq = 2/e")
    assert exponential["Ssk"] == expected("1.14|exponential Ssk")
    assert exponential["Sku"] == expected("1.14|exponential Sku")
    side = PLACES - 0.5
    laplace = values(shuffled(-np.sign(side) * np.log1p(-2 * np.abs(side))))
    assert laplace["Sa"] / laplace["Sq"] == expected("1.14|Laplace Sa/Sq")
    assert laplace["Sku"] == expected("1.14|Laplace Sku")
    uniform = values(shuffled(PLACES))
    assert uniform["Sa"] / uniform["Sq"] == expected("1.14|uniform Sa/Sq")
    assert uniform["Sku"] == expected("1.14|uniform Sku")


@pytest.mark.parametrize("steepness", ["0.01", "0.1", "0.5"])
def test_area_of_gaussian_slopes(steepness: str, expected: Expected) -> None:
    """Entry 1.17: Sdr of a Gaussian surface follows from its Sdq.

    One map of 2048² with T = 8 px has about 65,000 independent slopes; the scatter of Sdr at given Sdq comes from their
    fourth moment and is below 0.5 %, hence 1 % instead of the 1e-6 of the formula itself.
    """
    rng = np.random.default_rng(117)
    f = np.fft.fftfreq(2048)[:, None] ** 2 + np.fft.rfftfreq(2048) ** 2
    spectrum = np.fft.rfft2(rng.standard_normal((2048, 2048))) * np.exp(-(np.pi**2) * 64 * f / 2)
    z = np.fft.irfft2(spectrum)
    wanted = float(steepness)
    z *= wanted / values(HeightMap(z, pitch=(1.0, 1.0)))["Sdq"]
    found = values(HeightMap(z, pitch=(1.0, 1.0)))
    assert found["Sdq"] == pytest.approx(wanted, rel=1e-12)
    assert found["Sdr"] == expected(f"1.17|Sdr at Sdq={steepness}", rel=0.01)
    assert found["Sdr"] <= wanted**2 / 2
    assert np.sqrt(np.pi) / 2 * wanted * erfcx(1 / wanted) == expected(f"1.17|Sdr at Sdq={steepness}")


def legendre_sum(u: NDArray[np.float64]) -> HeightMap:
    """Entry 1.21: z = 4 P₂(x) + 3 P₃(y) on the points u of both axes, least-squares plane taken off."""
    z = 4 * (3 * u**2 - 1) / 2 + (3 * (5 * u**3 - 3 * u) / 2)[:, None]
    return Level().apply(HeightMap(z * NM, pitch=(1e-8, 1e-8)))


def test_polynomial_surface_spread(expected: Expected) -> None:
    """Entry 1.21 with cell-centred points: sums over them miss the integrals by 1/N² only."""
    found = values(legendre_sum((np.arange(1001) + 0.5) / 1001 * 2 - 1))
    assert found["Sq"] == expected("1.21|Sq (continuous)", NM)
    assert found["Ssk"] == expected("1.21|Ssk")


def test_polynomial_surface_ends(expected: Expected) -> None:
    """Entry 1.21 with the ends among the points: there the extremes lie. Enough points that the plane stays put."""
    found = values(legendre_sum(np.linspace(-1, 1, 3001)))
    for symbol, name in (("Sp", "Sp"), ("Sv", "Sv"), ("Sz", "Sz (LS reference)")):
        assert found[symbol] == expected(f"1.21|{name}", NM), symbol


@pytest.mark.parametrize("how", ["missing", "masked"])
def test_every_second_period_left_out(how: str, expected: Expected) -> None:
    """Entry 1.24: map 1.01 without every second period; nothing is filled in."""
    whole = sampled(cosine, 1000, 10e-6)
    out = np.broadcast_to((np.arange(1000) // 100) % 2 == 1, (1000, 1000))
    scan = whole.with_(z=np.where(out, np.nan, whole.z)) if how == "missing" else whole.with_(mask=out)
    found = values(scan)
    assert found["Sq"] == expected("1.24|Sq unchanged", NM)
    assert found["Sku"] == expected("1.24|Sku unchanged")


def test_quantisation(expected: Expected) -> None:
    """Entry 7.04: the rounding error of a fine ramp, and rounded Gaussian heights."""
    ramp = (PLACES - 0.5).reshape(1000, 1000)
    for name, step in (("LSB 0.1 nm", 0.1), ("16 bit over 5 um", 5000 / 65536)):
        assert values(HeightMap(ramp * step * NM, pitch=(1e-8, 1e-8)))["Sq"] == expected(f"7.04|{name}", NM)
    for name, sigma in (("std of rounded N(0,s), s=0.25 LSB", 0.25), ("s=0.5 LSB", 0.5), ("s=1 LSB", 1.0)):
        found = values(shuffled(np.round(sigma * norm.ppf(PLACES))))
        assert found["Sq"] == expected(f"7.04|{name}", NM)


ZERNIKE = {
    "defocus 2 sqrt3": lambda r, _: 2 * r**2 - 1,
    "astigmatism 2 sqrt6": lambda r, t: r**2 * np.cos(2 * t),
    "coma 2 sqrt8": lambda r, t: (3 * r**3 - 2 * r) * np.cos(t),
    "trefoil 2 sqrt8": lambda r, t: r**3 * np.cos(3 * t),
    "primary spherical 1.5 sqrt5": lambda r, _: 6 * r**4 - 6 * r**2 + 1,
    "tilt": lambda r, t: r * np.cos(t),
}


@pytest.mark.parametrize("shape", ZERNIKE)
def test_peak_to_valley_over_rms_of_one_aberration_on_a_disc(expected, shape):
    """Reference 3.07, derived there in closed form. The disc is a mask: what lies outside must not count."""
    side = np.linspace(-1, 1, 1201)
    x, y = np.meshgrid(side, side)
    r = np.hypot(x, y)
    z = np.where(r <= 1, ZERNIKE[shape](r, np.arctan2(y, x)), 99.0)
    found = readings(HeightMap(1e-8 * z, pitch=(1e-6, 1e-6), mask=r > 1), ["Sz", "Sq"])
    assert float(found["Sz"]) / float(found["Sq"]) == expected(f"3.07|{shape}")


@pytest.mark.parametrize(("side", "maps"), [(256, 200), (512, 50), pytest.param(1024, 50, marks=pytest.mark.long)])
def test_expected_extreme_of_white_gaussian_points(expected, side, maps):
    """Reference 1.19: E[Sp] / Sq, order-statistic integral. One map scatters by 0.25, the mean of n maps by 0.25/√n:
    four of that are allowed."""
    rng = np.random.default_rng(19)
    peaks = [
        float(found["Sp"]) / float(found["Sq"])
        for found in (
            readings(HeightMap(1e-9 * rng.standard_normal((side, side)), pitch=(1e-8, 1e-8)), ["Sp", "Sq"])
            for _ in range(maps)
        )
    ]
    wanted = expected(f"1.19|E[Sp], N={side * side}").expected
    assert np.mean(peaks) == pytest.approx(wanted, abs=4 * 0.25 / np.sqrt(maps))
