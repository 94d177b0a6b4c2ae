"""The tables of the methods, drawn again: ties, false splits, calibration; brackets and bounds."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.probability import Dice, chances, shrunk_draws
from core.standing import brackets, rank, resolved, tie_letters, told_apart, welch


def rng(seed: int) -> np.random.Generator:
    return np.random.default_rng(seed)


def lognormal(draws: np.random.Generator, spread: float, count: int, centre: float = 0.0) -> np.ndarray:
    return centre + spread * draws.standard_normal(count)


TIES = [
    (2, 0.1, 2, 0.1, 99.3), (3, 0.1, 3, 0.1, 96.6), (4, 0.3, 4, 0.3, 96.0), (6, 0.05, 6, 0.05, 95.3),
    (2, 0.3, 6, 0.03, 96.8), (2, 0.1, 6, 0.1, 100.0), (2, 0.03, 2, 0.3, 97.4), (3, 0.03, 3, 0.3, 94.2),
    (5, 0.03, 5, 0.3, 94.7),
]  # fmt: skip
"""Spots and spread of the one and of the other, and tied per cent with the two-spot rule."""


@pytest.mark.parametrize(("n", "one", "m", "other", "percent"), TIES)
def test_the_same_surface_twice_is_tied(n: int, one: float, m: int, other: float, percent: float) -> None:
    draws, benches = rng(n * m), 700
    tied = sum(welch(lognormal(draws, one, n), lognormal(draws, other, m)) >= 0.05 for _ in range(benches))
    # standard error of 700 benches 0.8 %, of the table 0.2 %: three of them
    assert 100 * tied / benches == pytest.approx(percent, abs=2.6)


@pytest.mark.long
@pytest.mark.parametrize(("n", "one", "m", "other", "percent"), TIES)
def test_the_same_surface_twice_is_tied_in_many_benches(
    n: int, one: float, m: int, other: float, percent: float
) -> None:
    draws, benches = rng(n + m), 8_000
    tied = sum(welch(lognormal(draws, one, n), lognormal(draws, other, m)) >= 0.05 for _ in range(benches))
    assert 100 * tied / benches == pytest.approx(percent, abs=1.0)  # standard error 0.25 %


@pytest.mark.parametrize("count", [3, 5])
def test_benches_of_equals_are_hardly_ever_split(count: int) -> None:
    # any false split, Holm: 1.8-4.3 % (three specimens), 1.3-3.6 % (five); unadjusted 17-27 %
    draws, benches = rng(count), 300
    split = sum(bool(told_apart([lognormal(draws, 0.1, 4) for _ in range(count)])) for _ in range(benches))
    assert split / benches < 0.043 + 3 * math.sqrt(0.043 / benches)


# --- letters, brackets, bounds

PAIRS = st.integers(1, 7).flatmap(
    lambda n: st.tuples(
        st.just(n), st.sets(st.sampled_from(list(itertools.combinations(range(n), 2)))) if n > 1 else st.just(set())
    )
)


@given(PAIRS)
def test_brackets_are_the_closure_of_the_pairs(case: tuple[int, set[tuple[int, int]]]) -> None:
    count, apart = case
    runs = [set(run) for run in brackets(count, apart)]
    assert set().union(*runs) == set(range(count))
    for i, j in itertools.combinations(range(count), 2):
        together = any({i, j} <= run for run in runs)
        outer = [(a, b) for a in range(i + 1) for b in range(j, count)]
        assert together == (not all(pair in apart for pair in outer))


@given(PAIRS, st.sets(st.integers(0, 6)))
def test_bounds_are_one_tie_with_each_other_and_all_below(
    case: tuple[int, set[tuple[int, int]]], some: set[int]
) -> None:
    count, apart = case
    bounds = {number for number in some if number < count}
    kept = resolved(apart, bounds)
    letters = [set(word) for word in tie_letters(count, kept)]
    for bound in bounds:
        assert all(letters[bound] & letters[below] for below in range(bound))
        assert all((bound, above) in kept for above in range(count) if (bound, above) in apart and above not in bounds)
    assert not bounds or set.intersection(*(letters[bound] for bound in bounds))


def test_hundreds_of_specimens_are_lettered_by_brackets() -> None:
    # thirty pairs told apart by themselves would need 2^30 groups
    apart = {(2 * k, 2 * k + 1) for k in range(30)} | {(0, 59)}
    letters = [set(word) for word in tie_letters(60, apart)]
    assert all(letters)
    together = {(i, j) for i, j in itertools.combinations(range(60), 2) if letters[i] & letters[j]}
    assert together >= set(itertools.combinations(range(60), 2)) - apart
    assert (0, 59) not in together


def test_a_bound_is_tied_below_and_apart_above() -> None:
    spots = {"low": [1.0, 1.02, 0.98], "bound": [2.0, 2.03, 1.97], "high": [9.0, 9.2, 8.9]}
    free = rank(spots, positive=True, rng=rng(1))
    held = rank(spots, positive=True, rng=rng(1), limited={"bound"})
    assert [place.tie for place in free.places] == ["a", "b", "c"]
    assert [place.tie for place in held.places] == ["a", "a", "b"]
    assert held.apart == {("low", "high"), ("bound", "high")}
    # its square is anything between nothing and 4, evenly: below 1 in a quarter of the draws
    assert held.places[1].probability_best == pytest.approx(0.25, abs=0.03)
    assert held.places[1].limited and not held.places[0].limited


def test_bounds_share_what_they_have_evenly() -> None:
    spots = {f"s{k}": [float(k + 1)] * 2 + [k + 1.01] for k in range(4)}
    held = rank(spots, positive=True, rng=rng(2), limited=set(list(spots)[:3]))
    three = [place.probability_best for place in held.places[:3]]
    assert three == pytest.approx([1 / 3] * 3, abs=0.02)
    assert held.probability_lower[0][1] == pytest.approx(0.5, abs=0.02)
    assert [place.tie for place in held.places] == ["a", "a", "a", "b"]


# --- probabilities


@given(st.integers(2, 6), st.integers(0, 1000), st.sets(st.integers(0, 5)))
def test_chances_add_up(count: int, seed: int, some: set[int]) -> None:
    draws = rng(seed)
    samples = [lognormal(draws, 0.1, int(draws.integers(2, 5)), 0.1 * k) for k in range(count)]
    dice = Dice.thrown([sample.size for sample in samples], rng=draws, draws=200)
    found = chances(shrunk_draws(samples, dice, limited={number for number in some if number < count}))
    assert found.lowest.sum() == pytest.approx(1.0)
    assert found.rank.sum(axis=0) == pytest.approx(np.ones(count))
    assert found.rank.sum(axis=1) == pytest.approx(np.ones(count))
    assert found.lower + found.lower.T == pytest.approx(np.ones((count, count)))


@pytest.mark.parametrize("aside", [{}, {"set_aside": {"one more"}}])
def test_one_spot_or_one_set_aside_changes_nothing_for_the_others(aside: dict[str, set[str]]) -> None:
    spots = {"a": [1.0, 1.2, 1.1], "b": [1.1, 1.3, 1.2, 1.25], "c": [3.0, 2.0]}
    more = {"one more": [0.5, 0.6, 0.7] if aside else [0.5], **spots}
    alone, mixed = rank(spots, positive=True, rng=rng(3)), rank(more, positive=True, rng=rng(3), **aside)
    extra, *others = mixed.places
    assert (extra.specimen, extra.tie, extra.probability_best, extra.probability_rank) == ("one more", None, None, ())
    assert extra.proven == bool(aside)
    assert [(p.specimen, p.tie, p.probability_best) for p in others] == [
        (p.specimen, p.tie, p.probability_best) for p in alone.places
    ]
    assert mixed.p_values == alone.p_values


def calibration(
    benches: int, spots: tuple[int, ...], seed: int, *, floor: float = 0.0
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Stated and true P(best) of the winner, and stated and true P of every pair, over drawn benches of five.

    With a floor the readings hold noise of that RMS beside a surface whose square lies evenly between 0 and that of the
    reading, for every second specimen: those are given as bounds.
    """
    draws = rng(seed)
    best, lower = [], []
    for _ in range(benches):
        spread = math.exp(draws.uniform(math.log(0.02), math.log(0.7)))
        centres = spread * draws.standard_normal(5)
        scatter = np.exp(draws.uniform(math.log(0.03), math.log(0.3), 5))
        counts = draws.permutation(np.resize(spots, 5))
        samples = [lognormal(draws, s, n, c) for c, s, n in zip(centres, scatter, counts, strict=True)]
        truth, bounds = centres.copy(), set()
        if floor:
            bounds = {1, 3}
            for number in bounds:
                truth[number] += math.log(draws.random()) / 2
        dice = Dice.thrown([int(n) for n in counts], rng=draws, draws=300)
        found = chances(shrunk_draws(samples, dice, limited=bounds))
        winner = int(np.argmax(found.lowest))
        best.append((found.lowest[winner], winner == int(np.argmin(truth))))
        for i, j in itertools.combinations(range(5), 2):
            stated = found.lower[i, j]
            first = stated >= 0.5
            lower.append((stated if first else 1 - stated, (truth[i] < truth[j]) == first))
    return (*np.array(best).T, *np.array(lower).T)


def near(stated: np.ndarray, true: np.ndarray, low: float, high: float) -> tuple[float, float, int]:
    inside = (stated >= low) & (stated < high)
    return float(stated[inside].mean()), float(true[inside].mean()), int(inside.sum())


def test_a_stated_probability_is_kept_on_benches_of_unlike_numbers_of_spots() -> None:
    # simulated for this program on 12,000 benches of two, three and five spots mixed: 0.80 stated, 0.77-0.79 true
    stated, true, pairs, ordered = calibration(500, (2, 3, 5), 21)
    mean, found, count = near(stated, true, 0.7, 0.9)
    assert found == pytest.approx(mean, abs=0.03 + 3 * math.sqrt(0.16 / count))
    mean, found, count = near(pairs, ordered, 0.7, 0.9)
    assert found == pytest.approx(mean, abs=0.06)  # pairs of one bench are not independent


def test_bounds_keep_their_probability_where_the_surface_is_anywhere_below() -> None:
    stated, true, pairs, ordered = calibration(500, (3,), 22, floor=1.0)
    assert float(true.mean()) == pytest.approx(float(stated.mean()), abs=0.03 + 3 * math.sqrt(0.25 / 500))
    assert float(ordered.mean()) == pytest.approx(float(pairs.mean()), abs=0.05)


TABLE = {2: ((0.67, 0.65), (0.80, 0.76), (0.90, 0.84), (0.98, 0.94)),
         3: ((0.67, 0.67), (0.80, 0.79), (0.90, 0.86), (0.99, 0.97)),
         5: ((0.67, 0.67), (0.80, 0.79), (0.90, 0.89), (0.99, 0.98))}  # fmt: skip
"""Stated and true P(best) by spots: methods measured for this program, 12,000 benches."""


@pytest.mark.long
@pytest.mark.parametrize("spots", TABLE)
def test_the_table_of_calibration(spots: int) -> None:
    stated, true, pairs, ordered = calibration(4000, (spots,), 30 + spots)
    for level, expected in TABLE[spots]:
        half = 0.05 if level < 0.95 else 0.02
        _, found, count = near(stated, true, level - half, level + half if level < 0.95 else 1.01)
        assert found == pytest.approx(expected, abs=0.02 + 3 * math.sqrt(expected * (1 - expected) / count))
    _, found, count = near(pairs, ordered, 0.75, 0.85)
    assert found == pytest.approx(0.81, abs=0.03)


@pytest.mark.long
@pytest.mark.parametrize(("spots", "floor"), [((2, 3, 5), 0.0), ((2, 6), 0.0), ((3,), 1.0), ((2, 3, 5), 1.0)])
def test_calibration_where_the_methods_had_not_measured(spots: tuple[int, ...], floor: float) -> None:
    # simulated for this program: benches of unlike numbers of spots, and instrument-limited specimens in the draws
    stated, true, pairs, ordered = calibration(3000, spots, 41, floor=floor)
    for low, high in ((0.6, 0.75), (0.75, 0.85), (0.85, 0.95)):
        mean, found, count = near(stated, true, low, high)
        # as in the table of equal numbers: up to 0.06 over-confident with two spots
        assert -0.03 - 3 * math.sqrt(0.25 / count) < mean - found < 0.06 + 3 * math.sqrt(0.25 / count)
        mean, found, _ = near(pairs, ordered, low, high)
        # of pairs stated at 0.67, 0.72 to 0.73 are true where spots are mixed: on the cautious side
        assert -0.08 < mean - found < 0.04


def test_equals_hardly_ever_get_a_sure_winner() -> None:
    # all equal: max P(best) > 0.95 in 0.4 / 0.2 / 0.0 % of benches of two, three, five spots (bootstrap 12 / 5 / 2 %)
    for spots in (2, 5):
        draws, sure = rng(spots), 0
        for _ in range(150):
            samples = [lognormal(draws, 0.1, spots) for _ in range(5)]
            dice = Dice.thrown([spots] * 5, rng=draws, draws=300)
            sure += chances(shrunk_draws(samples, dice)).lowest.max() > 0.95
        assert sure <= 4
