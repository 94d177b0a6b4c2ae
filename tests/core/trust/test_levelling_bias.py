"""The levelling-bias meter: exact losses, and the meter against simulated textures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.heightmap import HeightMap
from core.synthetic import gaussian_texture, self_affine
from core.synthetic.texture import _from_density
from core.treatment import Treatment
from core.trust.levelling_bias import BANDED_LOSS, losses
from core.trust.levelling_model import Removed, look_up, loss, table

UNIT = (1.0, 1.0)


def in_sq(share: float) -> float:
    """Loss of Sq in per cent from the share of Sq² lost."""
    return 100 * (1 - math.sqrt(1 - share))


def exponential(n, length, rng):
    """Texture with the autocorrelation exp(−r/T): density ∝ (1 + (2πTf)²)^(−3/2), its Fourier pair in the plane."""

    def density(fy, fx):
        return (1 + (2 * np.pi * length) ** 2 * (fy**2 + fx**2)) ** -1.5

    return _from_density((n, n), UNIT, density, sq=1.0, reach=10 * length, rng=rng)


@pytest.mark.parametrize(
    ("gaussian", "lengths", "along"),
    [
        (True, 10, (8.7, 17.2, 25.4, 33.1)),
        (True, 20, (4.4, 8.7, 13.0, 17.2)),
        (True, 5, (17.2, 33.1, 47.3, 59.5)),
        (False, 10, (9.4, 17.7, 24.7, 30.6)),
        (False, 20, (4.9, 9.5, 13.7, 17.7)),
        (False, 5, (17.6, 30.4, 39.6, 46.3)),
    ],
)
def test_rows_lose_what_the_exact_sum_says(gaussian, lengths, along):
    # Methods measured for this program, exact sums, one decimal: tolerance half of it and the lattice of 128 points.
    got = [in_sq(loss(Removed(along=j), 1 / lengths, gaussian=gaussian)) for j in range(4)]
    assert got == pytest.approx(along, abs=0.08)


@pytest.mark.parametrize(
    ("gaussian", "lengths", "surface"),
    [
        (True, 10, (1.4, 3.9, 7.4, 11.5)),
        (True, 20, (0.4, 1.1, 2.1, 3.4)),
        (False, 10, (2.4, 6.1, 10.4, 14.7)),
        (False, 20, (0.7, 1.9, 3.5, 5.4)),
    ],
)
def test_surfaces_lose_what_the_exact_sum_says(gaussian, lengths, surface):
    got = [in_sq(loss(Removed(surface=d), 1 / lengths, gaussian=gaussian)) for d in range(4)]
    assert got == pytest.approx(surface, abs=0.12)


@pytest.mark.parametrize("lengths", [10, 20, 50])
def test_losses_agree_with_the_closed_forms(lengths, expected):
    rows = ("row mean", "row linear", "row quadratic")
    for j, name in enumerate(rows):
        kept = 1 - loss(Removed(along=j), 1 / lengths)
        assert kept == expected(f"7.06|L/T={lengths} {name}", rel=1e-3)
        kept = 1 - loss(Removed(along=j), 1 / lengths, gaussian=False)
        assert kept == expected(f"7.07|L/T={lengths} {name}", rel=1e-3)
    for d, name in enumerate(("areal mean", "areal plane", "areal full quadric")):
        assert 1 - loss(Removed(surface=d), 1 / lengths) == expected(f"7.06|L/T={lengths} {name}", rel=1e-3)


@pytest.mark.parametrize(("j", "sq"), [(0, 4.5), (1, 9.0), (2, 13.0), (3, 17.0)])
def test_the_trade_s_rule_of_thumb_at_twenty_lengths(j, sq):
    # (j + 1)·c·T/L with c = 0.89, rounded there to half a per cent; own calculation of the trade's table.
    assert in_sq(loss(Removed(along=j), 1 / 20)) == pytest.approx(sq, abs=0.35)


@given(st.floats(0.01, 0.2), st.integers(0, 3), st.booleans())
@settings(max_examples=30, deadline=None)
def test_more_terms_and_longer_textures_lose_more(length, j, gaussian):
    one = loss(Removed(along=j), length, gaussian=gaussian)
    assert 0 < one < 1
    assert loss(Removed(along=j + 1), length, gaussian=gaussian) > one
    assert loss(Removed(along=j), 1.2 * length, gaussian=gaussian) > one
    assert loss(Removed(along=j, surface=2), length, gaussian=gaussian) >= one
    assert loss(Removed(surface=j), length, gaussian=gaussian) < one


def test_the_table_finds_its_own_textures():
    for removed in (Removed(along=1), Removed(surface=1), Removed(along=0, surface=2)):
        for law, gaussian in zip(table(removed), (1.0, 0.0), strict=True):
            k = int(np.searchsorted(law.length, 0.06))
            found = look_up(removed, float(law.apparent[k]), float(law.shape[k]))
            assert found.length == pytest.approx(law.length[k], rel=1e-6)
            assert found.loss == pytest.approx(law.loss[k], rel=1e-6)
            assert found.gaussian == pytest.approx(gaussian, abs=1e-6)
            assert not found.beyond
    assert look_up(Removed(along=1), math.inf, 0.7).beyond


def meter(make, steps, count):
    """Mean loss found, its scatter and the true one: of the ensemble, Sq before and after over all maps."""
    treatment = Treatment.from_list(steps)
    shares, before, after, held = [], 0.0, 0.0, []
    for _ in range(count):
        scan = HeightMap(make(), UNIT)
        treated = treatment.apply(scan)
        shares.append(losses(scan, treated)[-1])
        before += float(np.mean(scan.z**2))
        after += float(np.mean(treated.z**2)) if steps[0]["do"] == "level" else float(treated.z.var())
    true = 1 - math.sqrt(after / before)
    held = np.mean([one.low <= true <= one.high for one in shares])
    return float(np.mean([one.share for one in shares])), float(np.std([one.share for one in shares])), true, held


LINE = [{"do": "rows", "remove": "polynomial", "degree": 1}]


@pytest.mark.parametrize(("texture", "mean", "within"), [("gaussian", 8.7, 1.0), ("exponential", 9.6, 2.0)])
def test_the_meter_reads_a_levelled_map(texture, mean, within):
    # 20 lengths in a side, row degree 1: 8.8 ± 0.5 and 9.8 ± 1.5 over 1,000 maps; a mean of 24 is five times surer.
    rng = np.random.default_rng(20)
    n = 128

    def make():
        if texture == "gaussian":
            return gaussian_texture((n, n), UNIT, sq=1.0, length=n / 20, rng=rng)
        return exponential(n, n / 20, rng)

    found, scatter, _, _ = meter(make, LINE, 24)
    assert 100 * found == pytest.approx(mean, abs=within)
    assert 100 * scatter < 2 * within


@pytest.mark.long
@pytest.mark.parametrize(
    ("texture", "steps", "told", "scatter"),
    [
        (("gaussian", 20), LINE, 8.8, 0.5),
        (("gaussian", 10), LINE, 17.8, 2.2),
        (("exponential", 20), LINE, 9.8, 1.5),
        (("exponential", 10), LINE, 18.7, 6.2),
        (("gaussian", 20), [{"do": "rows", "remove": "polynomial", "degree": 2}], 13.1, 0.8),
        (("exponential", 20), [{"do": "rows", "remove": "polynomial", "degree": 2}], 14.1, 2.2),
        (("gaussian", 10), [{"do": "level"}], 3.6, 0.9),
        (("exponential", 20), [{"do": "level"}], 1.8, 0.6),
    ],
)
def test_the_meter_s_table(texture, steps, told, scatter):
    """The look-up's table of the methods measured for this program (rows); surfaces simulated anew."""
    rng = np.random.default_rng(7)
    n, count = 128, 300
    kind, lengths = texture

    def make():
        if kind == "gaussian":
            return gaussian_texture((n, n), UNIT, sq=1.0, length=n / lengths, rng=rng)
        return exponential(n, n / lengths, rng)

    found, spread, true, held = meter(make, steps, count)
    # mean of 300 maps, and the bias of a few per cent that the table itself shows
    assert 100 * found == pytest.approx(told, abs=4 * scatter / math.sqrt(count) + 0.06 * told)
    assert 100 * spread < 1.5 * scatter
    assert found == pytest.approx(true, rel=0.2)
    assert held > 0.85  # of the interval, whose scatter is a fit to two textures


def test_row_medians_follow_the_texture_less_than_means():
    rng = np.random.default_rng(3)
    scan = HeightMap(gaussian_texture((128, 128), UNIT, sq=1.0, length=6.4, rng=rng), UNIT)
    median = Treatment.from_list([{"do": "rows"}]).apply(scan)
    (found,) = losses(scan, median)
    exact = loss(Removed(along=0), 1 / 20)
    assert found.what == "row offsets"
    assert in_sq(exact) * 0.6 < 100 * found.share < in_sq(exact)


def test_a_band_cures_the_plane_and_not_the_rows():
    rng = np.random.default_rng(4)
    scan = HeightMap(gaussian_texture((128, 128), UNIT, sq=1.0, length=12.8, rng=rng), UNIT)
    band = {"do": "band", "shortest": "5 m", "longest": "32 m"}
    steps = Treatment.from_list([{"do": "level"}, {"do": "rows", "remove": "polynomial", "degree": 1}, band])
    plane, rows = losses(scan, steps.apply(scan))
    assert (plane.share, plane.low, plane.high) == (BANDED_LOSS[1], 0.0, BANDED_LOSS[1])
    assert "at most 0.3 %" in plane.sentence
    assert rows.banded
    assert 0.02 < rows.share < 0.12
    wide = band | {"longest": "50 m"}
    treated = Treatment.from_list([{"do": "level", "form": "polynomial", "degree": 3}, wide]).apply(scan)
    (cubic,) = losses(scan, treated)
    assert cubic.share > BANDED_LOSS[3]


@pytest.mark.long
def test_band_limited_truth_lies_below_the_bounds():
    """Ensemble loss of the band's Sq by a step before the band; the texture's roll-off is the side itself."""
    rng = np.random.default_rng(5)
    n, count = 128, 120
    band = {"do": "band", "shortest": "5 m", "longest": f"{n / 4} m"}
    maps = [HeightMap(self_affine((n, n), UNIT, sq=1.0, hurst=0.8, roll_off=n, rng=rng), UNIT) for _ in range(count)]
    base = np.mean([(Treatment.from_list([band]).apply(scan).z ** 2).mean() for scan in maps])
    for step, most in (
        ({"do": "level"}, BANDED_LOSS[1]),
        ({"do": "level", "form": "polynomial", "degree": 3}, 2 * BANDED_LOSS[3]),  # 0.5 % ± the sd of 120 maps
        ({"do": "level", "form": "polynomial", "degree": 5}, 1.4 * BANDED_LOSS[5]),
    ):
        treatment = Treatment.from_list([step, band])
        after = np.mean([(treatment.apply(scan).z ** 2).mean() for scan in maps])
        assert 1 - math.sqrt(after / base) < most


def test_texture_beyond_the_scan_is_told_as_at_least():
    rng = np.random.default_rng(6)
    found = []
    for _ in range(12):
        scan = HeightMap(self_affine((96, 96), UNIT, sq=1.0, hurst=0.8, roll_off=4 * 96, rng=rng), UNIT)
        found.append(losses(scan, Treatment.from_list(LINE).apply(scan))[0])
    assert sum(one.at_least for one in found) >= 9
    assert any("at least" in one.sentence for one in found)


def test_steps_are_told_one_by_one():
    rng = np.random.default_rng(8)
    scan = HeightMap(gaussian_texture((128, 128), UNIT, sq=1.0, length=6.4, rng=rng), UNIT)
    steps = Treatment.from_list([{"do": "zero"}, {"do": "level"}, LINE[0], {"do": "level"}, {"do": "zero"}])
    plane, rows, again = losses(scan, steps.apply(scan))
    assert (plane.step, rows.step, again.step) == (1, 2, 3)
    assert rows.share > 5 * plane.share > 0
    assert again.share == 0
    assert rows.level == "amber"


def test_nothing_to_tell():
    flat = HeightMap(np.zeros((32, 32)), UNIT)
    assert losses(flat, Treatment.default().apply(flat)) == ()
    rough = HeightMap(np.random.default_rng(1).standard_normal((32, 32)), UNIT)
    assert losses(rough, rough) == ()


def test_holes_and_masks_do_not_count():
    rng = np.random.default_rng(9)
    z = gaussian_texture((128, 128), UNIT, sq=1.0, length=6.4, rng=rng)
    whole = HeightMap(z, UNIT)
    holed = z.copy()
    holed[30:40, 50:80] = np.nan
    mask = np.zeros(z.shape, bool)
    mask[80:90, 10:30] = True
    holed[80:90, 10:30] += 100.0
    pierced = HeightMap(holed, UNIT, mask=mask)
    treatment = Treatment.from_list(LINE)
    (one,), (other,) = losses(whole, treatment.apply(whole)), losses(pierced, treatment.apply(pierced))
    assert other.share == pytest.approx(one.share, rel=0.1)
