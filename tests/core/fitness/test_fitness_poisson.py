"""Counts and their intervals: a published table, exact coverage by enumeration, the difference of two rates."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from core.errors import QuantityError
from core.fitness.poisson import difference, garwood, rate, upper_limit

GARWOOD = {
    0: (0.0, 3.689),
    1: (0.0253, 5.572),
    2: (0.242, 7.225),
    3: (0.619, 8.767),
    5: (1.623, 11.668),
    10: (4.795, 18.390),
    20: (12.217, 30.888),
    50: (37.11, 65.92),
}
"""Garwood (1936), doi:10.1093/biomet/28.3-4.437: 95 % limits of a Poisson mean (from memory, to the digits given)."""


@pytest.mark.parametrize("count", GARWOOD)
def test_limits_are_those_of_the_table(count: int) -> None:
    low, high = garwood(count)
    assert low == pytest.approx(GARWOOD[count][0], abs=0.5e-3 if count < 50 else 5e-3)
    assert high == pytest.approx(GARWOOD[count][1], abs=0.7e-3 if count < 50 else 5e-3)


@pytest.mark.parametrize("mean", [0.01, 0.05, 0.3, 1.0, 2.996, 3.0, 5.5, 12.0, 47.0])
def test_coverage_is_at_least_what_is_promised(mean: float) -> None:
    """Exact: summed over all counts that matter."""
    counts = range(200)
    chance = stats.poisson.pmf(counts, mean)
    inside = np.array([garwood(n)[0] <= mean <= garwood(n)[1] for n in counts])
    assert chance[inside].sum() >= 0.95
    above = np.array([mean <= upper_limit(n) for n in counts])
    assert chance[above].sum() >= 0.95 - 1e-12


def test_none_seen_is_less_than_three_over_the_area() -> None:
    """Three clean scans of 10 µm: below 1 per 100 µm²."""
    none = rate(0, 3 * 1e-10)
    assert none.upper == pytest.approx(2.9957 / 3e-10, rel=1e-4)  # −ln 0.05
    assert none.upper * 1e-10 < 1.0
    assert (none.value, none.low) == (0.0, 0.0)


def test_difference_covers() -> None:
    """Exact over pairs of counts; at least 95.5 % over a wider range (enumerated for this program)."""
    n = 120
    limits = np.array([garwood(k) for k in range(n)])
    k = np.arange(n)
    for ratio in (0.3, 1.0, 3.0):
        rates = [(k - limits[:, 0], limits[:, 1] - k)]
        low, high = rates[0]
        value = k[:, None] - k / ratio
        ends = value - np.hypot(low[:, None], high / ratio), value + np.hypot(high[:, None], low / ratio)
        spot = difference(rate(7, 1.0), rate(4, ratio))
        assert (spot.low, spot.high) == pytest.approx((ends[0][7, 4], ends[1][7, 4]))
        for first in (0.5, 3.0, 20.0):
            for second in (0.5, 3.0, 20.0):
                truth = first - second / ratio
                inside = (ends[0] <= truth) & (truth <= ends[1])
                covered = stats.poisson.pmf(k, first) @ inside @ stats.poisson.pmf(k, second)
                assert covered >= 0.95


def test_a_blank_with_nothing_leaves_the_rate_and_widens_it_downwards() -> None:
    left = difference(rate(20, 1e-10), rate(0, 1e-10))
    alone = rate(20, 1e-10)
    assert left.value == alone.value
    assert left.high == pytest.approx(alone.high)
    assert left.low < alone.low


@pytest.mark.parametrize(("count", "area"), [(-1, 1.0), (3, 0.0), (3, float("inf"))])
def test_nonsense_is_refused(count: int, area: float) -> None:
    with pytest.raises(QuantityError):
        rate(count, area)
