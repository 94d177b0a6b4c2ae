"""What a claim speaks about and what the scans hold, on one logarithmic axis of lengths."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, QSize
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.theme import colour
from app.tiles.ink import fill, metrics, put
from app.widgets.parts import SMALL
from core.fitness.claims import Reach
from core.units import format_length

NAME = 42.0
LINE = 17.0
BAR = 8.0
POINTS = SMALL - 0.5


class ReachAxis(QWidget):
    """Two bars above an axis of decades; an open end of a claim fades into an arrow.

    Parameters
    ----------
    reach : Reach
        Both intervals.
    """

    def __init__(self, reach: Reach) -> None:
        super().__init__()
        self.reach = reach
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Reach")
        self.setAccessibleDescription(_spoken(reach))
        self.setToolTip(_spoken(reach))

    def sizeHint(self) -> QSize:
        return QSize(200, int(3 * LINE + 6))

    def place(self, metres: float) -> float:
        """Where a length is on the axis, pixels from the left."""
        low, high = (math.log10(end) for end in self.reach.axis)
        return NAME + (math.log10(metres) - low) / (high - low) * (self.width() - NAME - 8)

    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._draw_decades(painter)
        put(painter, QRectF(0, 0, NAME, LINE), "claim", colour("muted"), POINTS)
        self._draw_bar(painter, self.reach.claim, 0, colour("accent"))
        put(painter, QRectF(0, LINE, NAME, LINE), "scans", colour("muted"), POINTS)
        self._draw_bar(painter, self.reach.scan, LINE, colour("text"))
        painter.end()

    def _draw_decades(self, painter: QPainter) -> None:
        low, high = (round(math.log10(end)) for end in self.reach.axis)
        widest = metrics(POINTS).horizontalAdvance("100 µm") + 6
        every = max(1, math.ceil((high - low) * widest / max(1.0, self.width() - NAME - 8)))
        free = 0.0
        for decade in range(low, high + 1):
            x = self.place(float(f"1e{decade}"))
            painter.setPen(QPen(colour("border"), 1))
            painter.drawLine(QPointF(x, 1), QPointF(x, 2 * LINE + 2))
            if (decade - low) % every:
                continue
            text = format_length(float(f"1e{decade}"), digits=1)
            wide = metrics(POINTS).horizontalAdvance(text)
            left = min(max(x - wide / 2, free), self.width() - wide - 1)
            if left >= free:
                put(painter, QRectF(left, 2 * LINE + 3, wide + 1, LINE), text, colour("muted"), POINTS)
                free = left + wide + 6

    def _draw_bar(self, painter: QPainter, ends: tuple[float | None, float | None], top: float, ink: QColor) -> None:
        low, high = ends
        if low is None and high is None and ends == self.reach.claim:
            put(painter, QRectF(NAME + 4, top, self.width(), LINE), "says no length", colour("muted"), POINTS)
            return
        left = NAME if not low else self.place(low)
        right = self.width() - 8 if high is None or not math.isfinite(high) else self.place(high)
        middle = top + LINE / 2
        bar = QRectF(left, middle - BAR / 2, max(2.0, right - left), BAR)
        fill(painter, bar, ink, 2)
        if not low:
            _arrow(painter, QPointF(left - 1, middle), -1, ink)
        if high is None or not math.isfinite(high):
            _arrow(painter, QPointF(right + 1, middle), 1, ink)


def _arrow(painter: QPainter, tip: QPointF, way: int, ink: QColor) -> None:
    painter.setBrush(ink)
    base = tip.x() - 1 * way
    painter.drawPolygon(
        QPolygonF([QPointF(base, tip.y() - 6), QPointF(base + 6 * way, tip.y()), QPointF(base, tip.y() + 6)])
    )


def _spoken(reach: Reach) -> str:
    low, high = (None if not end else format_length(end) for end in reach.claim)
    covers = {"whole": "all of it", "part": "a part of it", "none": "nothing of it"}[reach.cover]
    claim = (
        "no length"
        if low is None and high is None
        else f"lengths from {low or 'the shortest'} to {high or 'the longest'}"
    )
    scan = " to ".join(format_length(end) for end in reach.scan)
    return f"The claim says {claim}; the scans hold {scan} and reach {covers}."
