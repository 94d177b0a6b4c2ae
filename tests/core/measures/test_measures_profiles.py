"""Profiles and their parameters: waves with known answers, brute force, and what must hold on any profile."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.special import ndtri

from core.errors import LowreliefError, MapError, QuantityError
from core.heightmap import HeightMap
from core.measures import Surface
from core.measures.heights import ENTRIES as HEIGHTS
from core.measures.profile_elements import element_widths
from core.measures.profile_texture import SYMBOLS, Family, Texture, texture
from core.measures.profiles import Profiles

NM, UM = 1e-9, 1e-6
Heights = NDArray[np.float64]
quick = settings(max_examples=30, deadline=None)
seeds = st.integers(0, 2**32 - 1)


def primary(heights: Heights, spacing: float = 1e-8, form: int = 1) -> Texture:
    return texture(Profiles(heights, spacing), family="P", shortest=None, longest=None, form=form)


def value(found: Texture, symbol: str) -> float:
    number = found.values[symbol]
    assert number is not None
    return number


def test_cosine() -> None:
    """Closed forms, derived here: whole periods of 200 points, middles of cells."""
    x = (np.arange(2000) + 0.5) * 5e-9
    found = primary(7 * NM * np.cos(2 * np.pi * x / UM), 5e-9, form=0)
    assert value(found, "Pa") == pytest.approx(7 * NM * 2 / np.pi, rel=1e-4)  # rectangle rule, (π/200)²/6
    assert value(found, "Pq") == pytest.approx(7 * NM / math.sqrt(2), rel=1e-12)
    assert value(found, "Psk") == pytest.approx(0, abs=1e-12)
    assert value(found, "Pku") == pytest.approx(1.5, rel=1e-12)
    assert value(found, "Pz") == value(found, "Pt") == pytest.approx(14 * NM, rel=2e-4)  # the crest lies between points
    assert value(found, "Pp") == pytest.approx(7 * NM, rel=2e-4)
    assert value(found, "Pv") == pytest.approx(7 * NM, rel=2e-4)
    # six of the 2000 points, at crests where it is 0, have no slope: 6/2000/2
    assert value(found, "Pdq") == pytest.approx(7 * NM * 2 * np.pi / UM / math.sqrt(2) * (1 + 0.0015), rel=2e-4)
    assert value(found, "PSm") == pytest.approx(UM, rel=1e-9)
    assert value(found, "Pmr") == 0.5
    assert found.sections == 1
    assert found.evaluation_length == pytest.approx(10 * UM)


def test_material_ratio_at_a_height() -> None:
    """Reference 1.01: a third of a cosine lies above half its amplitude."""
    x = (np.arange(3000) + 0.5) / 3000
    found = texture(Profiles(np.cos(2 * np.pi * x), 1e-3), family="P", shortest=None, longest=None, form=0, height=0.5)
    assert value(found, "Pmr") == pytest.approx(1 / 3, abs=1e-3)


def test_gaussian_heights() -> None:
    """Rq = 1.2533 Ra, Rku = 3 (reference 1.13)."""
    z = np.random.default_rng(3).permutation(ndtri((np.arange(10**5) + 0.5) / 10**5))
    found = primary(NM * z, form=0)
    assert value(found, "Pa") / value(found, "Pq") == pytest.approx(0.797884560803, rel=1e-4)
    assert value(found, "Pku") == pytest.approx(3, rel=1e-3)


def test_roughness_and_waviness_share_the_profile_at_the_cutoff() -> None:
    """ISO 16610-21: a wave as long as the cut-off is passed at one half by both; much shorter ones are roughness."""
    x = np.arange(8500) * 1e-8  # 80 µm are kept: whole periods of all three waves
    for length, share in [(5 * UM, 0.5), (0.5 * UM, 1 - 2.0**-100), (20 * UM, 1 - 2 ** (-1 / 16))]:
        wave = Profiles(3 * NM * np.cos(2 * np.pi * x / length), 1e-8)
        rough = texture(wave, family="R", shortest=None, longest=5 * UM, form=0, sections=16)
        wavy = texture(wave, family="W", shortest=None, longest=5 * UM, form=0)
        rms = 3 * NM / math.sqrt(2)
        # 5e-3: what the ends, where the weights are normalised inside the profile, still leave
        assert value(rough, "Rq") == pytest.approx(share * rms, abs=5e-3 * rms)
        assert value(wavy, "Wq") == pytest.approx((1 - share) * rms, abs=5e-3 * rms)
        assert (rough.shortest, rough.longest) == (None, 5 * UM)


def test_short_cutoff() -> None:
    """λs takes off what is shorter: half of a wave of its own length."""
    x = np.arange(4000) * 1e-8
    wave = Profiles(NM * np.cos(2 * np.pi * x / (0.4 * UM)), 1e-8)
    for family in ("P", "R"):
        longest = 8 * UM if family == "R" else None
        found = texture(wave, family=family, shortest=0.4 * UM, longest=longest)
        assert value(found, f"{family}q") == pytest.approx(0.5 * NM / math.sqrt(2), rel=1e-3)


def test_heights_are_means_over_the_sections() -> None:
    """One spike in one of five section lengths: it makes a fifth of Rp and the whole of Rt."""
    z = 0.1 * NM * np.where(np.arange(7000) % 2, 1.0, -1.0)
    z[3500] += 50 * NM
    found = texture(Profiles(z, 1e-8), family="R", shortest=None, longest=10 * UM, form=0)
    assert (found.sections, found.note) == (5, "")
    assert found.section_length == pytest.approx(10 * UM)
    assert found.evaluation_length == pytest.approx(50 * UM)
    # the spike's own waviness, 50 nm · spacing / (α λ), comes off its top
    top = 50 * NM * (1 - 1e-8 / (math.sqrt(math.log(2) / math.pi) * 10 * UM)) - 0.1 * NM
    assert value(found, "Rp") == pytest.approx((top + 4 * 0.1 * NM) / 5, rel=1e-2)
    assert value(found, "Rt") == pytest.approx(top + 0.1 * NM, rel=1e-2)
    assert value(found, "Rz") == pytest.approx(value(found, "Rp") + value(found, "Rv"), rel=1e-12)


def test_the_evaluated_part_lies_in_the_middle() -> None:
    z = np.zeros(7000)
    z[[10, 6990]] = 1e-6  # beyond the half cut-off at the ends and the rest outside five section lengths
    z[3500] = 1e-9
    found = texture(Profiles(z, 1e-8), family="R", shortest=None, longest=10 * UM, form=0)
    assert value(found, "Rt") < 2e-9


@pytest.mark.parametrize(
    ("points", "sections", "note"),
    [(2500, 1, "1 of 5"), (4200, 3, "3 of 5"), (1800, 1, "less than one section length")],
)
def test_short_profiles_say_what_they_hold(points: int, sections: int, note: str) -> None:
    rng = np.random.default_rng(points)
    found = texture(Profiles(rng.standard_normal(points), 1e-8), family="R", shortest=None, longest=10 * UM)
    assert found.sections == sections
    assert note in found.note


def triangle(periods: int, points: int, phase: float = 0.13) -> Heights:
    t = (np.arange(periods * points) / points + phase) % 1
    return np.asarray(np.where(t < 0.5, 4 * t - 1, 3 - 4 * t))


@quick
@given(st.integers(3, 12), st.integers(8, 60), st.floats(0, 0.99), st.floats(0.02, 0.9))
def test_elements_of_a_triangle_are_its_periods(periods: int, points: int, phase: float, share: float) -> None:
    top = 1 - 4 / points  # the crest may lie between points
    widths = element_widths(triangle(periods, points, phase), share * top)
    assert widths.size >= 2 * (periods - 2)
    np.testing.assert_allclose(widths, points, rtol=1e-9)


def test_ripples_make_no_elements_and_gaps_break_them() -> None:
    wave = np.sin(2 * np.pi * np.arange(1000) / 100 + 0.3)
    ripple = 0.05 * np.sin(2 * np.pi * np.arange(1000) / 7)
    widths = element_widths(wave + ripple, 0.2)
    assert widths.mean() == pytest.approx(100, rel=0.01)
    assert element_widths(wave + ripple, 0.0001).size > widths.size
    broken = wave.copy()
    broken[500] = np.nan
    whole, left = element_widths(wave, 0.2), element_widths(broken, 0.2)
    assert left.size == whole.size - 2  # one of each kind
    np.testing.assert_allclose(left, 100, rtol=1e-6)


@pytest.mark.parametrize("z", [np.ones(20), np.arange(-5.0, 5.0), np.full(9, np.nan), np.array([1.0, -1.0])])
def test_profiles_without_a_whole_element(z: Heights) -> None:
    assert element_widths(z, 0.5).size == 0


def brute(z: Heights) -> dict[str, float]:
    points = z[~np.isnan(z)]
    rms = math.sqrt(np.mean(points**2))
    return {
        "p": points.max(),
        "v": -points.min(),
        "z": np.ptp(points),
        "t": np.ptp(points),
        "a": np.mean(np.abs(points)),
        "q": rms,
        "sk": np.mean(points**3) / rms**3,
        "ku": np.mean(points**4) / rms**4,
        "mr": np.mean(points >= 0),
    }


@quick
@given(seeds, st.integers(1, 6), st.integers(20, 120), st.integers(0, 4), st.floats(0, 0.3))
def test_equals_the_definitions(seed: int, m: int, n: int, form: int, share: float) -> None:
    rng = np.random.default_rng(seed)
    z = NM * (rng.standard_normal((m, n)) + 40 + 0.1 * np.arange(n))
    z[rng.random(z.shape) < share] = np.nan
    x = np.linspace(-1, 1, n)
    each = []
    for row in z:
        there = ~np.isnan(row)
        if there.sum() >= n / 2:
            fit = np.polynomial.legendre.Legendre.fit(x[there], row[there], form, domain=[-1, 1])
            each.append(brute(np.where(there, row - fit(x), np.nan)))
    found = primary(z, form=form)
    assert found.profiles == len(each)
    for ending in each[0] if each else ():
        wanted = [one[ending] for one in each]
        assert value(found, "P" + ending) == pytest.approx(np.mean(wanted), rel=1e-9, abs=1e-12 * NM)
        if len(each) > 1:
            assert found.spread["P" + ending] == pytest.approx(np.std(wanted, ddof=1), rel=1e-7, abs=1e-12)


@quick
@given(seeds, st.sampled_from(["P", "W", "R"]))
def test_sign_flip_scaling_and_translation(seed: int, family: Family) -> None:
    rng = np.random.default_rng(seed)
    z = NM * np.cumsum(rng.standard_normal((3, 400)), axis=1)

    def of(heights: Heights, spacing: float = 1e-8) -> dict[str, float | None]:
        longest = None if family == "P" else 50 * spacing
        found = texture(Profiles(heights, spacing), family=family, shortest=None, longest=longest)
        return {ending: found.values[family + ending] for ending in SYMBOLS}

    here, flipped, larger, moved, wider = of(z), of(-z), of(3 * z), of(z + 8e-7), of(z, 3e-8)
    assert flipped["p"] == pytest.approx(here["v"], rel=1e-9)
    assert flipped["sk"] == pytest.approx(-(here["sk"] or 0), rel=1e-8, abs=1e-10)
    for ending in ("z", "t", "a", "q", "ku", "dq", "Sm"):
        assert flipped[ending] == (None if (number := here[ending]) is None else pytest.approx(number, rel=1e-9))
    for ending in SYMBOLS:
        number = here[ending]
        if number is None:
            assert ending == "Sm"  # three random walks may hold no whole element
            continue
        factor = 3 if ending in ("p", "v", "z", "t", "a", "q", "dq") else 1
        assert larger[ending] == pytest.approx(factor * number, rel=1e-9, abs=1e-10)
        assert moved[ending] == pytest.approx(number, rel=1e-7, abs=1e-9)
        stretch = {"Sm": 3.0, "dq": 1 / 3}.get(ending, 1.0)
        assert wider[ending] == pytest.approx(stretch * number, rel=1e-9, abs=1e-10)


def test_rows_columns_and_sections_of_a_map() -> None:
    """Oblong pixels: rows and columns read their own wavelength, a section along a row reads the row."""
    y, x = np.mgrid[:300, :400]
    z = 5 * NM * np.cos(2 * np.pi * (x + 0.5) / 40) + 2 * NM * np.cos(2 * np.pi * (y + 0.5) / 60)
    scan = HeightMap(z, pitch=(2e-8, 1e-8))
    rows = texture(Profiles.rows(scan), family="P", shortest=None, longest=None, form=0)
    columns = texture(Profiles.columns(scan), family="P", shortest=None, longest=None, form=0)
    assert value(rows, "PSm") == pytest.approx(40 * 1e-8, rel=1e-9)
    assert value(columns, "PSm") == pytest.approx(60 * 2e-8, rel=1e-9)
    assert value(rows, "Pq") == pytest.approx(5 * NM / math.sqrt(2), rel=1e-12)
    assert value(columns, "Pq") == pytest.approx(2 * NM / math.sqrt(2), rel=1e-12)
    assert (rows.profiles, columns.profiles) == (300, 400)
    row = 0.5 * 2e-8  # half a pixel below the centre: row 150
    section = Profiles.along(scan, (-199.5e-8, row), (199.5e-8, row))
    np.testing.assert_allclose(section.heights[0], z[150], rtol=1e-6, atol=1e-12 * NM)
    assert section.spacing == pytest.approx(1e-8)
    assert section.length == pytest.approx(4e-6)


def test_rows_of_a_map_with_one_band_are_its_areal_moments() -> None:
    """Every row has the same distribution of heights, so Pq and Pku are Sq and Sku."""
    rng = np.random.default_rng(12)
    row = NM * rng.standard_normal(500)
    row -= row.mean()
    scan = HeightMap(np.array([rng.permutation(row) for _ in range(30)]), (1e-8, 1e-8))
    found = texture(Profiles.rows(scan), family="P", shortest=None, longest=None, form=0)
    areal = {quantity.symbol: quantity.function(Surface(scan)).value for quantity in HEIGHTS}
    for symbol in ("Sq", "Sa", "Ssk", "Sku", "Sp", "Sv", "Sz"):
        assert value(found, symbol.replace("S", "P", 1)) == pytest.approx(areal[symbol], rel=1e-9)
    assert found.spread["Pq"] == pytest.approx(0, abs=1e-12 * NM)


def test_masked_points_count_no_more_than_missing_ones() -> None:
    rng = np.random.default_rng(2)
    z = NM * rng.standard_normal((20, 300))
    out = rng.random(z.shape) < 0.1
    spoilt = np.where(out, 1e-6, z)
    masked = Profiles.rows(HeightMap(spoilt, (1e-8, 1e-8), mask=out))
    missing = Profiles.rows(HeightMap(np.where(out, np.nan, z), (1e-8, 1e-8)))
    np.testing.assert_array_equal(masked.heights, missing.heights)
    for family in ("P", "W", "R"):
        longest = None if family == "P" else 0.2 * UM
        found = texture(masked, family=family, shortest=None, longest=longest)
        clean = texture(Profiles(z, 1e-8), family=family, shortest=None, longest=longest)
        # a tenth of the points less: what 6000 Gaussian heights scatter by then
        assert value(found, f"{family}q") == pytest.approx(value(clean, f"{family}q"), rel=0.1)


def test_rows_with_more_gaps_than_points_are_left_out() -> None:
    z = np.random.default_rng(0).standard_normal((4, 100))
    z[1, :51] = np.nan
    z[2] = np.nan
    found = primary(z)
    assert found.profiles == 2
    nothing = primary(np.full((3, 50), np.nan))
    assert nothing.profiles == 0
    assert set(nothing.values.values()) == set(nothing.spread.values()) == {None}


def test_even_profile() -> None:
    found = primary(np.full((2, 60), 3e-9))
    assert value(found, "Pq") == 0
    assert value(found, "Pz") == 0
    assert (found.values["Psk"], found.values["Pku"], found.values["PSm"]) == (None, None, None)


def test_form_is_taken_off_to_the_last_digit() -> None:
    x = np.arange(200)
    for degree in range(8):
        form = 1e-6 * np.polynomial.Polynomial.basis(degree)(x / 200)
        rest = Profiles(form, 1e-8).without_form(degree).heights
        assert np.abs(rest).max() < 1e-20


@pytest.mark.parametrize(
    ("keywords", "error"),
    [
        ({"family": "R", "longest": None}, QuantityError),
        ({"family": "W", "longest": None}, QuantityError),
        ({"family": "X", "longest": 1e-6}, MapError),
        ({"family": "R", "longest": -1e-6}, LowreliefError),
        ({"family": "R", "longest": math.nan}, LowreliefError),
        ({"family": "R", "longest": math.inf}, LowreliefError),
        ({"family": "R", "longest": 1e-3}, LowreliefError),
        ({"family": "R", "longest": 1e-7, "shortest": 2e-7}, LowreliefError),
        ({"family": "R", "longest": 1e-7, "sections": 0}, MapError),
        ({"family": "P", "longest": None, "form": 8}, MapError),
    ],
)
def test_refusals(keywords: dict[str, object], error: type[Exception]) -> None:
    profile = Profiles(np.random.default_rng(0).standard_normal(500), 1e-8)
    with pytest.raises(error):
        texture(profile, **{"shortest": None, **keywords})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("heights", "spacing"), [(np.zeros((2, 2, 2)), 1.0), ([], 1.0), (["high"], 1.0), ([1.0], 0.0), ([1.0], math.nan)]
)
def test_what_is_no_profile(heights: object, spacing: float) -> None:
    with pytest.raises(MapError):
        Profiles(heights, spacing)  # type: ignore[arg-type]
