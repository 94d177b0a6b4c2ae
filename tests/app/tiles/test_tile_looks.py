"""Flat, lit and oblique: flat stays flat beside rough, one exaggeration, one lateral scale or each fitted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor

from app.tiles.grid import TileGrid
from app.tiles.look import Look, common_cast
from app.tiles.state import TileState
from core.colours import height_table
from core.heightmap import HeightMap

NM = 1e-9
WAIT = 20_000


@pytest.fixture
def grid(qtbot) -> TileGrid:
    made = TileGrid()
    qtbot.addWidget(made)
    made.resize(800, 500)
    made.set_limits(0.0, 10 * NM)
    made.show()
    ramp = np.tile(np.linspace(0, 10 * NM, 64), (64, 1))
    ramp[:, 32:] = ramp[:, 32:][:, ::-1]
    made.set_tiles(
        [
            TileState("rough", "rough", scan=HeightMap(ramp, (1e-8, 1e-8))),
            TileState("flat", "flat", scan=HeightMap(np.full((64, 64), 5 * NM), (1e-8, 1e-8))),
            TileState("small", "small", scan=HeightMap(np.full((16, 16), 5 * NM), (1e-8, 1e-8))),
        ]
    )
    qtbot.waitUntil(lambda: made.settled, timeout=WAIT)
    return made


def draw(qtbot, grid: TileGrid, look: Look) -> None:
    grid.sync.set_look(look)
    qtbot.waitUntil(lambda: grid.settled, timeout=WAIT)


def at(grid: TileGrid, key: str, x: float, y: float) -> QColor:
    """Colour at shares of the picture's width and height."""
    image = grid.tile(key).picture.grab().toImage()
    return QColor(image.pixel(int(x * image.width()), int(y * image.height())))


def test_light_shades_slopes_and_leaves_level_parts_alone(qtbot, grid):
    before = {(key, x): at(grid, key, x, 0.5) for key in ("rough", "flat") for x in (0.25, 0.75)}
    draw(qtbot, grid, Look("relief"))
    after = {place: at(grid, *place, 0.5) for place in before}
    assert after["flat", 0.25] == before["flat", 0.25]
    rising, falling = after["rough", 0.25], after["rough", 0.75]
    assert rising.lightness() > before["rough", 0.25].lightness()
    assert falling.lightness() < before["rough", 0.75].lightness()
    draw(qtbot, grid, Look("flat"))
    assert {place: at(grid, *place, 0.5) for place in before} == before


def test_flat_stays_flat_beside_rough_at_one_exaggeration(qtbot, grid):
    draw(qtbot, grid, Look("oblique"))
    image = grid.tile("flat").picture.grab().toImage()
    wanted = tuple(int(channel) for channel in height_table()[128])
    middle = QColor(image.pixel(image.width() // 2, image.height() // 2))
    assert (middle.red(), middle.green(), middle.blue()) == pytest.approx(wanted, abs=3)
    assert grid.sync.cast.exaggeration == 10.0  # 30 % of 640 nm over 10 nm is 19.2: rounded down to 1, 2 or 5


def test_a_typed_exaggeration_holds_for_all_and_zooming(qtbot, grid):
    draw(qtbot, grid, Look("oblique", 5.0))
    grid.sync.zoom(3)
    qtbot.waitUntil(lambda: grid.settled, timeout=WAIT)
    assert grid.sync.cast.exaggeration == 5.0
    draw(qtbot, grid, replace(grid.sync.look, exaggeration=None))
    assert grid.sync.cast.exaggeration < 10.0  # a closer view is narrower


def test_no_place_is_pointed_at_on_a_block(qtbot, grid):
    grid.sync.point((0.0, 0.0))
    draw(qtbot, grid, Look("oblique"))
    assert grid.sync.crosshair is None


def test_each_map_fitted_or_one_lateral_scale(qtbot, grid):
    small, large = (grid.tile(key).picture for key in ("small", "rough"))
    assert small.view().scale == large.view().scale
    grid.sync.set_one_scale(False)
    assert small.view().scale == pytest.approx(large.view().scale / 4)
    grid.sync.zoom(2, (1e-7, 0.0))
    x, y = small.view().to_screen(0.25e-7, 0.0)  # the same share of the side
    assert (x, y) == pytest.approx(large.view().to_screen(1e-7, 0.0))
    qtbot.waitUntil(lambda: grid.settled, timeout=WAIT)


def test_blocks_of_one_lateral_scale_fit_and_keep_it():
    cast = common_cast(
        [(1e-6, 1e-6), (2e-6, 2e-6)], [(0.0, 1e-8)] * 2, (0.0, 1e-8), (200.0, 200.0), Look("oblique"), one_scale=True
    )
    assert cast.pixels is not None
    assert 198 * 0.99 <= cast.pixels * 2e-6 * 1.38 <= 198 * 1.001  # near edge and shear of the larger fill the width


def test_a_double_click_enlarges_a_tile_and_brings_all_back(qtbot, grid):
    picture, wide = grid.tile("flat").picture, grid.tile("flat").width()
    qtbot.mouseDClick(picture, Qt.MouseButton.LeftButton, pos=picture.rect().center())
    assert grid.alone == "flat"
    assert grid.tile("flat").width() > 1.5 * wide
    assert grid.tile("rough").isHidden()
    qtbot.mouseDClick(picture, Qt.MouseButton.LeftButton, pos=picture.rect().center())
    assert (grid.alone, grid.tile("flat").width()) == ("", wide)
    assert not grid.tile("rough").isHidden()
    grid.toggle_alone("flat")
    grid.set_tiles([grid.tile("rough").state])  # the tile that was alone is gone
    assert not grid.tile("rough").isHidden()
    qtbot.waitUntil(lambda: grid.settled, timeout=WAIT)


def test_a_frame_lies_on_flat_pictures_and_not_on_reliefs(qtbot, grid):
    def framed() -> bool:
        plain = grid.tile("flat").picture.grab().toImage()
        grid.set_frame(grid.tile("flat").state.scan.name, (0.0, 0.0, 2e-7, 2e-7))
        seen = grid.tile("flat").picture.grab().toImage() != plain
        grid.set_frame()
        return seen

    assert framed()
    draw(qtbot, grid, Look("oblique"))
    assert not framed()
    draw(qtbot, grid, Look("flat"))
    assert framed()
