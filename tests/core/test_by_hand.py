"""Two places and a region: heights, distances and the note that a region is no whole scan."""

from __future__ import annotations

import numpy as np
import pytest

from core.by_hand import between, cut, region
from core.errors import MapError
from core.heightmap import HeightMap
from core.measures import readings

SLOPE = 1e-3
X = (np.arange(50) - 24.5) * 1e-7
PLANE = HeightMap(np.tile(X * SLOPE, (40, 1)), (2e-7, 1e-7))


def test_rise_and_distance_on_a_plane() -> None:
    found = between(PLANE, (-1.05e-6, -2e-6), (1.95e-6, 2e-6))
    assert found.distance == pytest.approx(5e-6)  # 3, 4, 5
    assert found.rise == pytest.approx(3e-9)  # closed form, both places in the middles of pixels
    assert found.slope == pytest.approx(6e-4)


def test_a_place_outside_has_no_height_and_no_rise() -> None:
    found = between(PLANE, (0.0, 0.0), (9e-6, 0.0))
    assert found.first is not None and found.second is None and found.rise is None and found.slope is None


def test_region_reads_as_the_same_points_as_a_map() -> None:
    rng = np.random.default_rng(5)
    scan = HeightMap(rng.standard_normal((60, 60)) * 1e-9, (1e-8, 1e-8))
    found = region(scan, (-1e-7, -2e-7), (2e-7, 1e-7), ["Sq", "Sz"])
    alone = readings(HeightMap(scan.z[10:40, 20:50], scan.pitch), ["Sq", "Sz"])
    assert {symbol: one.value for symbol, one in found.readings.items()} == {s: one.value for s, one in alone.items()}
    assert all("whole scans" in one.note for one in found.readings.values())


def test_mask_and_missing_points_do_not_count() -> None:
    z = np.zeros((40, 40))
    z[15, 15], z[20, 20] = np.nan, 1.0
    mask = np.zeros(z.shape, bool)
    mask[20, 20] = True
    found = region(HeightMap(z, (1e-8, 1e-8), mask=mask), (-1e-7, -1e-7), (1e-7, 1e-7), ["Sq"])
    assert found.readings["Sq"].value == 0.0


def test_too_small_and_outside_are_told() -> None:
    assert "too few" in region(PLANE, (0.0, 0.0), (3e-7, 5e-7)).note
    assert "no point" in region(PLANE, (1.0, 1.0), (2.0, 2.0)).note
    with pytest.raises(MapError):
        cut(PLANE, (1.0, 1.0), (2.0, 2.0))
