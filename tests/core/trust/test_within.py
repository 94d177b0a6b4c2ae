"""The interval of one scan: its formula on known textures, its cover by simulation, and what it must not say."""

from __future__ import annotations

import math

import numpy as np
import pytest

from core.compare import compare
from core.heightmap import HeightMap
from core.measures import readings
from core.measures.reading import Reading
from core.sheet.words import has_interval, interval_text
from core.synthetic import gaussian_texture, self_affine
from core.synthetic.texture import _from_density
from core.treatment import Treatment
from core.trust.within import (
    COARSE,
    FEW_FEATURES,
    FLOOR,
    NO_INTERVAL,
    WITHIN,
    FiniteArea,
    finite_area,
    floored,
    interval,
    with_interval,
)

UNIT = (1.0, 1.0)
PLANE = Treatment.from_list([{"do": "level"}])


def gaussian(n, lengths, rng):
    return gaussian_texture((n, n), UNIT, sq=1.0, length=n / lengths, rng=rng)


def exponential(n, lengths, rng):
    length = n / lengths

    def density(fy, fx):
        return (1 + (2 * np.pi * length) ** 2 * (fy**2 + fx**2)) ** -1.5

    return _from_density((n, n), UNIT, density, sq=1.0, reach=10 * length, rng=rng)


def bumps(n, width, density, rng):
    """Shot noise: bumps exp(−r²/w²) at random places. Excess kurtosis of the heights 1/(π w² density), in closed form:
    κ = λ∫h⁴ / (λ∫h²)² = (πw²/4) / (λ(πw²/2)²) = 1/(λπw²)."""
    side = n + 8 * math.ceil(width)
    count = rng.poisson(density * side * side)
    at = np.zeros((side, side))
    np.add.at(at, (rng.integers(0, side, count), rng.integers(0, side, count)), 1.0)
    f = np.fft.fftfreq(side)
    response = np.exp(-((np.pi * width) ** 2) * (f[:, None] ** 2 + f[None, :] ** 2))
    return np.fft.ifft2(np.fft.fft2(at) * response).real[:n, :n]


def banded(n):
    return Treatment.from_list([{"do": "level"}, {"do": "band", "shortest": "5 m", "longest": f"{n / 4} m"}])


def cover(make, treatment, count, *, kurtosis=None):
    """Share of scans whose interval holds the process at this window, for Sq and Sa; the areas."""
    areas, squares, absolutes = [], [], []
    for _ in range(count):
        treated = treatment.apply(HeightMap(make(), UNIT))
        u = treated.z - treated.z.mean()
        areas.append(finite_area(treated, kurtosis=kurtosis))
        squares.append(float(np.mean(u**2)))
        absolutes.append(float(np.mean(np.abs(u))))
    true_q, true_a = math.sqrt(np.mean(squares)), float(np.mean(absolutes))

    def held(values, truth, variance):
        ends = [interval(value, getattr(area, variance)) for value, area in zip(values, areas, strict=True)]
        return float(np.mean([low <= truth <= high for low, high in ends]))

    return held(np.sqrt(squares), true_q, "variance"), held(absolutes, true_a, "variance_absolute"), areas


@pytest.mark.parametrize("lengths", [20, 40])
def test_u_of_a_gaussian_texture_is_the_closed_form(lengths, expected):
    # 11.02: ½√(πT²/A), leading order in T/L; one map scatters by about 7 % of it, so the mean of six by 3 %
    rng = np.random.default_rng(1)
    found = np.mean([finite_area(HeightMap(gaussian(192, lengths, rng), UNIT)).u for _ in range(6)])
    assert found == pytest.approx(math.sqrt(math.pi) / 2 / lengths, rel=0.12)
    if lengths == 20:
        assert found == expected("11.02|L/T=20")


def test_fine_and_coarse_paths_agree():
    """A texture finer than the reduced map resolves is looked at in pieces at full resolution."""
    rng = np.random.default_rng(2)
    for length in (6.0, 30.0):
        z = gaussian_texture((576, 576), UNIT, sq=1.0, length=length, rng=rng)
        area = finite_area(HeightMap(z, UNIT))
        assert area.length == pytest.approx(length, rel=0.1)
        assert area.u == pytest.approx(math.sqrt(math.pi) / 2 * length / 576, rel=0.15)


def test_oblong_pixels_and_holes_change_nothing():
    rng = np.random.default_rng(3)
    z = gaussian_texture((128, 256), (2.0, 1.0), sq=1.0, length=12.0, rng=rng)
    whole = finite_area(HeightMap(z, (2.0, 1.0)))
    assert whole.length == pytest.approx(12.0, rel=0.2)
    mask = np.zeros(z.shape, bool)
    mask[40:50, 60:80] = True
    holed = z.copy()
    holed[90:100, 200:220] = np.nan
    holed[40:50, 60:80] = 50.0
    other = finite_area(HeightMap(holed, (2.0, 1.0), mask=mask))
    assert other.u == pytest.approx(whole.u, rel=0.1)


def test_the_interval_is_chi_squared(expected):
    low, high = interval(1.0, 2 / 4)
    assert low == expected("11.01|95 % factor on s, n=5: low")
    assert high == expected("11.01|high")


@pytest.mark.parametrize(
    ("make", "treatment", "least"),
    [
        (lambda rng: gaussian(96, 20, rng), PLANE, 0.90),
        (lambda rng: exponential(96, 20, rng), PLANE, 0.89),
        (lambda rng: self_affine((96, 96), UNIT, sq=1.0, hurst=0.8, roll_off=96.0, rng=rng), banded(96), 0.89),
    ],
    ids=["gaussian", "exponential", "self-affine in a band"],
)
def test_cover_small(make, treatment, least):
    # 120 scans at a true cover of 0.94 fall below 0.89 once in 60; the seed is fixed
    rng = np.random.default_rng(11)
    of_sq, of_sa, _ = cover(lambda: make(rng), treatment, 120)
    assert of_sq >= least
    assert of_sa >= least


COVER = {
    "gaussian 40": (lambda rng: gaussian(128, 40, rng), PLANE, 0.93, 0.97),
    "gaussian 20": (lambda rng: gaussian(128, 20, rng), PLANE, 0.93, 0.97),
    "gaussian 10": (lambda rng: gaussian(128, 10, rng), PLANE, 0.92, 0.97),
    "gaussian 5": (lambda rng: gaussian(128, 5, rng), PLANE, 0.85, 0.94),
    "exponential 40": (lambda rng: exponential(128, 40, rng), PLANE, 0.91, 0.965),
    "exponential 20": (lambda rng: exponential(128, 20, rng), PLANE, 0.92, 0.97),
    "exponential 10": (lambda rng: exponential(128, 10, rng), PLANE, 0.88, 0.95),
    "gaussian 10 in a band": (lambda rng: gaussian(128, 10, rng), banded(128), 0.91, 0.97),
    "exponential 10 in a band": (lambda rng: exponential(128, 10, rng), banded(128), 0.91, 0.97),
    "self-affine in a band": (
        lambda rng: self_affine((128, 128), UNIT, sq=1.0, hurst=0.8, roll_off=256.0, rng=rng),
        banded(128),
        0.92,
        0.97,
    ),
}
"""The table of the methods measured for this program (95.0, 94.3, 94.5, 90.0, 93.8, 94.0, 91.7; in a band 93–97), less
and more three standard errors of 500 scans (0.03) where that is wider."""


@pytest.mark.long
@pytest.mark.parametrize("name", COVER)
def test_cover_table(name):
    make, treatment, low, high = COVER[name]
    rng = np.random.default_rng(12)
    of_sq, of_sa, _ = cover(lambda: make(rng), treatment, 500)
    assert low - 0.02 <= of_sq <= high + 0.015
    assert low - 0.03 <= of_sa <= high + 0.015


def test_heavy_tails_widen_the_interval():
    """κ = 1/(λπw²) = 3 here; Var(Sq²)/Sq⁴ = (2 + κ)Σρ²/A, so the scatter of ln Sq is √(5/2) of the Gaussian one."""
    rng = np.random.default_rng(13)
    n, width = 96, 4.0
    density = 1 / (3 * math.pi * width**2)
    maps = [HeightMap(bumps(n, width, density, rng), UNIT) for _ in range(150)]
    scatter = float(np.std([math.log(float(scan.z.std())) for scan in maps]))
    told = float(np.sqrt(np.mean([finite_area(scan).u ** 2 for scan in maps])))
    plain = float(np.sqrt(np.mean([finite_area(scan, kurtosis=3.0).u ** 2 for scan in maps])))
    # the scatter of 150 scans is known to 6 %, the kurtosis of one map is itself uncertain and reads low
    assert told == pytest.approx(scatter, rel=0.2)
    assert plain < 0.8 * scatter


@pytest.mark.long
@pytest.mark.parametrize(("kappa", "least", "without"), [(1.0, 0.90, 0.92), (3.0, 0.87, 0.86), (10.0, 0.84, 0.72)])
def test_cover_of_heavy_tails(kappa, least, without):
    """Simulated for this program, 500 scans with some 24 texture lengths in a side: with κ and without."""
    n, width = 128, 4.0
    density = 1 / (kappa * math.pi * width**2)
    rng = np.random.default_rng(14)
    of_sq, _, _ = cover(lambda: bumps(n, width, density, rng), Treatment(()), 500)
    rng = np.random.default_rng(14)
    plain, _, _ = cover(lambda: bumps(n, width, density, rng), Treatment(()), 500, kurtosis=3.0)
    assert of_sq >= least
    assert plain <= without
    assert of_sq > plain


def test_what_is_told_depends_on_the_lengths_in_a_side():
    def area(lengths, **changes):
        return FiniteArea(**({"length": 1.0, "lengths": lengths, "variance": 0.02, "variance_absolute": 0.02,
                              "banded": False} | changes))  # fmt: skip

    assert area(10.0).note == WITHIN
    assert area(9.9).note == f"{WITHIN}; {COARSE}"
    assert area(4.9).note == f"{NO_INTERVAL}; {WITHIN}"
    assert area(3.0, banded=True).note == WITHIN
    assert area(20.0, variance=2.5).told is False
    assert area(20.0, variance=2.5, heavy=50.0).note == f"{FEW_FEATURES}; {WITHIN}"


def test_only_means_over_all_points_get_one():
    rng = np.random.default_rng(15)
    scan = HeightMap(1e-9 * gaussian(128, 20, rng), (1e-8, 1e-8))
    area = finite_area(scan)
    found = {symbol: with_interval(reading, area) for symbol, reading in readings(scan).items()}
    assert {symbol for symbol, reading in found.items() if reading.low is not None} == {"Sq", "Sa"}
    sq = found["Sq"]
    assert sq.low < sq.value < sq.high
    assert sq.high - sq.value > sq.value - sq.low  # lopsided
    assert not has_interval(sq)  # not one of the specimen
    assert "±" not in interval_text(sq)
    long = HeightMap(1e-9 * gaussian(128, 2.5, rng), (1e-8, 1e-8))
    told = with_interval(readings(long, ["Sq"])["Sq"], finite_area(long))
    assert told.low is None
    assert NO_INTERVAL in told.note


def test_nothing_to_tell():
    assert finite_area(HeightMap(np.ones((32, 32)), UNIT)) is None
    assert finite_area(HeightMap([[0.0, 1.0]], UNIT)) is None
    reading = Reading("Sq", 1e-9, "m", "")
    assert with_interval(reading, None) == reading


def test_one_spot_stays_unproven():
    rng = np.random.default_rng(16)
    maps = [
        HeightMap(s * gaussian(64, 16, rng), (1e-8, 1e-8), name=f"{name} spot {k}")
        for name, s, spots in (("a", 1e-10, 3), ("b", 1e-9, 1))
        for k in range(1, spots + 1)
    ]
    result = compare(maps)
    alone = result.specimens_by_name["b"].readings["Sq"]
    assert alone.n == 1
    assert alone.low < alone.value < alone.high
    assert WITHIN in alone.note
    place = result.places["b"]
    assert (place.proven, place.tie, place.probability_best) == (False, None, None)
    assert result.specimens_by_name["a"].readings["Sq"].n == 3
    assert WITHIN not in result.specimens_by_name["a"].readings["Sq"].note


def test_spots_that_agree_by_chance_get_the_floor():
    area = FiniteArea(1.0, 20.0, 0.04, 0.05, banded=False)
    lucky = Reading("Sq", 1.0, "m", "", uncertainty=1e-4, low=0.9999, high=1.0001, n=3)
    held = floored(lucky, [area] * 3)
    assert math.log(held.high / held.low) / 2 == pytest.approx(1.96 * 0.1 / math.sqrt(3), rel=1e-9)
    assert held.note == FLOOR
    specks = FiniteArea(1.0, 20.0, 0.4, 0.5, banded=False, heavy=10.0)  # spots may have the same few features
    assert floored(lucky, [specks] * 3).high == pytest.approx(held.high, rel=1e-9)
    wide = Reading("Sq", 1.0, "m", "", uncertainty=0.5, low=0.6, high=1.6, n=3)
    assert floored(wide, [area] * 3) == wide
    assert floored(lucky, [None, None, None]) == lucky
    other = Reading("Sz", 1.0, "m", "", uncertainty=1e-4, low=0.9999, high=1.0001, n=3)
    assert floored(other, [area] * 3) == other
