"""The grid of tiles as a user meets it: pictures, limits, linked views, keyboard, and nothing left behind."""

from __future__ import annotations

import gc
import threading
import weakref
from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QColor, QWheelEvent
from PySide6.QtWidgets import QApplication

from app.theme import colour, theme
from app.tiles import levels as levels_module
from app.tiles import tile as tile_module
from app.tiles.grid import TileGrid
from app.tiles.state import TileState
from core.colours import MISSING, OVER, UNDER, height_table
from core.heightmap import HeightMap

NM = 1e-9


def scan_of(z, pixel=1e-8, name="scan", **more) -> HeightMap:
    return HeightMap(z, (pixel, pixel), name, **more)


def flat(height: float, n: int = 64, pixel: float = 1e-8, name: str = "flat") -> HeightMap:
    return scan_of(np.full((n, n), height), pixel, name)


def state_of(scan: HeightMap | None, key: str = "a", **more) -> TileState:
    return TileState(key, more.pop("title", key), scan=scan, **more)


@pytest.fixture
def grid(qtbot) -> TileGrid:
    made = TileGrid()
    qtbot.addWidget(made)
    made.resize(700, 500)
    made.set_limits(0.0, 10 * NM)
    made.show()
    return made


def shade(index: int) -> tuple[int, int, int]:
    """One of the 256 height colours."""
    red, green, blue = (int(channel) for channel in height_table()[index])
    return red, green, blue


def settle(qtbot, grid: TileGrid) -> None:
    qtbot.waitUntil(lambda: grid.settled)


def colour_at(grid: TileGrid, key: str, x: float, y: float) -> tuple[int, int, int]:
    """Colour of the picture at a position in metres, without the cross-hair."""
    picture = grid.tile(key).picture
    image = picture.grab().toImage()
    px, py = picture.view().to_screen(x, y)
    ink = QColor(image.pixel(int(px * image.devicePixelRatio()), int(py * image.devicePixelRatio())))
    return ink.red(), ink.green(), ink.blue()


def test_pixels_have_the_colour_of_their_height(qtbot, grid):
    z = np.full((64, 64), 5 * NM)
    z[:, :16], z[:, 16:32], z[:, 32:48] = -1 * NM, 11 * NM, np.nan
    grid.set_tiles([state_of(scan_of(z))])
    settle(qtbot, grid)
    columns = {name: (c - 32) * 1e-8 for name, c in (("under", 8), ("over", 24), ("missing", 40), ("middle", 56))}
    assert colour_at(grid, "a", columns["under"], 0) == UNDER
    assert colour_at(grid, "a", columns["over"], 0) == OVER
    assert colour_at(grid, "a", columns["missing"], 0) == MISSING
    assert colour_at(grid, "a", columns["middle"], 0) == pytest.approx(shade(127), abs=4)


def test_ends_of_the_range_are_inside(qtbot, grid):
    z = np.zeros((64, 64))
    z[:, 32:] = 10 * NM
    grid.set_tiles([state_of(scan_of(z))])
    settle(qtbot, grid)
    assert colour_at(grid, "a", -1e-7, 0) == shade(0)
    assert colour_at(grid, "a", 1e-7, 0) == shade(255)


def test_a_bump_of_one_point_is_seen(qtbot, grid):
    z = np.random.default_rng(1).standard_normal((2048, 2048)) * NM
    z[700, 1500] = 40 * NM
    grid.set_tiles([state_of(scan_of(z))])
    grid.set_limits(-8 * NM, 8 * NM)
    settle(qtbot, grid)
    picture = grid.tile("a").picture
    image = picture.grab().toImage().convertToFormat(picture.grab().toImage().Format.Format_RGB32)
    seen = np.frombuffer(image.constBits(), np.uint32).reshape(image.height(), -1) & 0xFFFFFF
    rows, columns = np.nonzero(seen == (OVER[0] << 16 | OVER[1] << 8 | OVER[2]))
    assert rows.size == 1
    x, y = picture.view().to_screen((1500.5 - 1024) * 1e-8, (700.5 - 1024) * 1e-8)
    assert abs(columns[0] + 0.5 - x) <= 1
    assert abs(rows[0] + 0.5 - y) <= 1


def test_new_limits_colour_all_tiles(qtbot, grid):
    grid.set_tiles([state_of(flat(5 * NM), "a"), state_of(flat(20 * NM), "b")])
    settle(qtbot, grid)
    assert colour_at(grid, "b", 1e-7, 1e-7) == OVER
    grid.set_limits(0.0, 4 * NM)
    assert colour_at(grid, "a", 1e-7, 1e-7) == OVER
    grid.set_limits(0.0, 40 * NM)
    settle(qtbot, grid)
    assert colour_at(grid, "a", 1e-7, 1e-7) not in (OVER, UNDER)
    assert colour_at(grid, "b", 1e-7, 1e-7) not in (OVER, UNDER)
    assert grid.tile("b").clipped == (0.0, 0.0)


def test_clipped_share_is_that_of_the_map_not_of_the_picture(qtbot, grid):
    z = np.zeros((1000, 1000))
    z.flat[:123] = 20 * NM
    z.flat[-77:] = -20 * NM
    grid.set_tiles([state_of(scan_of(z, 1e-9))])
    settle(qtbot, grid)
    assert grid.tile("a").clipped == (77e-6, 123e-6)
    assert "clipped <0.1 %" in grid.tile("a").accessibleDescription()


def test_own_scale_says_so(qtbot, grid):
    z = np.linspace(0, 1 * NM, 64 * 64).reshape(64, 64)
    grid.set_tiles([state_of(scan_of(z), "a", own_range=(0.0, 1 * NM)), state_of(scan_of(z), "b")])
    grid.set_shared(False)
    settle(qtbot, grid)
    for key in "ab":
        assert "Own scale, not comparable" in grid.tile(key).accessibleDescription()
    assert grid.tile("a").limits == (0.0, 1 * NM)
    assert grid.tile("b").limits == pytest.approx((0.0, 1 * NM), abs=2e-3 * NM)  # 0.1–99.9 % of the points
    grid.set_shared(True)
    assert grid.tile("a").limits == grid.tile("b").limits == (0.0, 10 * NM)
    settle(qtbot, grid)
    assert "Shared scale" in grid.tile("a").accessibleDescription()


def test_one_scale_for_scans_of_unequal_size(qtbot, grid):
    grid.set_tiles([state_of(flat(0, 64), "large"), state_of(flat(0, 16), "small")])
    settle(qtbot, grid)
    assert grid.tile("large").picture.view().scale == grid.tile("small").picture.view().scale
    assert colour_at(grid, "small", 0.05e-6, 0.05e-6) == shade(0)
    assert colour_at(grid, "small", 0.2e-6, 0.2e-6) != shade(0)  # beyond the small scan's border


def test_resizing_a_zoomed_view_and_back_changes_nothing(qtbot, grid):
    """Axis links of plots ran from 500 to 2·10⁸ units here; the hub must give back what it had."""
    grid.set_tiles([state_of(flat(0, 500, 1e-9), "a"), state_of(flat(0, 100, 1e-9), "b")])
    settle(qtbot, grid)
    grid.sync.zoom(2.5, (1e-8, 2e-8))
    before = grid.sync.centre, grid.sync.scale, grid.tile("a").picture.width()
    for i in range(20):
        grid.resize(500 + 31 * i, 700 - 17 * i)
        QApplication.processEvents()
    grid.resize(700, 500)
    QApplication.processEvents()
    assert (grid.sync.centre, grid.sync.scale, grid.tile("a").picture.width()) == before
    settle(qtbot, grid)


def test_a_fitted_view_stays_fitted_through_resizing(qtbot, grid):
    grid.set_tiles([state_of(flat(0, 500, 1e-9), "a"), state_of(flat(0, 100, 1e-9), "b")])
    for width, height in ((500, 300), (900, 700), (700, 500)):
        grid.resize(width, height)
        QApplication.processEvents()
        assert grid.sync.scale * grid.tile("a").picture.width() == pytest.approx(500e-9, rel=0.01)
    settle(qtbot, grid)


def test_crosshair_is_linked_and_reads_all_maps(qtbot, grid):
    z = np.arange(64.0 * 64).reshape(64, 64) * 1e-12
    grid.set_tiles([state_of(scan_of(z), "a"), state_of(flat(3 * NM, 8), "b"), state_of(None, "c", status="waiting")])
    settle(qtbot, grid)
    heard = []
    grid.pointed.connect(heard.append)
    picture = grid.tile("a").picture
    x, y = (40.5 - 32) * 1e-8, (10.5 - 32) * 1e-8
    qtbot.mouseMove(picture, QPoint(*(round(p) for p in picture.view().to_screen(x, y))))
    assert heard[-1] == pytest.approx((x, y), abs=0.5 * grid.sync.scale * 1.01)
    assert grid.readings_at(x, y) == {"a": pytest.approx((10 * 64 + 40) * 1e-12), "b": None, "c": None}
    assert grid.readings_at(1e-8, 1e-8)["b"] == pytest.approx(3 * NM)
    other = grid.tile("b").picture
    image = other.grab().toImage()
    px, _ = other.view().to_screen(*heard[-1])
    column = {QColor(image.pixel(min(int(px + d), image.width() - 1), 30)).lightness() for d in (-1, 0, 1)}
    assert max(column) > 190  # the line runs through the other tile too


def test_a_click_chooses_and_a_drag_moves(qtbot, grid):
    grid.set_tiles([state_of(flat(0), "a"), state_of(flat(0), "b")])
    settle(qtbot, grid)
    chosen = []
    grid.chosen.connect(chosen.append)
    picture = grid.tile("b").picture
    qtbot.mouseClick(picture, Qt.MouseButton.LeftButton, pos=QPoint(40, 40))
    assert chosen == ["b"]
    assert grid.tile("b").hasFocus()
    qtbot.mousePress(picture, Qt.MouseButton.LeftButton, pos=QPoint(40, 40))
    qtbot.mouseMove(picture, QPoint(70, 60))
    qtbot.mouseRelease(picture, Qt.MouseButton.LeftButton, pos=QPoint(70, 60))
    assert chosen == ["b"]
    assert grid.sync.centre == pytest.approx((-30 * grid.sync.scale, -20 * grid.sync.scale))
    grid.sync.fit()
    assert grid.sync.centre == (0.0, 0.0)
    assert grid.sync.fitted
    settle(qtbot, grid)


def test_wheel_zooms_about_the_cursor(qtbot, grid):
    grid.set_tiles([state_of(flat(0), "a")])
    settle(qtbot, grid)
    picture = grid.tile("a").picture
    at = QPointF(30, 50)
    before = picture.view().to_map(at.x(), at.y())
    scale = grid.sync.scale
    none = Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier
    event = QWheelEvent(at, at, QPoint(), QPoint(0, 240), *none, Qt.ScrollPhase.NoScrollPhase, False)
    QApplication.sendEvent(picture, event)
    assert grid.sync.scale == pytest.approx(scale / 1.25**2)
    assert picture.view().to_map(at.x(), at.y()) == pytest.approx(before)
    settle(qtbot, grid)


def test_a_section_drawn_in_one_tile_is_drawn_in_all(qtbot, grid):
    grid.set_tiles([state_of(flat(0), "a"), state_of(flat(0), "b")])
    settle(qtbot, grid)
    drawn = []
    grid.section_drawn.connect(drawn.append)
    picture = grid.tile("a").picture
    plain = grid.tile("b").picture.grab().toImage()
    shift = Qt.KeyboardModifier.ShiftModifier
    qtbot.mousePress(picture, Qt.MouseButton.LeftButton, shift, QPoint(20, 20))
    qtbot.mouseMove(picture, QPoint(90, 70))
    qtbot.mouseRelease(picture, Qt.MouseButton.LeftButton, shift, QPoint(90, 70))
    view = picture.view()
    assert len(drawn) == 1
    assert drawn[0] == pytest.approx((*view.to_map(20, 20), *view.to_map(90, 70)))
    assert grid.tile("b").picture.grab().toImage() != plain
    grid.set_section(None)
    assert grid.tile("b").picture.grab().toImage() == plain


def test_zooming_in_shows_every_point_as_a_plain_square(qtbot, grid):
    z = np.zeros((2000, 2000))
    z[1000, 1000] = 10 * NM
    grid.set_tiles([state_of(scan_of(z, 1e-9))])
    settle(qtbot, grid)
    grid.sync.zoom(200, (0.5e-9, 0.5e-9))
    settle(qtbot, grid)
    picture = grid.tile("a").picture
    assert picture.shown is not None
    assert picture.shown.grid == (2000, 2000)
    size = 1e-9 / grid.sync.scale
    assert size > 8
    for dx in (-0.4, 0.0, 0.4):  # no blur up to the border of the point
        assert colour_at(grid, "a", (0.5 + dx) * 1e-9, 0.5e-9) == shade(255)
        assert colour_at(grid, "a", (1.5 + dx) * 1e-9, 0.5e-9) == shade(0)


def test_keyboard(qtbot, grid):
    grid.set_tiles([state_of(flat(0), "a", spots=("s1", "s2"))])
    settle(qtbot, grid)
    tile = grid.tile("a")
    tile.setFocus()
    heard = []
    for name in ("chosen", "remove_asked"):
        getattr(grid, name).connect(lambda key, name=name: heard.append((name, key)))
    grid.spot_asked.connect(lambda key, way: heard.append(("spot", key, way)))
    qtbot.keyClick(tile, Qt.Key.Key_Right)
    assert grid.sync.crosshair == pytest.approx((1e-8, 0.0))
    qtbot.keyClick(tile, Qt.Key.Key_Down, Qt.KeyboardModifier.ShiftModifier)
    assert grid.sync.crosshair == pytest.approx((1e-8, 1e-7))
    scale = grid.sync.scale
    qtbot.keyClick(tile, Qt.Key.Key_Plus)
    assert grid.sync.scale < scale
    qtbot.keyClick(tile, Qt.Key.Key_Minus)
    assert grid.sync.scale == pytest.approx(scale)
    qtbot.keyClick(tile, Qt.Key.Key_0)
    assert grid.sync.fitted
    for key in (Qt.Key.Key_Return, Qt.Key.Key_PageDown, Qt.Key.Key_PageUp, Qt.Key.Key_Delete):
        qtbot.keyClick(tile, key)
    assert heard == [("chosen", "a"), ("spot", "a", 1), ("spot", "a", -1), ("remove_asked", "a")]
    qtbot.keyClick(tile, Qt.Key.Key_Escape)
    assert grid.sync.crosshair is None
    settle(qtbot, grid)


def test_the_view_follows_the_crosshair_but_not_beyond_the_map(qtbot, grid):
    grid.set_tiles([state_of(flat(0), "a")])
    settle(qtbot, grid)
    tile = grid.tile("a")
    grid.sync.zoom(4)
    for _ in range(9):
        qtbot.keyClick(tile, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    x, y = grid.sync.crosshair
    assert x == pytest.approx(0.32e-6)  # the right border of 64 points 10 nm apart
    px, _ = tile.picture.view().to_screen(x, y)
    assert -1 <= px <= tile.picture.width() + 1
    settle(qtbot, grid)


def test_header_buttons(qtbot, grid):
    grid.set_tiles([state_of(flat(0), "a", spots=("s1", "s2"))])
    tile = grid.tile("a")
    heard = []
    grid.spot_asked.connect(lambda _key, way: heard.append(way))
    grid.remove_asked.connect(heard.append)
    for button in ("previous", "next", "remove"):
        centre = tile._header.buttons[button].center().toPoint()
        qtbot.mouseClick(tile, Qt.MouseButton.LeftButton, pos=centre)
    assert heard == [-1, 1, "a"]
    settle(qtbot, grid)


def test_refused_and_waiting_tiles_tell_it(qtbot, grid):
    grid.set_tiles(
        [
            TileState("r", "broken.tif", status="refused", message="The file ends early", fix="Copy it again."),
            TileState("w", "large.h5", status="waiting"),
        ]
    )
    settle(qtbot, grid)
    assert grid.tile("r").picture.isHidden()
    assert "The file ends early" in grid.tile("r").accessibleDescription()
    assert "Copy it again" in grid.tile("r").accessibleDescription()
    assert "Being read" in grid.tile("w").accessibleDescription()
    image = grid.tile("r").grab().toImage()
    reds = [QColor(image.pixel(11, y)) for y in range(60, 120)]
    assert any(c.red() > 180 and c.green() < 140 for c in reds)  # the red mark along the left side
    assert grid.readings_at(0.0, 0.0) == {"r": None, "w": None}


def test_a_waiting_tile_becomes_a_picture_in_place(qtbot, grid):
    grid.set_tiles([TileState("a", "a.tif", status="waiting"), state_of(flat(0), "b")])
    tile = grid.tile("a")
    grid.set_tiles([state_of(flat(5 * NM), "a", rank=2, title="gold"), state_of(flat(0), "b")])
    assert grid.tile("a") is tile
    settle(qtbot, grid)
    assert colour_at(grid, "a", 1e-7, 1e-7) == pytest.approx(shade(127), abs=4)
    assert tile.accessibleName() == "gold, rank 2"


def test_a_state_differs_by_any_field_and_by_the_map_itself():
    one, twin = flat(0), flat(0)
    state = state_of(one, reading="Sq 1 nm")
    assert state.shows_same_as(replace(state))
    assert not state.shows_same_as(replace(state, reading="Sq 2 nm"))
    assert not state.shows_same_as(replace(state, chips=(("step", "amber"),)))
    assert not state.shows_same_as(replace(state, scan=twin))
    assert not state.shows_same_as(replace(state, scan=None))


def test_order_follows_the_states(qtbot, grid):
    grid.set_tiles([state_of(flat(0), key) for key in "abc"])
    settle(qtbot, grid)
    grid.set_tiles([state_of(flat(0), key) for key in "cab"])
    assert grid.keys == ["c", "a", "b"]
    assert grid.tile("c").x() < grid.tile("a").x()
    settle(qtbot, grid)


@pytest.mark.parametrize("count", [1, 6, 18, 60])
def test_any_number_of_tiles_finds_room(qtbot, grid, count):
    grid.resize(1000, 700)
    grid.set_tiles([state_of(flat(0, 16), str(i)) for i in range(count)])
    settle(qtbot, grid)
    boxes = [grid.tile(key).geometry() for key in grid.keys]
    assert all(not a.intersects(b) for i, a in enumerate(boxes) for b in boxes[:i])
    assert max(box.right() for box in boxes) < grid.viewport().width()
    sides = [(grid.tile(key).picture.width(), grid.tile(key).picture.height()) for key in grid.keys]
    assert all(abs(w - h) <= 1 for w, h in sides)
    assert min(sides)[0] >= 88


def test_tiles_out_of_sight_are_worked_out_when_scrolled_to(qtbot, grid):
    grid.set_tiles([state_of(flat(0, 16), str(i)) for i in range(60)])
    settle(qtbot, grid)
    assert grid.tile("0").picture.shown is not None
    assert grid.tile("59").picture.shown is None
    grid.verticalScrollBar().setValue(grid.verticalScrollBar().maximum())
    settle(qtbot, grid)
    assert grid.tile("59").picture.shown is not None


def test_stale_and_busy_readings_are_pale(qtbot, grid):
    grid.set_tiles([state_of(flat(0), "a", reading="Sq 0.12 nm"), state_of(flat(0), "b", reading="Sq 0.12 nm")])
    settle(qtbot, grid)

    def darkest(key: str) -> int:
        tile = grid.tile(key)
        image = tile.grab(tile._footer_place().toAlignedRect()).toImage()
        return min(QColor(image.pixel(x, y)).lightness() for x in range(80) for y in range(image.height()))

    fresh = darkest("a")
    grid.set_busy(True)
    assert darkest("a") > fresh + 30
    grid.set_busy(False)
    assert darkest("a") == fresh
    grid.set_tiles([state_of(grid.tile("a").state.scan, "a", reading="Sq 0.12 nm", status="stale")])
    assert darkest("a") > fresh + 30
    assert not grid.tile("a").picture.isHidden()
    assert "Out of date" in grid.tile("a").accessibleDescription()
    settle(qtbot, grid)


def test_the_same_state_again_works_out_nothing(qtbot, grid):
    states = [state_of(flat(0, 256), "a")]
    grid.set_tiles(states)
    settle(qtbot, grid)
    before = grid.tile("a").picture.shown
    grid.set_tiles([replace(states[0], reading="Sq 1 nm")])
    settle(qtbot, grid)
    assert grid.tile("a").picture.shown is before


def test_removed_tiles_free_their_maps(qtbot, grid):
    scans = [flat(i * NM, 300, name=str(i)) for i in range(3)]
    maps = [weakref.ref(scan) for scan in scans]
    grid.set_tiles([state_of(scan, scan.name) for scan in scans])
    settle(qtbot, grid)
    grid.sync.zoom(5)
    settle(qtbot, grid)
    tiles = [weakref.ref(grid.tile(key)) for key in grid.keys]
    del scans
    grid.set_tiles([])

    def gone() -> bool:
        gc.collect()
        return not any(ref() for ref in maps + tiles)

    qtbot.waitUntil(gone)


def test_nothing_heavy_is_done_on_the_gui_thread(qtbot, grid, monkeypatch):
    threads = {}

    def noting(name, function):
        def noted(*arguments, **more):
            threads.setdefault(name, set()).add(threading.current_thread() is threading.main_thread())
            return function(*arguments, **more)

        return noted

    monkeypatch.setattr(levels_module, "level", noting("level", levels_module.level))
    monkeypatch.setattr(tile_module, "clipped", noting("clipped", tile_module.clipped))
    monkeypatch.setattr(tile_module, "own_limits", noting("own_limits", tile_module.own_limits))
    grid.set_shared(False)
    grid.set_tiles([state_of(flat(0, 300), "a")])
    settle(qtbot, grid)
    grid.sync.zoom(8)
    settle(qtbot, grid)
    assert threads == {"level": {False}, "clipped": {False}, "own_limits": {False}}


def test_a_level_of_a_former_map_that_comes_late_is_dropped(qtbot, grid, monkeypatch):
    former, later = flat(5 * NM, 32), flat(20 * NM, 32)
    go_on, working = threading.Event(), threading.Event()
    reduce = levels_module.level

    def slow(scan, *arguments):
        if scan is former:
            working.set()
            assert go_on.wait(20)
        return reduce(scan, *arguments)

    monkeypatch.setattr(levels_module, "level", slow)
    grid.set_tiles([state_of(former, "a")])
    qtbot.waitUntil(working.is_set)
    grid.set_tiles([state_of(later, "a")])
    picture = grid.tile("a").picture
    qtbot.waitUntil(lambda: picture.shown is not None)
    go_on.set()
    settle(qtbot, grid)
    assert picture.shown.origin == 20 * NM
    assert colour_at(grid, "a", 1e-7, 1e-7) == OVER


def test_what_fails_in_the_background_is_heard_of(qtbot, grid, monkeypatch):
    def fail(*_arguments):
        raise MemoryError("no room")

    monkeypatch.setattr(levels_module, "level", fail)
    with qtbot.captureExceptions() as caught:
        grid.set_tiles([state_of(flat(0, 32), "a")])
        qtbot.waitUntil(lambda: bool(caught))
        settle(qtbot, grid)
    assert caught[0][0] is MemoryError
    monkeypatch.undo()
    grid.sync.zoom(1.1)  # the next look asks again
    settle(qtbot, grid)
    assert grid.tile("a").picture.shown is not None


@pytest.fixture
def any_theme(qapp):
    pin, palette, sheet, style = theme().pin, qapp.palette(), qapp.styleSheet(), qapp.style().objectName()
    yield theme()
    theme().set_pin(pin)
    qapp.setPalette(palette)
    qapp.setStyleSheet(sheet)
    qapp.setStyle(style)


def test_cards_follow_the_theme_and_heights_do_not(qtbot, grid, any_theme):
    grid.set_tiles([state_of(flat(5 * NM), "a")])
    settle(qtbot, grid)
    tile = grid.tile("a")
    cards, heights = [], []
    for pin in ("light", "dark"):
        any_theme.set_pin(pin)
        QApplication.processEvents()
        image = tile.grab().toImage()
        cards.append(QColor(image.pixel(int(6 * image.devicePixelRatio()), image.height() // 2)).name())
        assert cards[-1] == colour("card").name()
        heights.append(colour_at(grid, "a", 1e-7, 1e-7))
    assert cards[0] != cards[1]
    assert heights[0] == heights[1]


def test_closing_while_levels_are_worked_out(qtbot):
    made = TileGrid()
    qtbot.addWidget(made)
    made.resize(600, 500)
    made.show()
    rng = np.random.default_rng(0)
    made.set_tiles([state_of(scan_of(rng.standard_normal((1500, 1500)) * NM), str(i)) for i in range(4)])
    qtbot.waitUntil(lambda: any(made.tile(key).waits for key in made.keys))
