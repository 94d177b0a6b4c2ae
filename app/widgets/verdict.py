"""A verdict in words with its own sign: nothing here hangs on colour alone."""

from __future__ import annotations

from typing import Literal

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.theme import colour, text_font
from app.widgets.parts import SMALL

Sign = Literal["tick", "ring", "care", "cross", "dash"]

INKS: dict[Sign, tuple[str, str]] = {
    "tick": ("good", "good-wash"),
    "ring": ("text", "hover"),
    "care": ("amber", "amber-wash"),
    "cross": ("red", "red-wash"),
    "dash": ("muted", "hover"),
}

SIGN = 13.0


class Verdict(QWidget):
    """A rounded field with a sign and a few words.

    Parameters
    ----------
    sign : {"tick", "ring", "care", "cross", "dash"}
        Yes; not no; take care; no; cannot be said.
    text : str
        The verdict.
    """

    def __init__(self, sign: Sign, text: str) -> None:
        super().__init__()
        self.sign, self.text = sign, text
        self.setFont(text_font(SMALL, strong=True))
        self.setAccessibleName(text)
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:
        metrics = self.fontMetrics()
        return QSize(metrics.horizontalAdvance(self.text) + int(SIGN) + 20, metrics.height() + 5)

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def paintEvent(self, _: QPaintEvent) -> None:
        ink, wash = (colour(role) for role in INKS[self.sign])
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        field = QRectF(self.rect()).adjusted(0.5, 0.5, -0.5, -0.5)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(wash)
        painter.drawRoundedRect(field, field.height() / 2, field.height() / 2)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        pen = QPen(ink, 1.7)
        pen.setCapStyle(Qt.PenCapStyle.RoundCap)
        pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
        painter.setPen(pen)
        draw_sign(painter, self.sign, QPointF(14, field.center().y()))
        painter.drawText(field.adjusted(SIGN + 11, 0, -6, 0), Qt.AlignmentFlag.AlignVCenter, self.text)
        painter.end()


def draw_sign(painter: QPainter, sign: Sign, centre: QPointF) -> None:
    """Draw a sign about a point with the pen that is set."""
    x, y = centre.x(), centre.y()
    if sign == "tick":
        painter.drawPolyline(QPolygonF([QPointF(x - 4, y + 0.5), QPointF(x - 1, y + 3.5), QPointF(x + 4.5, y - 3.5)]))
    elif sign == "ring":
        painter.drawEllipse(centre, 4, 4)
    elif sign == "care":
        painter.drawPolygon(QPolygonF([QPointF(x - 5, y + 4), QPointF(x + 5, y + 4), QPointF(x, y - 5)]))
        painter.drawLine(QPointF(x, y - 1.2), QPointF(x, y + 1.2))
    elif sign == "cross":
        painter.drawLine(QPointF(x - 3.5, y - 3.5), QPointF(x + 3.5, y + 3.5))
        painter.drawLine(QPointF(x - 3.5, y + 3.5), QPointF(x + 3.5, y - 3.5))
    else:
        painter.drawLine(QPointF(x - 4, y), QPointF(x + 4, y))
