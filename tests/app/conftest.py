"""What every window test has to keep: nothing of it may be left behind. (Slot exceptions fail a test by pytest-qt.)"""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest
from PySide6.QtCore import QCoreApplication, QEvent, QObject, QThread, QThreadPool, QTimer
from PySide6.QtWidgets import QApplication
from shiboken6 import isValid


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
