"""The height map: frozen, missing and masked kept apart."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from core.errors import MapError
from core.heightmap import Entry, HeightMap, frozen

PITCH = (2e-8, 1e-8)


def test_missing_and_masked_are_two_things() -> None:
    z = [[0.0, 1.0, math.nan], [math.inf, 4.0, 5.0]]
    scan = HeightMap(z, PITCH, mask=[[False, True, False], [True, False, False]])
    assert scan.missing == 2
    assert scan.masked == 1  # the mask on a missing point masks nothing
    assert scan.valid.tolist() == [[True, True, False], [False, True, True]]
    assert scan.used.tolist() == [[True, False, False], [False, True, True]]
    assert scan.heights().tolist() == [0.0, 4.0, 5.0]
    assert scan.z[0, 1] == 1.0  # masking destroys no height
    assert math.isnan(scan.z[1, 0])  # infinity is no height


def test_size_of_oblong_pixels_is_rows_by_dy() -> None:
    scan = HeightMap(np.zeros((3, 5)), PITCH, "oblong")
    assert scan.size == pytest.approx((6e-8, 5e-8))
    assert "3 × 5 points, 60 nm × 50 nm" in repr(scan)


def test_the_callers_array_is_neither_kept_nor_frozen() -> None:
    mine = np.zeros((2, 2))
    scan = HeightMap(mine, PITCH)
    mine[0, 0] = 7.0
    assert scan.z[0, 0] == 0.0
    with pytest.raises(ValueError, match="read-only"):
        scan.z[0, 0] = 1.0


def test_a_frozen_array_is_shared_not_copied() -> None:
    z = frozen(np.zeros((2, 2)))
    assert np.shares_memory(HeightMap(z, PITCH).z, z)
    assert np.shares_memory(HeightMap(z, PITCH).named("other").z, z)


def test_huge_heights_are_not_taken_for_missing() -> None:
    assert HeightMap([[1e300, 1e300], [0.0, 0.0]], PITCH).missing == 0


@pytest.mark.parametrize("z", [[1.0, 2.0], [[]], [[[1.0]]], "prose", [["a", "b"]], 3.0])
def test_what_is_no_map_is_refused(z: object) -> None:
    with pytest.raises(MapError):
        HeightMap(z, PITCH)  # type: ignore[arg-type]


@pytest.mark.parametrize("pitch", [(0.0, 1.0), (1.0, -1.0), (math.inf, 1.0), (math.nan, 1.0), (1.0,), 1.0, ("a", "b")])
def test_pitch_is_never_guessed(pitch: object) -> None:
    with pytest.raises(MapError):
        HeightMap(np.zeros((2, 2)), pitch)  # type: ignore[arg-type]


def test_a_mask_of_another_shape_is_refused() -> None:
    with pytest.raises(MapError):
        HeightMap(np.zeros((2, 2)), PITCH, mask=np.zeros((2, 3)))


def test_an_empty_mask_is_no_mask() -> None:
    assert HeightMap(np.zeros((2, 2)), PITCH, mask=np.zeros((2, 2))).complete


def test_history_grows_by_one_and_keeps_the_rest() -> None:
    scan = HeightMap(np.zeros((2, 2)), PITCH, "a", metadata={"instrument": "invented"})
    after = scan.logged(Entry({"do": "zero"}, "0.1 nm"), z=np.ones((2, 2)))
    assert [entry.removed for entry in after.history] == ["0.1 nm"]
    assert scan.history == ()
    assert after.metadata["instrument"] == "invented"
    assert after.z.sum() == 4


@given(hnp.arrays(np.float64, hnp.array_shapes(min_dims=2, max_dims=2, max_side=8), elements=st.floats(width=64)))
def test_counts_add_up_for_any_array(z: np.ndarray) -> None:
    scan = HeightMap(z, PITCH)
    assert scan.missing == np.count_nonzero(~np.isfinite(z))
    assert scan.heights().size == scan.z.size - scan.missing
    assert np.array_equal(scan.z[scan.valid], z[np.isfinite(z)])
    assert not np.isinf(scan.z).any()
