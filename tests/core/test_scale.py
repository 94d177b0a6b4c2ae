"""The shared scale: exact, also where a sample would miss."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.errors import QuantityError
from core.heightmap import HeightMap
from core.scale import Scale, clipped, own_limits, pooled_quantiles, rounded_outward

PITCH = (1e-8, 1e-8)


def scan(z: object, **more: object) -> HeightMap:
    return HeightMap(np.atleast_2d(z), PITCH, **more)  # type: ignore[arg-type]


@settings(max_examples=60)
@given(st.integers(0, 2**32), st.integers(1, 4), st.sampled_from([(0.001, 0.999), (0.0, 1.0), (0.5, 0.5)]))
def test_pooled_quantiles_equal_sorting_everything(seed: int, count: int, shares: tuple[float, float]) -> None:
    rng = np.random.default_rng(seed)
    maps = [scan(rng.standard_normal((40, 50)) ** 3 * 10.0**k) for k in range(count)]
    everything = np.sort(np.concatenate([m.heights() for m in maps]))
    expected = [everything[round(share * (everything.size - 1))] for share in shares]
    assert list(pooled_quantiles(maps, shares)) == expected


def test_pooled_quantiles_are_exact_on_a_big_uneven_bench() -> None:
    rng = np.random.default_rng(7)
    maps = [scan(np.sort(rng.standard_normal(400 * 500)).reshape(400, 500)), scan(np.full((300, 300), 5.0))]
    everything = np.sort(np.concatenate([m.heights() for m in maps]))
    assert pooled_quantiles(maps, (0.001, 0.999))[0] == everything[round(0.001 * (everything.size - 1))]


def test_one_spike_does_not_decide_the_pooled_range_but_the_widest() -> None:
    z = np.random.default_rng(1).standard_normal((100, 100)) * 1e-9
    z[3, 4] = 500e-9
    maps = [scan(z), scan(z[:50] / 10)]
    assert Scale(preset="pooled").limits(maps)[1] < 5e-9
    assert Scale(preset="widest").limits(maps) == (z.min(), 500e-9)
    low, high = Scale(preset="tightest").limits(maps)
    assert (low, high) == (z[:50].min() / 10, z[:50].max() / 10)


def test_masked_and_missing_points_do_not_count() -> None:
    z = np.array([[0.0, 1e-9], [99.0, np.nan]])
    assert Scale(preset="widest").limits([scan(z, mask=[[0, 0], [1, 0]])]) == (0.0, 1e-9)


def test_a_flat_map_has_a_range_of_one_nanometre() -> None:
    low, high = own_limits(scan(np.full((4, 4), 2.5e-9)))
    assert high - low == pytest.approx(1e-9)
    assert low < 2.5e-9 < high


def test_nothing_measured_still_gives_a_range() -> None:
    empty = scan(np.zeros((2, 2)), mask=np.ones((2, 2)))
    assert own_limits(empty) == (0.0, 100e-9)
    assert Scale().limits([empty]) == (0.0, 100e-9)
    assert clipped(empty, 0.0, 1.0) == (0.0, 0.0)


def test_clipped_counts_what_lies_strictly_outside() -> None:
    assert clipped(scan([0.0, 1.0, 2.0, 3.0]), 1.0, 2.0) == (0.25, 0.25)


@pytest.mark.parametrize("text", ["", "0nm", "5nm:1nm", "1nm:1nm", "0nm:inf nm", "a:b"])
def test_what_is_no_range_is_refused(text: str) -> None:
    with pytest.raises(QuantityError):
        Scale.parse(text)


def test_a_typed_range_is_kept_to_the_digit() -> None:
    scale = Scale.parse("-2,5nm:40nm")
    assert scale.limits([]) == (-2.5e-9, 40e-9)
    assert scale.preset == "typed"
    assert Scale(preset="hundred").limits([]) == (0.0, 100e-9)


@given(st.floats(-1e-6, 1e-6), st.floats(1e-13, 1e-6))
def test_rounding_only_widens_and_only_a_little(low: float, span: float) -> None:
    high = low + span
    first, last = rounded_outward(low, high)
    rounding = 1e-12 * (abs(low) + abs(high))
    room = (high - low) / 25 + rounding
    assert low - room <= first <= low + rounding
    assert high - rounding <= last <= high + room
