"""Ranks and ordered stretches by buckets against numpy's sort, on heights of every kind."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from core.buckets import FEW, Buckets, ordered

KINDS: dict[str, Callable[[np.random.Generator, int], Any]] = {
    "normal": lambda rng, n: rng.standard_normal(n),
    "far from zero": lambda rng, n: 1e6 + rng.standard_normal(n),
    "few levels": lambda rng, n: rng.integers(0, 7, n).astype(float),
    "two levels": lambda rng, n: rng.integers(0, 2, n) * 1e-9,
    "equal": lambda rng, n: rng.permutation(np.full(n, 3.25)),
    "spikes": lambda rng, n: np.where(rng.random(n) < 0.001, 1e6, 1e-9) * rng.standard_normal(n),
    "heavy tails": lambda rng, n: rng.standard_cauchy(n),
    "subnormal": lambda rng, n: rng.integers(0, 50, n) * 5e-324,
    "huge": lambda rng, n: rng.uniform(-1, 1, n) * 1e308,
    "both zeros": lambda rng, n: np.where(rng.random(n) < 0.5, 0.0, -0.0),
}
kinds = st.sampled_from(sorted(KINDS))
quick = settings(max_examples=60, deadline=None)


def values_of(kind: str, seed: int, n: int) -> NDArray[np.float64]:
    with np.errstate(over="ignore"):
        return np.asarray(KINDS[kind](np.random.default_rng(seed), n), dtype=np.float64)


@quick
@given(kinds, st.integers(0, 2**32 - 1), st.integers(1, 3 * FEW))
def test_ordered_is_sorted(kind: str, seed: int, n: int) -> None:
    values = values_of(kind, seed, n)
    kept = values.copy()
    with np.errstate(over="ignore"):
        found = ordered(values)
    np.testing.assert_array_equal(found, np.sort(values))
    np.testing.assert_array_equal(values, kept)


@quick
@given(kinds, st.integers(0, 2**32 - 1), st.integers(1, 3 * FEW), st.data())
def test_ranks_and_stretches(kind: str, seed: int, n: int, data: st.DataObject) -> None:
    values = values_of(kind, seed, n)
    rank = data.draw(st.integers(0, n - 1))
    last = data.draw(st.integers(rank + 1, n))
    with np.errstate(over="ignore"):
        buckets = Buckets(values)
        in_order = np.sort(values)
        assert buckets.at(rank) == in_order[rank]
        np.testing.assert_array_equal(buckets.stretch(rank, last), in_order[rank:last])


@quick
@given(kinds, st.integers(0, 2**32 - 1), st.integers(2, 3 * FEW))
def test_edges_hold_every_value(kind: str, seed: int, n: int) -> None:
    values = values_of(kind, seed, n)
    with np.errstate(over="ignore"):
        buckets = Buckets(values)
        low, high = buckets.edges
        holds = np.array([buckets.bucket(rank) for rank in range(0, n, 97)])
        in_order = np.sort(values)[::97]
    assert np.all(low[holds] <= in_order)
    assert np.all(in_order <= high[holds])


@quick
@given(kinds, st.integers(0, 2**32 - 1), st.integers(1, 2 * FEW), st.floats(0, 1))
def test_tails_lose_nothing(kind: str, seed: int, n: int, share: float) -> None:
    values = values_of(kind, seed, n)
    with np.errstate(over="ignore"):
        buckets = Buckets(values)
        height = float(np.sort(values)[int(share * (n - 1))])
        high, low = buckets.at_least(height), buckets.at_most(height)
    np.testing.assert_array_equal(np.sort(high[high >= height]), np.sort(values[values >= height]))
    np.testing.assert_array_equal(np.sort(low[low <= height]), np.sort(values[values <= height]))


def test_quantile_is_that_of_numpy() -> None:
    values = np.random.default_rng(5).standard_normal(9_999)
    buckets = Buckets(values)
    for share in (0.0, 0.001, 0.5, 0.77, 1.0):
        assert buckets.quantile(share * (values.size - 1)) == pytest.approx(np.quantile(values, share), rel=1e-14)


def test_a_place_beyond_the_ends_is_the_end() -> None:
    buckets = Buckets(np.array([2.0, 1.0, 3.0]))
    assert buckets.quantile(-0.5) == 1.0
    assert buckets.quantile(2.5) == 3.0
