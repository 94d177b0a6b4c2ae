"""What every window test has to keep: nothing of it may be left behind. (Slot exceptions fail a test by pytest-qt.)"""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QCoreApplication, QEvent, QObject, QSettings, QThread, QThreadPool, QTimer
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot
from shiboken6 import isValid

from app.shell.window import Window
from app.theme import theme
from core.formats import write
from core.heightmap import HeightMap

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")  # read when the application is made


@pytest.fixture(autouse=True)
def nothing_left_behind(request: pytest.FixtureRequest) -> Iterator[None]:
    """Fails a test that leaves a window, a running timer or a working thread.

    Widgets that qtbot knows are closed before this looks.
    """
    if not {"qapp", "qtbot"} & set(request.fixturenames):
        yield
        return
    request.getfixturevalue("qapp")
    windows = set(QApplication.topLevelWidgets())
    yield
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    QApplication.processEvents()
    gc.collect()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    left = [widget for widget in QApplication.topLevelWidgets() if widget not in windows and not _tip(widget)]
    left += [thing for thing in gc.get_objects() if _busy(thing)]
    assert not left, f"left behind: {left}"


def _tip(widget: QObject) -> bool:
    """Qt keeps its tool tip and its popup shadows itself."""
    return widget.metaObject().className() in ("QTipLabel", "QComboBoxPrivateContainer")


def _busy(thing: object) -> bool:
    if not isinstance(thing, QTimer | QThread | QThreadPool) or not isValid(thing):
        return False
    if isinstance(thing, QTimer):
        return thing.isActive()
    if isinstance(thing, QThread):
        return thing.isRunning() and thing is not QCoreApplication.instance().thread()
    return thing.activeThreadCount() > 0 and thing is not QThreadPool.globalInstance()


@pytest.fixture
def own_settings(tmp_path: Path) -> Path:
    """A settings file and a place for autosaves of the test's own: never the user's."""
    QSettings.setPath(QSettings.Format.IniFormat, QSettings.Scope.UserScope, str(tmp_path / "settings"))
    return tmp_path


@pytest.fixture
def scan_files(tmp_path: Path) -> list[Path]:
    """Six scans of two specimens: “mica”, rough by 0.2 nm, and “film”, rough by 2 nm; 48 × 48 points, 10 nm apart."""
    rng = np.random.default_rng(7)
    folder = tmp_path / "scans"
    folder.mkdir()
    files = []
    for specimen, rough in (("mica", 0.2e-9), ("film", 2e-9)):
        for spot in (1, 2, 3):
            z = rough * (1 + 0.03 * spot) * rng.standard_normal((48, 48))
            path = folder / f"{specimen} spot {spot}.x3p"
            write(HeightMap(z, pitch=(1e-8, 1e-8)), path)
            files.append(path)
    return files


@pytest.fixture
def window(qtbot: QtBot, own_settings: Path) -> Iterator[Window]:
    """The whole window, empty, on show."""
    theme().set_pin("light")
    theme().install(QApplication.instance())
    made = Window(samples=lambda _: [], autosave=own_settings / "autosave")
    made.show()
    qtbot.waitExposed(made)
    yield made
    made.document.stack.setClean()
    made.close()
    made.deleteLater()


@pytest.fixture
def filled(window: Window, scan_files: list[Path], qtbot: QtBot) -> Window:
    """The window with the six scans compared."""
    window.document.add_files(scan_files)
    qtbot.waitUntil(lambda: window.document.up_to_date and not window.document.busy, timeout=20_000)
    return window
