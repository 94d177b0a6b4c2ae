"""What a tile shows instead of a map: that it is being read, or why it was refused and what to do."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QPainter, QPen

from app.theme import colour
from app.tiles.ink import fill, font, metrics, put
from app.tiles.state import TileState

WRAPPED = int(Qt.TextFlag.TextWordWrap | Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)


def draw_waiting(painter: QPainter, place: QRectF, text: str) -> None:
    """A quiet field with a sheet of lines and what is going on."""
    fill(painter, place, colour("window"), 4)
    middle = place.center()
    painter.setPen(QPen(colour("border"), 2, c=Qt.PenCapStyle.RoundCap))
    for i, share in enumerate((0.16, 0.22, 0.12)):
        y = middle.y() - 26 + 8 * i
        reach = share * min(place.width(), 240.0)
        painter.drawLine(QPointF(middle.x() - reach, y), QPointF(middle.x() + reach, y))
    words = QRectF(place.left() + 8, middle.y() + 4, place.width() - 16, 20)
    put(painter, words, text, colour("muted"), 9.0, align=Qt.AlignmentFlag.AlignHCenter)


def draw_refused(painter: QPainter, place: QRectF, state: TileState) -> None:
    """A red mark, the reason, the fix."""
    fill(painter, place, colour("window"), 4)
    painter.fillRect(QRectF(place.left(), place.top() + 4, 3, place.height() - 8), colour("red"))
    inner = place.adjusted(14, 12, -10, -8)
    _mark(painter, QPointF(inner.left() + 8, inner.top() + 8))
    title = QRectF(inner.left() + 24, inner.top() - 1, inner.width() - 24, 18)
    put(painter, title, "Refused", colour("red"), 9.5, strong=True)
    y = inner.top() + 26
    for text, role, strong in ((state.message, "text", False), (state.fix, "muted", False)):
        if text and y < inner.bottom() - 12:
            y = _paragraph(painter, QRectF(inner.left(), y, inner.width(), inner.bottom() - y), text, role, strong) + 8


def _paragraph(painter: QPainter, room: QRectF, text: str, role: str, strong: bool) -> float:
    """Draw wrapped text, cut with an ellipsis where the room ends; returns its lower end."""
    measure = metrics(9.0, strong=strong)
    needed = measure.boundingRect(room, WRAPPED, text)
    while needed.height() > room.height() and len(text) > 1:
        text = text[: max(1, int(len(text) * 0.9) - 1)].rstrip(" …") + "…"
        needed = measure.boundingRect(room, WRAPPED, text)
    painter.setFont(font(9.0, strong=strong))
    painter.setPen(colour(role))
    painter.drawText(room, WRAPPED, text)
    return needed.bottom()


def _mark(painter: QPainter, middle: QPointF) -> None:
    painter.setPen(QPen(colour("red"), 2, c=Qt.PenCapStyle.RoundCap))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawEllipse(middle, 8, 8)
    painter.drawLine(middle - QPointF(0, 4), middle + QPointF(0, 0.5))
    painter.drawPoint(middle + QPointF(0, 4))
