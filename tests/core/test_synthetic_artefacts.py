"""Planted artefacts against their closed forms (derived here)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from core.artefacts import find_plateaus, find_streaks
from core.errors import MapError
from core.synthetic import streaks
from core.synthetic.artefacts import clipped, creep, double_tip, jump, quantised, tip_change


def ground(seed: int = 1, shape: tuple[int, int] = (80, 90)) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(shape)


def test_creep_decays_by_e_in_its_time() -> None:
    z = creep((40, 5), height=-2e-9, rows=7.0)
    assert z[0].tolist() == [-2e-9] * 5
    assert np.allclose(z[7:] / z[:-7], math.exp(-1))
    with pytest.raises(MapError):
        creep((4, 4), height=1.0, rows=0)


def test_a_jump_divides_the_map() -> None:
    z = jump((10, 3), row=4, height=5e-10)
    assert not z[:4].any()
    assert np.all(z[4:] == 5e-10)


def test_a_tip_change_scales_what_comes_after() -> None:
    z = ground()
    changed = tip_change(z, row=30, factor=0.5)
    assert np.array_equal(changed[:30], z[:30])
    assert np.array_equal(changed[30:], z[30:] / 2)


@pytest.mark.parametrize("shift", [(0, 7), (5, 0), (-3, 4), (3, -4), (-2, -2)])
def test_a_double_tip_shows_every_peak_twice(shift: tuple[int, int]) -> None:
    z = np.zeros((30, 30))
    z[15, 15] = 8.0
    seen = double_tip(z, shift=shift, lower=3.0)
    assert seen[15, 15] == 8.0
    assert seen[15 - shift[0], 15 - shift[1]] == 5.0
    assert np.count_nonzero(seen) == 2


def test_rounding_adds_the_error_of_a_uniform_law() -> None:
    z = ground(shape=(300, 300))
    error = quantised(z, step=0.2) - z
    assert np.abs(error).max() <= 0.1 + 1e-12
    assert error.std() == pytest.approx(0.2 / math.sqrt(12), rel=0.01)
    assert np.allclose(quantised(z, step=0.2) / 0.2, np.round(z / 0.2))


@pytest.mark.parametrize("end", ["top", "bottom"])
def test_clipping_keeps_the_share_at_the_limit(end: str) -> None:
    z = ground()
    cut = clipped(z, share=0.01, end=end)
    limit = cut.max() if end == "top" else cut.min()
    assert np.count_nonzero(cut == limit) == 72
    assert np.count_nonzero(cut != z) == 71  # one of them is the limit
    (plateau,) = find_plateaus(cut)
    assert (plateau.end, plateau.points) == (end, 72)
    assert np.array_equal(plateau.holds(cut), cut == limit)
    with pytest.raises(MapError):
        clipped(z, share=0.1, end="middle")


def test_few_equal_heights_and_many_heights_make_no_plateau() -> None:
    z = ground()
    assert find_plateaus(z) == ()
    assert find_plateaus(np.zeros((5, 5))) == ()
    assert find_plateaus(np.full((5, 5), np.nan)) == ()
    assert find_plateaus(quantised(z, step=0.5)) == ()
    assert find_plateaus(np.round(z)) == ()


def test_streaks_of_both_signs_are_found_and_holes_are_not() -> None:
    z = 0.1 * ground()
    for sign in (1.0, -1.0):
        added, truth = streaks(z.shape, share=0.005, height=sign, length=9, rng=np.random.default_rng(5))
        found = find_streaks(z + added).found
        inner = truth.copy()
        inner[[0, -1]] = False
        assert np.array_equal(found, inner)
    holed = z.copy()
    holed[40, 10:60] = np.nan
    assert not find_streaks(holed).found.any()


@pytest.mark.parametrize("shape", [(1, 1), (2, 2), (4, 50), (50, 4), (5, 5)])
def test_small_maps_have_no_streaks(shape: tuple[int, int]) -> None:
    found = find_streaks(ground(shape=shape)).found
    assert found.shape == shape
    assert not found.any()
