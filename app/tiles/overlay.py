"""What lies over the picture of a tile: as large as the picture, blind to the mouse, in the picture's view."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from app.tiles.picture import Picture
from app.tiles.view import View


class Overlay(QWidget):
    """Draws over a picture and lets the mouse through to it. Nothing is drawn on an oblique relief, which has no view.

    Parameters
    ----------
    picture : Picture
        It is as large as this, and follows its view.
    """

    def __init__(self, picture: Picture) -> None:
        super().__init__(picture)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setAttribute(Qt.WidgetAttribute.WA_NoSystemBackground)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._picture = picture
        picture.installEventFilter(self)
        self.hide()

    def draw(self, painter: QPainter, view: View) -> None:
        """What lies over the picture."""
        raise NotImplementedError

    def show_if(self, something: bool) -> None:
        """Lie over the whole picture, or be hidden where there is nothing to draw."""
        self.setGeometry(self._picture.rect())
        self.setVisible(something)
        self.update()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() == QEvent.Type.Resize:
            self.setGeometry(self._picture.rect())
        return super().eventFilter(watched, event)

    def paintEvent(self, _: QPaintEvent) -> None:
        if self._picture.oblique:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self.draw(painter, self._picture.view())
        painter.end()
