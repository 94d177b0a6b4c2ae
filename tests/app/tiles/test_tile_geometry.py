"""Where tiles and pictures are: arrangement, view, scale bar, and one map pixel for one device pixel at any scaling."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.tiles.arrange import GAP, SMALLEST, arrange
from app.tiles.scalebar import bar_length
from app.tiles.view import MARGIN, View, Wanted, seen, whole_map
from core.heightmap import HeightMap

CHROME = 66, 88


def scan_of(ny: int, nx: int, dy: float = 1e-8, dx: float = 1e-8) -> HeightMap:
    return HeightMap(np.zeros((ny, nx)), (dy, dx))


@given(st.integers(1, 80), st.integers(250, 3000), st.integers(200, 2000), st.floats(0.3, 3.0))
def test_tiles_never_overlap_nor_leave_the_room(count, width, height, aspect):
    plan = arrange(count, width, height, CHROME, aspect)
    places = [plan.place(i) for i in range(count)]
    assert plan.columns * plan.rows >= count > plan.columns * (plan.rows - 1)
    for i, (x, y, w, h) in enumerate(places):
        assert x >= GAP
        assert y >= GAP
        if w + 2 * GAP <= width:
            assert x + w <= width
        assert y + h <= plan.total_height
        for x2, y2, *_ in places[:i]:
            assert abs(x - x2) >= w + GAP or abs(y - y2) >= h + GAP


@pytest.mark.parametrize(("count", "columns"), [(1, 1), (2, 2), (6, 3), (24, 6)])
def test_pictures_are_as_large_as_they_can_be(count, columns):
    plan = arrange(count, 1400, 800, CHROME)
    assert plan.columns == columns
    assert plan.total_height <= 800
    larger = plan.width - CHROME[0] + 2
    for tried in range(1, count + 1):
        rows = -(-count // tried)
        across = tried * (larger + CHROME[0] + GAP) + GAP
        down = rows * (larger + CHROME[1] + GAP) + GAP
        assert across > 1400 or down > 800


def test_many_tiles_scroll_rather_than_shrink():
    plan = arrange(60, 800, 600, CHROME)
    assert plan.total_height > 600
    assert plan.width - CHROME[0] >= SMALLEST


views = st.builds(
    View,
    st.floats(-3e-6, 3e-6),
    st.floats(-3e-6, 3e-6),
    st.floats(1e-10, 1e-7),
    st.floats(50, 800),
    st.floats(50, 800),
    st.sampled_from([1.0, 1.25, 1.5, 2.0]),
)


@given(views, st.floats(0, 800), st.floats(0, 800))
def test_screen_and_map_are_inverse(view, px, py):
    assert view.to_screen(*view.to_map(px, py)) == pytest.approx((px, py), abs=1e-6)


@given(views)
def test_what_is_wanted_with_a_margin_covers_what_is_seen(view):
    scan = scan_of(400, 300)
    need = seen(scan, view)
    if need is None:
        return
    assert (seen(scan, view, MARGIN) or need).covers(need)
    assert need.rows <= 400
    assert need.columns <= 300
    whole = whole_map(scan, view)
    assert whole.whole
    assert whole.rows * whole.columns <= 2 * view.width * view.height * view.ratio**2 + 1
    # One level pixel is never larger than a device pixel, unless a point of the map is.
    assert need.rows == 400 or 400 * 1e-8 / need.rows <= view.scale / view.ratio * (1 + 1 / need.rows)


def test_a_map_out_of_view_needs_nothing():
    assert seen(scan_of(100, 100), View(1e-3, 0, 1e-9, 200, 200)) is None


def test_another_sharpness_does_not_cover():
    assert not Wanted(100, 100, (0, 100, 0, 100)).covers(Wanted(90, 90, (0, 90, 0, 90)))


@given(st.floats(1e-10, 1e-2))
def test_scale_bars_are_one_two_five(longest):
    length = bar_length(longest)
    assert length <= longest * (1 + 1e-6)
    assert 2.5 * length * (1 + 1e-6) >= longest
    mantissa = float(f"{length:.6e}".partition("e")[0])
    assert mantissa in (1.0, 2.0, 5.0)


ONE_TO_ONE = """
import numpy as np
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication
from app.tiles.grid import TileGrid
from app.tiles.raster import table
from app.tiles.state import TileState
from core.display import paint
from core.heightmap import HeightMap

app = QApplication([])
z = np.random.default_rng(0).standard_normal((900, 900)) * 1e-9
grid = TileGrid()
grid.resize(503, 411)
grid.show()
grid.set_tiles([TileState(k, k, scan=HeightMap(z, (1e-9, 1e-9))) for k in "ab"])
grid.set_limits(-1e-9, 1e-9)
while not grid.settled:
    app.processEvents()
image = grid.grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
ratio = image.devicePixelRatio()
whole = np.frombuffer(image.constBits(), np.uint32).reshape(image.height(), -1)
for key in "ab":
    picture = grid.tile(key).picture
    made = paint(picture.shown, -1e-9, 1e-9, table())
    inner = made[12 : -int(45 * ratio), 12:-12]  # without round corners and scale bar
    corner = picture.mapTo(grid, picture.rect().topLeft())
    x, y = corner.x() * ratio, corner.y() * ratio
    hits = [
        (dy, dx)
        for dy in range(-2, 3)
        for dx in range(-2, 3)
        if np.array_equal(whole[round(y) + dy + 12 :, round(x) + dx + 12 :][: inner.shape[0], : inner.shape[1]], inner)
    ]
    assert len(hits) == 1, (key, ratio, hits)
    assert max(map(abs, hits[0])) <= 1
    print(key, ratio, made.shape, picture.width() * ratio)
"""


@pytest.mark.parametrize("factor", ["1", "1.5", "2"])
def test_one_pixel_of_the_level_is_one_pixel_of_the_screen(factor):
    """In a process of its own, for the scale factor is read once when Qt starts."""
    env = os.environ | {"QT_SCALE_FACTOR": factor, "QT_QPA_PLATFORM": "offscreen"}
    done = subprocess.run([sys.executable, "-c", ONE_TO_ONE], check=False, capture_output=True, text=True, env=env)
    assert done.returncode == 0, done.stderr
    assert f"a {float(factor)}" in done.stdout
