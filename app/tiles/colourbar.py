"""The colour bar beside a picture: the height colours, the caps for what lies outside, and the two end values."""

from __future__ import annotations

from functools import cache

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QPolygonF

from app.theme import colour
from app.tiles.ink import put
from core.colours import OVER, UNDER, height_table
from core.units import format_number

WIDTH = 12.0
CAP = 7.0
TEXT = 16.0


@cache
def _strip() -> QImage:
    """The height colours as an image one pixel wide, highest on top."""
    rgb = np.ascontiguousarray(height_table()[::-1])
    return QImage(rgb.tobytes(), 1, len(rgb), 3, QImage.Format.Format_RGB888).copy()


def end_text(metres: float, span: float) -> str:
    """An end of the range in nm, with as many digits as the span makes meaningful.

    >>> end_text(40e-9, 40e-9), end_text(-3.1234e-10, 6e-10), end_text(0.0, 1e-9)
    ('40', '−0.312', '0')
    """
    nanometres = metres * 1e9
    digits = 3 if abs(metres) <= 10 * span else 5
    return format_number(nanometres, digits=digits).replace("-", "−")


def strip_place(place: QRectF) -> QRectF:
    """Where colours and caps are in a column."""
    return QRectF(place.left(), place.top() + TEXT, WIDTH, max(0.0, place.height() - 2 * TEXT))


def end_places(place: QRectF) -> tuple[QRectF, QRectF]:
    """Where the values of the upper and the lower end are."""
    top = QRectF(place.left(), place.top() - 1, place.width(), TEXT)
    return top, QRectF(place.left(), place.bottom() - TEXT + 1, place.width(), TEXT)


def draw_strip(painter: QPainter, place: QRectF) -> None:
    """Draw the colours and the two caps."""
    strip = strip_place(place)
    bar = strip.adjusted(0, CAP, 0, -CAP)
    if bar.height() < 8:
        return
    painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
    painter.drawImage(bar, _strip())
    beside = QRectF(bar.right() + 6, bar.center().y() - TEXT / 2, place.right() - bar.right() - 6, TEXT)
    put(painter, beside, "nm", colour("muted"), 8.5)
    _cap(painter, bar.left(), bar.top(), -CAP, QColor(*OVER))
    _cap(painter, bar.left(), bar.bottom(), CAP, QColor(*UNDER))


def draw_ends(painter: QPainter, place: QRectF, limits: tuple[float, float]) -> None:
    """Draw the values of both ends."""
    low, high = limits
    top, bottom = end_places(place)
    ink = colour("muted")
    put(painter, top, end_text(high, high - low), ink, 8.5)
    put(painter, bottom, end_text(low, high - low), ink, 8.5)


def _cap(painter: QPainter, x: float, y: float, reach: float, ink: QColor) -> None:
    """A triangle in the colour of what lies beyond this end."""
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(ink)
    gap = 1.5 if reach > 0 else -1.5
    points = [QPointF(x, y + gap), QPointF(x + WIDTH, y + gap), QPointF(x + WIDTH / 2, y + reach)]
    painter.drawPolygon(QPolygonF(points))
