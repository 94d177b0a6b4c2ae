"""The share of virtual particles that were found, by diameter, one line for each specimen."""

from __future__ import annotations

import math
from collections.abc import Sequence

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.theme import colour
from app.tiles.ink import metrics, put
from app.widgets.parts import SMALL
from core.fitness.trial import Trial
from core.units import display_unit, format_length, format_number, metres_per

LEFT, RIGHT, TOP, BOTTOM = 38.0, 10.0, 8.0, 32.0
WANTED = 0.95
POINTS = SMALL - 0.5


class RecallPlot(QWidget):
    """Recall against diameter, with the 95 % that is asked for.

    Parameters
    ----------
    trials : sequence of (Trial, str)
        Each with the colour of its specimen.
    """

    def __init__(self, trials: Sequence[tuple[Trial, str]]) -> None:
        super().__init__()
        self.lines = [(curve(one), QColor(ink)) for one, ink in trials if one.reliable.curve or one.by_diameter]
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Share found by diameter")
        told = [
            f"{one.specimen}: " + ", ".join(f"{format_length(d)} {100 * r:.0f} %" for d, r in curve(one))
            for one, _ in trials
        ]
        self.setAccessibleDescription("; ".join(told))

    def sizeHint(self) -> QSize:
        return QSize(220, 150)

    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        place = QRectF(self.rect()).adjusted(LEFT, TOP, -RIGHT, -BOTTOM)
        largest = max((d for line, _ in self.lines for d, _ in line), default=1e-9)
        for share in (0.0, 0.5, WANTED, 1.0):
            y = place.bottom() - share * place.height()
            style = Qt.PenStyle.DashLine if share == WANTED else Qt.PenStyle.SolidLine
            painter.setPen(QPen(colour("muted" if share == WANTED else "border"), 1, style))
            painter.drawLine(QPointF(place.left(), y), QPointF(place.right(), y))
            if share != 1.0:
                text = QRectF(0, y - 8, LEFT - 6, 16)
                put(painter, text, f"{100 * share:.0f} %", colour("muted"), POINTS, align=Qt.AlignmentFlag.AlignRight)
        self._draw_axis(painter, place, largest)
        for line, ink in self.lines:
            points = [
                QPointF(place.left() + d / largest * place.width(), place.bottom() - r * place.height())
                for d, r in line
            ]
            painter.setPen(QPen(ink, 1.8))
            painter.drawPolyline(points)
            painter.setPen(QPen(colour("card"), 1))
            painter.setBrush(ink)
            for point in points:
                painter.drawEllipse(point, 3, 3)
        painter.end()

    def _draw_axis(self, painter: QPainter, place: QRectF, largest: float) -> None:
        unit = display_unit(largest)
        size = metres_per(unit)
        step = _round_step(largest / size / 6)
        for number in range(int(largest / size / step + 1e-9) + 1):
            x = place.left() + number * step * size / largest * place.width()
            text = format_number(number * step)
            wide = metrics(POINTS).horizontalAdvance(text) + 2
            place_of_text = QRectF(min(x - wide / 2, self.width() - wide), place.bottom() + 2, wide, 14)
            put(painter, place_of_text, text, colour("muted"), POINTS)
        named = QRectF(place.left(), place.bottom() + 15, place.width(), 15)
        text = f"diameter of the particle, {unit}"
        put(painter, named, text, colour("muted"), POINTS, align=Qt.AlignmentFlag.AlignHCenter)


def curve(one: Trial) -> list[tuple[float, float]]:
    """Diameters and shares found: those that were asked for and those of the curve, in order."""
    found = {row.diameter: row.recall for row in one.by_diameter if row.recall is not None}
    found |= {diameter: hits / dropped for diameter, dropped, hits in one.reliable.curve if dropped}
    return sorted(found.items())


def _round_step(wish: float) -> float:
    """1, 2 or 5 times a power of ten, not below a wish."""
    decade = 10.0 ** math.floor(math.log10(max(wish, 1e-12)))
    return next((factor * decade for factor in (1, 2, 5) if factor * decade >= wish * 0.999), 10 * decade)
