"""Reduction for display keeps peaks; painting puts every pixel in its class.

Expected values: derived here, closed form, or counted directly.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from core.colours import MASKED, MISSING, OVER, UNDER, height_table
from core.display import Canvas, Level, level, paint, pixel_table
from core.errors import MapError
from core.heightmap import HeightMap

NM = 1e-9
TABLE = pixel_table(height_table())


def scan_of(z, **more) -> HeightMap:
    return HeightMap(z, (1e-8, 1e-8), **more)


def heights(shown: Level):
    return shown.z.astype(float) + shown.origin


def code(colour) -> int:
    red, green, blue = (int(channel) for channel in colour)
    return 0xFF000000 | red << 16 | green << 8 | blue


# --- reduction ---


def test_whole_blocks_show_their_mean():
    z = np.random.default_rng(0).standard_normal((60, 40)) * NM
    shown = level(scan_of(z), 15, 10)
    mean = z.reshape(15, 4, 10, 4).mean((1, 3))
    np.testing.assert_allclose(heights(shown), mean, atol=1e-7 * NM)  # single precision of heights of a few nm
    assert shown.kept == 0


@pytest.mark.parametrize(("ny", "nx", "rows", "columns"), [(61, 83, 17, 19), (300, 256, 250, 250), (7, 500, 7, 33)])
def test_borders_that_cut_points_share_them(ny, nx, rows, columns):
    """The sum over all pixels, each by its area, is the sum over all points: nothing is lost or counted twice."""
    z = np.random.default_rng(3).standard_normal((ny, nx)) * NM
    shown = level(scan_of(z), rows, columns)
    assert shown.z.shape == (rows, columns)
    assert heights(shown).mean() == pytest.approx(z.mean(), abs=1e-6 * NM)
    # A plane's block means are the plane at the middle of each pixel, whatever the factors.
    y, x = np.mgrid[:ny, :nx]
    plane = level(scan_of(1e-12 * (3 * y + 2 * x)), rows, columns)
    v = (np.arange(rows) + 0.5) * ny / rows - 0.5
    u = (np.arange(columns) + 0.5) * nx / columns - 0.5
    # Inside, shares are linear in the cut point: half a point's slope is the largest error.
    np.testing.assert_allclose(heights(plane), 1e-12 * (3 * v[:, None] + 2 * u), atol=0.3e-12 * 5)


@pytest.mark.parametrize("factor", [4, 7.3, 16.4])
@pytest.mark.parametrize("sign", [1, -1])
def test_a_point_ten_sigma_off_survives(factor, sign):
    rng = np.random.default_rng(5)
    z = rng.standard_normal((512, 512)) * NM
    z[333, 123] = sign * 10 * NM
    count = round(512 / factor)
    shown = level(scan_of(z), count, count)
    got = heights(shown)
    row, column = 333 * count // 512, 123 * count // 512
    assert got[row, column] == pytest.approx(sign * 10 * NM, rel=1e-6)
    assert shown.kept == 1  # and no false peak anywhere


@pytest.mark.parametrize("count", [400, 256, 200, 64, 20])
def test_white_noise_shows_no_false_peak(count):
    z = np.random.default_rng(8).standard_normal((512, 512)) * NM
    shown = level(scan_of(z), count, count)
    assert shown.kept == 0
    assert abs(heights(shown).mean()) < 0.02 * NM


def test_a_peak_on_a_perfectly_flat_map_survives():
    z = np.full((256, 256), 3 * NM)
    z[17, 200] = 3.1 * NM
    assert heights(level(scan_of(z), 20, 20)).max() == pytest.approx(3.1 * NM, rel=1e-6)


@given(st.integers(0, 99), st.integers(0, 79), st.integers(1, 120), st.integers(1, 120))
def test_every_point_is_owned_by_a_pixel(y, x, rows, columns):
    """A single high point on a flat map is seen at the pixel over it, at any factor."""
    z = np.zeros((100, 80))
    z[y, x] = NM
    shown = level(scan_of(z), rows, columns)
    got = heights(shown)
    at = np.unravel_index(int(np.argmax(got)), got.shape)
    rows, columns = shown.grid
    assert got.max() == pytest.approx(NM, rel=1e-6)
    assert abs((at[0] + 0.5) * 100 / rows - (y + 0.5)) <= 0.5 * 100 / rows + 0.5
    assert abs((at[1] + 0.5) * 80 / columns - (x + 0.5)) <= 0.5 * 80 / columns + 0.5


def test_missing_points_are_left_out_and_never_spread():
    z = np.full((64, 64), 2 * NM)
    z[:8, :8] = np.nan  # one whole block
    z[20, 20] = np.nan  # one point of another
    shown = level(scan_of(z), 8, 8)
    assert shown.present is not None
    assert np.argwhere(shown.present == 0).tolist() == [[0, 0]]
    np.testing.assert_allclose(heights(shown)[shown.present == 1], 2 * NM, rtol=1e-6)
    assert np.isfinite(shown.z).all()


@given(
    hnp.arrays(bool, (23, 19), elements=st.booleans()),
    st.integers(1, 25),
    st.integers(1, 25),
)
def test_a_pixel_is_missing_only_where_no_point_is(gaps, rows, columns):
    z = np.where(gaps, np.nan, 1.5 * NM)
    shown = level(scan_of(z), rows, columns)
    assert np.isfinite(shown.z).all()
    present = np.ones(shown.grid, bool) if shown.present is None else shown.present.astype(bool)
    np.testing.assert_allclose(heights(shown)[present], 1.5 * NM, rtol=1e-6)
    rows, columns = shown.grid
    for r, c in np.argwhere(~present):
        points = np.isnan(z[r * 23 // rows : (r + 1) * 23 // rows, c * 19 // columns : (c + 1) * 19 // columns])
        assert points.all()


def test_a_map_without_heights():
    shown = level(scan_of(np.full((30, 30), np.nan)), 10, 10)
    assert (paint(shown, 0, NM, TABLE) == code(MISSING)).all()


@given(st.integers(1, 40), st.integers(1, 40), st.data())
def test_a_window_is_cut_from_the_whole(rows, columns, data):
    z = np.random.default_rng(4).standard_normal((97, 61)) * NM
    scan = scan_of(z)
    top = data.draw(st.integers(0, rows - 1))
    left = data.draw(st.integers(0, columns - 1))
    window = top, data.draw(st.integers(top + 1, rows)), left, data.draw(st.integers(left + 1, columns))
    whole, part = level(scan, rows, columns), level(scan, rows, columns, window)
    assert whole.whole
    assert part.grid == whole.grid
    same = heights(whole)[window[0] : window[1], window[2] : window[3]]
    np.testing.assert_allclose(heights(part), same, atol=1e-6 * NM)


def test_more_pixels_than_points_is_every_point():
    z = np.random.default_rng(2).standard_normal((12, 9)) * NM
    shown = level(scan_of(z), 500, 500)
    assert shown.grid == (12, 9)
    np.testing.assert_allclose(heights(shown), z, atol=1e-6 * NM)


def test_heights_on_a_large_offset_keep_their_detail():
    z = 1e-3 + np.random.default_rng(2).standard_normal((64, 64)) * 0.1 * NM  # 1 mm off, Sq 0.1 nm
    shown = level(scan_of(z), 64, 64)
    np.testing.assert_allclose(heights(shown), z, atol=1e-3 * NM)


@pytest.mark.parametrize("window", [(0, 11, 0, 5), (-1, 5, 0, 5), (5, 5, 0, 5)])
def test_a_window_outside_is_refused(window):
    with pytest.raises(MapError):
        level(scan_of(np.zeros((40, 40))), 10, 10, window)


def test_masked_points_are_shown_and_flagged():
    mask = np.zeros((64, 64), bool)
    mask[33, 9] = True
    shown = level(scan_of(np.zeros((64, 64)), mask=mask), 8, 8)
    assert shown.masked is not None
    assert np.argwhere(shown.masked).tolist() == [[4, 1]]
    pixels = paint(shown, -NM, NM, TABLE)
    plain = int(pixels[0, 0])
    tinted = int(pixels[4, 1])
    for shift, channel in ((16, MASKED[0]), (8, MASKED[1]), (0, MASKED[2])):
        assert abs((tinted >> shift & 255) - ((plain >> shift & 255) + channel) / 2) <= 1
    assert int(paint(shown, -NM, NM, TABLE, mask=False)[4, 1]) == plain


# --- painting ---


def test_ends_are_inside_and_their_neighbours_outside():
    low, high = 0.1 * NM, 7.3 * NM
    ends = np.array([[np.nextafter(low, 0), low, high, np.nextafter(high, 1)]])
    pixels = paint(level(scan_of(ends), 1, 4), low, high, TABLE)[0]
    # Neighbours in double precision may fall together with the end in single precision, never the end with them.
    assert pixels[1] == code(height_table()[0])
    assert pixels[2] == code(height_table()[255])
    wide = paint(level(scan_of([[low - 1e-6 * NM, high + 1e-5 * NM]]), 1, 2), low, high, TABLE)[0]
    assert wide.tolist() == [code(UNDER), code(OVER)]


@given(
    hnp.arrays(np.float64, (7, 9), elements=st.floats(-1e-7, 1e-7)),
    st.floats(-1e-7, 1e-7),
    st.floats(1e-12, 1e-7),
)
def test_every_pixel_is_in_its_class(z, low, span):
    high = low + span
    shown = level(scan_of(z), 7, 9)
    pixels = paint(shown, low, high, TABLE)
    bottom, top = np.float32(low - shown.origin), np.float32(high - shown.origin)
    np.testing.assert_array_equal(pixels == code(UNDER), shown.z < bottom)
    np.testing.assert_array_equal(pixels == code(OVER), shown.z > top)
    inside = (z >= low) & (z <= high)
    assert not np.isin(pixels[inside], [code(UNDER), code(OVER), code(MISSING)]).any()


def test_colours_rise_with_height():
    z = np.linspace(0, 10 * NM, 253 * 4)[None]
    pixels = paint(level(scan_of(z), 1, z.size), 0, 10 * NM, TABLE)[0]
    np.testing.assert_array_equal(
        pixels, TABLE[2 + np.minimum(np.floor(z[0] / (10 * NM) * 253 + 1e-4), 252).astype(int)]
    )


def test_painting_reuses_its_canvas():
    shown = level(scan_of(np.zeros((40, 50))), 20, 25)
    canvas = Canvas(shown.z.shape)
    assert paint(shown, -NM, NM, TABLE, canvas) is canvas.pixels
    first = canvas.pixels.copy()
    assert paint(shown, NM, 2 * NM, TABLE, canvas) is canvas.pixels
    assert (canvas.pixels == code(UNDER)).all()
    assert not (first == code(UNDER)).any()


def test_a_range_without_width_is_still_painted():
    pixels = paint(level(scan_of([[0.0, 1e-9, 2e-9]]), 1, 3), 1e-9, 1e-9, TABLE)[0]
    assert (pixels[0], pixels[2]) == (code(UNDER), code(OVER))


def test_special_colours_are_not_height_colours():
    heights = {code(c) for c in height_table().tolist()}
    assert not heights & {code(UNDER), code(OVER), code(MISSING)}
