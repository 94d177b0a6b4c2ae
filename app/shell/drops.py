"""Files dropped anywhere on the window, whatever child widget the pointer is over."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QEvent, QMimeData, QObject, QRect, Qt, Signal
from PySide6.QtGui import QDragEnterEvent, QDragMoveEvent, QDropEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from app.theme import colour, text_font


def dropped_paths(data: QMimeData) -> list[Path]:
    """The local files and folders in what is dragged."""
    return [Path(url.toLocalFile()) for url in data.urls() if url.isLocalFile()]


class DropZone(QObject):
    """Takes file drops for whole windows: child widgets that want no drops pass them up to their window.

    Signals
    -------
    dropped(list of Path)
        Files and folders, in the order of the drag.
    """

    dropped = Signal(object)

    def __init__(self, window: QWidget) -> None:
        super().__init__(window)
        self._veil = Veil(window)
        self.cover(window)

    def cover(self, window: QWidget) -> None:
        """Take the drops on this window too (a dock that floats is a window of its own)."""
        window.setAcceptDrops(True)
        window.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        kind = event.type()
        if kind in (QEvent.Type.DragEnter, QEvent.Type.DragMove):
            return self._hover(event)
        if kind == QEvent.Type.DragLeave:
            self._veil.hide()
        elif kind == QEvent.Type.Drop and isinstance(event, QDropEvent):
            return self._drop(event)
        return super().eventFilter(watched, event)

    def _hover(self, event: QEvent) -> bool:
        if not isinstance(event, QDragEnterEvent | QDragMoveEvent) or not dropped_paths(event.mimeData()):
            return False
        event.setDropAction(Qt.DropAction.CopyAction)  # raw files stay where they are
        event.accept()
        self._veil.cover()
        return True

    def _drop(self, event: QDropEvent) -> bool:
        self._veil.hide()
        paths = dropped_paths(event.mimeData())
        if not paths:
            return False
        event.setDropAction(Qt.DropAction.CopyAction)
        event.accept()
        self.dropped.emit(paths)
        return True


class Veil(QWidget):
    """What lies over the window while files are held above it."""

    def __init__(self, window: QWidget) -> None:
        super().__init__(window)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.hide()

    def cover(self) -> None:
        """Lie over the whole window."""
        parent = self.parentWidget()
        if parent is not None and not self.isVisible():
            self.setGeometry(QRect(0, 0, parent.width(), parent.height()))
            self.raise_()
            self.show()

    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        wash = colour("panel")
        wash.setAlphaF(0.82)
        painter.fillRect(self.rect(), wash)
        painter.setPen(QPen(colour("accent"), 2, Qt.PenStyle.DashLine))
        painter.drawRoundedRect(self.rect().adjusted(12, 12, -12, -12), 12, 12)
        painter.setPen(colour("text"))
        painter.setFont(text_font(15, strong=True))
        painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, "Drop scans, folders or a bench file")
        painter.end()
