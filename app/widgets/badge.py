"""The badge of a specimen: its colour, and its rank in it."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.theme import text_font
from app.tiles.ink import readable_on

SIDE = 19.0
RADIUS = 4.5


class Badge(QWidget):
    """A small square in the colour of a specimen with a number in it.

    Parameters
    ----------
    ink : str
        ``#RRGGBB``.
    text : str
        The rank; may be empty.
    """

    def __init__(self, ink: str, text: str = "") -> None:
        super().__init__()
        self._ink, self._text = QColor(ink), text
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.setFixedSize(self.sizeHint())

    def sizeHint(self) -> QSize:
        return QSize(int(SIDE) + 1, int(SIDE) + 1)

    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        draw_badge(painter, QRectF(0.5, 0.5, SIDE, SIDE), self._ink, self._text)
        painter.end()


def draw_badge(painter: QPainter, place: QRectF, ink: QColor, text: str) -> None:
    """Draw it."""
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(ink)
    painter.drawRoundedRect(place, RADIUS, RADIUS)
    painter.setFont(text_font(8.5, strong=True))
    painter.setPen(readable_on(ink))
    painter.drawText(place, Qt.AlignmentFlag.AlignCenter, text)
