"""Masks and looks drawn with the mouse and the keyboard on the tiles of a real window."""

from __future__ import annotations

from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest

from app.shell.window import Window

WAIT = 20_000


def drag(window: Window, start: tuple[int, int], end: tuple[int, int], key: str = "") -> str:
    """Drag over the picture of a tile by pixels from its middle; says which tile."""
    key = key or window.grid.keys[0]
    picture = window.grid.tile(key).picture
    middle = picture.rect().center()
    QTest.mousePress(picture, Qt.MouseButton.LeftButton, pos=middle + QPoint(*start))
    QTest.mouseMove(picture, middle + QPoint(*end))
    QTest.mouseRelease(picture, Qt.MouseButton.LeftButton, pos=middle + QPoint(*end))
    return key


def settled(window: Window) -> bool:
    return window.document.up_to_date and not window.document.busy and window.hand.settled


def shapes(window: Window) -> list[str]:
    return [shape.kind for scan in window.document.bench.scans for shape in scan.shapes]


def test_a_rectangle_is_masked_undone_and_redone(filled: Window, qtbot) -> None:
    before = filled.document.bench
    filled.hand.take("rectangle")
    drag(filled, (-20, -20), (20, 20))
    qtbot.waitUntil(lambda: shapes(filled) == ["rectangle"] and settled(filled), timeout=WAIT)
    (scan,) = [scan for scan in filled.document.bench.scans if scan.shapes]
    made = filled.document.comparison.scans_by_name[scan.name]
    assert made.treated.masked_fraction == scan.raw.masked_fraction > 0
    assert filled.document.stack.undoText().startswith("mask a rectangle")
    filled.document.stack.undo()
    assert filled.document.bench is before
    filled.document.stack.redo()
    qtbot.waitUntil(lambda: settled(filled), timeout=WAIT)
    filled.document.remove_shapes(scan.name, scan.shapes)
    qtbot.waitUntil(lambda: shapes(filled) == [] and settled(filled), timeout=WAIT)


def test_a_polygon_by_clicks_and_a_stroke(filled: Window, qtbot) -> None:
    filled.hand.take("polygon")
    picture = filled.grid.tile(filled.grid.keys[0]).picture
    middle = picture.rect().center()
    for x, y in ((-15, -15), (15, -15), (0, 15)):
        QTest.mouseClick(picture, Qt.MouseButton.LeftButton, pos=middle + QPoint(x, y))
    QTest.keyClick(filled.grid.tile(filled.grid.keys[0]), Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: shapes(filled) == ["polygon"] and settled(filled), timeout=WAIT)
    filled.hand.take("brush")
    drag(filled, (-10, 0), (10, 0), filled.grid.keys[1])
    qtbot.waitUntil(lambda: sorted(shapes(filled)) == ["brush", "polygon"] and settled(filled), timeout=WAIT)


def test_places_and_region_are_read_in_all_tiles_and_change_nothing(filled: Window, qtbot) -> None:
    bench = filled.document.bench
    filled.hand.take("points")
    drag(filled, (-20, 0), (20, 10))
    qtbot.waitUntil(lambda: len(filled.hand.looks) == 2, timeout=WAIT)
    assert all(look.between.rise is not None for look in filled.hand.looks)
    filled.hand.take("region")
    drag(filled, (-30, -30), (30, 30))
    qtbot.waitUntil(lambda: all(look.region for look in filled.hand.looks), timeout=WAIT)
    assert filled.document.bench is bench
    filled.hand.clear_looks()
    assert filled.hand.looks == []


def test_by_keyboard_and_given_up(filled: Window, qtbot) -> None:
    tile = filled.grid.tile(filled.grid.keys[0])
    tile.setFocus()
    filled.hand.take("rectangle")
    filled.grid.sync.point((-1e-7, -1e-7))
    QTest.keyClick(tile, Qt.Key.Key_Space)
    QTest.keyClick(tile, Qt.Key.Key_Escape)
    assert filled.hand.tool == "rectangle" and not filled.hand.draft
    QTest.keyClick(tile, Qt.Key.Key_Space)
    filled.grid.sync.point((1e-7, 1e-7))
    QTest.keyClick(tile, Qt.Key.Key_Space)
    qtbot.waitUntil(lambda: shapes(filled) == ["rectangle"] and settled(filled), timeout=WAIT)
    QTest.keyClick(tile, Qt.Key.Key_Escape)
    assert filled.hand.tool == ""
