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


def draw_colour_bar(painter: QPainter, place: QRectF, limits: tuple[float, float]) -> None:
    """Draw the bar with its values in a column."""
    low, high = limits
    bar = QRectF(place.left(), place.top() + TEXT + CAP, WIDTH, place.height() - 2 * (TEXT + CAP))
    if bar.height() < 8:
        return
    painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
    painter.drawImage(bar, _strip())
    _cap(painter, bar.left(), bar.top(), -CAP, QColor(*OVER))
    _cap(painter, bar.left(), bar.bottom(), CAP, QColor(*UNDER))
    ink = colour("muted")
    top = QRectF(place.left(), place.top() - 1, place.width(), TEXT)
    bottom = QRectF(place.left(), place.bottom() - TEXT + 1, place.width(), TEXT)
    put(painter, top, end_text(high, high - low), ink, 8.5, align=Qt.AlignmentFlag.AlignLeft)
    put(painter, bottom, f"{end_text(low, high - low)} nm", ink, 8.5, align=Qt.AlignmentFlag.AlignLeft)


def _cap(painter: QPainter, x: float, y: float, reach: float, ink: QColor) -> None:
    """A triangle in the colour of what lies beyond this end."""
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(ink)
    gap = 1.5 if reach > 0 else -1.5
    points = [QPointF(x, y + gap), QPointF(x + WIDTH, y + gap), QPointF(x + WIDTH / 2, y + reach)]
    painter.drawPolygon(QPolygonF(points))
