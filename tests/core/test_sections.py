"""Curves against closed forms: a tilted plane is a straight line along any section, a step is a step."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.errors import MapError
from core.heightmap import HeightMap
from core.sections import height_at, height_distribution, section

NM, UM = 1e-9, 1e-6


def plane(slope_x: float, slope_y: float, shape=(80, 120), pitch=(3e-8, 2e-8)) -> HeightMap:
    """Heights ``slope · position`` about the centre; oblong pixels."""
    y = (np.arange(shape[0]) - (shape[0] - 1) / 2) * pitch[0]
    x = (np.arange(shape[1]) - (shape[1] - 1) / 2) * pitch[1]
    return HeightMap(slope_y * y[:, None] + slope_x * x, pitch)


inside = st.tuples(st.floats(-1.1e-6, 1.1e-6), st.floats(-1.1e-6, 1.1e-6))


@given(inside, inside, st.floats(-1e-2, 1e-2), st.floats(-1e-2, 1e-2), st.integers(1, 3))
def test_a_plane_is_a_straight_line(start, end, slope_x, slope_y, width):
    if np.hypot(end[0] - start[0], end[1] - start[1]) < 1e-9:
        return
    distance, height = section(plane(slope_x, slope_y), start, end, width=width)
    share = distance / distance[-1]
    x = start[0] + share * (end[0] - start[0])
    y = start[1] + share * (end[1] - start[1])
    # Closed form; bilinear interpolation reproduces a plane up to rounding of heights of about 20 nm.
    np.testing.assert_allclose(height, slope_x * x + slope_y * y, atol=1e-6 * NM)
    assert distance[-1] == pytest.approx(np.hypot(end[0] - start[0], end[1] - start[1]))


def test_a_step_rises_within_one_pixel():
    z = np.zeros((20, 40))
    z[:, 20:] = 5 * NM
    distance, height = section(HeightMap(z, (1e-8, 1e-8)), (-1e-7, 0), (1e-7, 0), samples=2001)
    x = distance - 1e-7
    assert (height[x < -0.51e-8] == 0).all()
    np.testing.assert_allclose(height[x > 0.51e-8], 5 * NM, rtol=1e-12)
    np.testing.assert_allclose(height[np.argmin(abs(x))], 2.5 * NM, rtol=1e-6)


def test_outside_and_missing_are_gaps():
    z = np.full((20, 20), NM)
    z[:, 5] = np.nan
    scan = HeightMap(z, (1e-8, 1e-8))
    distance, height = section(scan, (-3e-7, 0.5e-8), (3e-7, 0.5e-8), samples=601)
    x = distance - 3e-7
    assert np.isnan(height[np.abs(x) > 1.0001e-7]).all()
    assert np.isnan(height[np.abs(x + 4.5e-8) < 0.9e-8]).all()
    np.testing.assert_allclose(height[(x > -3e-8) & (x < 0.99e-7)], NM, rtol=1e-12)


def test_a_gap_does_not_reach_the_point_beside_it():
    z = np.array([[NM, np.nan, NM]])
    _, height = section(HeightMap(z, (1e-8, 1e-8)), (-1e-8, 0), (1e-8, 0), samples=3)
    np.testing.assert_array_equal(height, [NM, np.nan, NM])


def test_averaging_lines_beside_each_other():
    z = np.tile(np.array([1.0, 2.0, 6.0])[:, None] * NM, (1, 30))
    _, height = section(HeightMap(z, (1e-8, 1e-8)), (-1e-7, 0), (1e-7, 0), width=3)
    np.testing.assert_allclose(height, 3 * NM, rtol=1e-12)


def test_samples_default_to_the_pixels_passed():
    distance, _ = section(plane(0, 0), (-1e-6, 0), (1e-6, 0))
    assert len(distance) == 101  # 2 µm of 20 nm pixels


@pytest.mark.parametrize("bad", [{"end": (0.0, 0.0)}, {"width": 0}, {"samples": 1}, {"end": (np.inf, 0.0)}])
def test_nonsense_is_refused(bad):
    with pytest.raises(MapError):
        section(plane(0, 0), (0.0, 0.0), **({"end": (1e-7, 0.0)} | bad))


def test_height_under_a_point_is_that_of_its_pixel():
    z = np.arange(12.0).reshape(3, 4) * NM
    scan = HeightMap(z, (2e-8, 1e-8))
    for row in range(3):
        for column in range(4):
            x, y = (column - 1.5) * 1e-8, (row - 1) * 2e-8
            for dx, dy in ((0, 0), (0.49e-8, 0.98e-8), (-0.49e-8, -0.98e-8)):
                assert height_at(scan, x + dx, y + dy) == z[row, column]
    assert height_at(scan, 2.01e-8, 0) is None
    assert height_at(scan, 0, -3.01e-8) is None
    assert height_at(HeightMap([[np.nan]], (1, 1)), 0, 0) is None


def test_a_linear_ramp_is_distributed_evenly():
    z = np.linspace(0, 10 * NM, 10_001)[None, :-1]
    edges, density = height_distribution(HeightMap(z, (1, 1)), 20, 0, 10 * NM)
    np.testing.assert_allclose(density, 1 / (10 * NM), rtol=5e-3)  # one point of 500 in a bin may fall beside
    assert (density * np.diff(edges)).sum() == pytest.approx(1)


def test_a_distribution_counts_what_counts():
    z = np.array([[0.0, NM, 2 * NM, np.nan]])
    scan = HeightMap(z, (1, 1), mask=[[True, False, False, False]])
    edges, density = height_distribution(scan, 2, 0.5 * NM, 2.5 * NM)
    np.testing.assert_allclose(density * np.diff(edges), [0.5, 0.5])
    _, none = height_distribution(HeightMap([[np.nan]], (1, 1)), 4, 0, NM)
    assert (none == 0).all()
    with pytest.raises(MapError):
        height_distribution(scan, 2, NM, NM)
