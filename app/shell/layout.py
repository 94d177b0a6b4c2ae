"""Where things stand in the window, and how that is remembered from one day to the next."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QByteArray, QRect, QSettings, QSize, Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QMainWindow, QTabWidget

from app.docks.dock import Dock

VERSION = 2  # of the dock state; another one falls back on the default places
LEFT, BOTTOM, RIGHT = 236, 206, 428
FIRST_SIZE, FRAME = QSize(1500, 940), QSize(4, 32)


def settings() -> QSettings:
    """The file in which window and theme are remembered."""
    return QSettings(QSettings.Format.IniFormat, QSettings.Scope.UserScope, "lowrelief", "lowrelief")


def first_size() -> QSize:
    """Size of the window at its very first start: comfortable, with room for its frame."""
    screen = QGuiApplication.primaryScreen()
    room = QSize(1440, 900) if screen is None else screen.availableGeometry().size() - FRAME
    return FIRST_SIZE.boundedTo(room)


def place_docks(
    window: QMainWindow, treatment: Dock, curves: Dock, standing: Dock, explain: Dock, behind: Sequence[Dock]
) -> None:
    """The default places: treatment left, standing right from top to bottom, curves below treatment and tiles.

    The panels `behind` share the place of the standing, each with a tab.
    """
    window.setTabPosition(Qt.DockWidgetArea.RightDockWidgetArea, QTabWidget.TabPosition.North)
    area = Qt.DockWidgetArea
    window.setCorner(Qt.Corner.BottomRightCorner, area.RightDockWidgetArea)
    window.setCorner(Qt.Corner.TopRightCorner, area.RightDockWidgetArea)
    window.setCorner(Qt.Corner.BottomLeftCorner, area.BottomDockWidgetArea)
    window.addDockWidget(area.LeftDockWidgetArea, treatment)
    window.addDockWidget(area.RightDockWidgetArea, standing)
    window.addDockWidget(area.RightDockWidgetArea, explain)
    window.addDockWidget(area.BottomDockWidgetArea, curves)
    for dock in behind:
        window.tabifyDockWidget(standing, dock)
    standing.raise_()
    explain.hide()
    wide = window.width()
    window.resizeDocks([treatment, standing], [min(LEFT, wide // 4), min(RIGHT, wide // 3)], Qt.Orientation.Horizontal)
    window.resizeDocks([curves], [min(BOTTOM, window.height() // 4)], Qt.Orientation.Vertical)


def remember(window: QMainWindow) -> None:
    """Keep size and places for the next start."""
    kept = settings()
    kept.setValue("window/geometry", window.saveGeometry())
    kept.setValue("window/docks", window.saveState(VERSION))


def restore(window: QMainWindow) -> bool:
    """Bring back size and places; False where there is nothing, or nothing usable, to bring back."""
    kept = settings()
    geometry, docks = kept.value("window/geometry"), kept.value("window/docks")
    if not isinstance(geometry, QByteArray) or not window.restoreGeometry(geometry):
        return False
    keep_on_screen(window)
    return isinstance(docks, QByteArray) and window.restoreState(docks, VERSION)


def keep_on_screen(window: QMainWindow) -> None:
    """A window whose screen is gone comes back to the first one."""
    frame = window.frameGeometry()
    rooms = [screen.availableGeometry() for screen in QGuiApplication.screens()]
    head = QRect(frame.left(), frame.top(), frame.width(), 40)  # the part by which it can be moved
    if rooms and not any(room.intersects(head) and room.contains(head.center()) for room in rooms):
        size = frame.size().boundedTo(rooms[0].size())
        window.resize(size)
        window.move(rooms[0].topLeft())
