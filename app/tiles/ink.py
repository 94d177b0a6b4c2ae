"""Small pieces of drawing that several parts of a tile share: fonts, plates, pills, lines that show on any height."""

from __future__ import annotations

from functools import cache

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPen

from app.theme import colour, text_font

PLATE = QColor(8, 12, 24, 150)  # beneath white text on a map: a colour of data, the same in both themes
LIGHT = QColor(255, 255, 255)
SHADE = QColor(0, 0, 0, 110)


@cache
def font(points: float = 9.5, *, strong: bool = False) -> QFont:
    """The typeface of the program in one size; made once, for making it looks through all families."""
    return text_font(points, strong=strong)


@cache
def metrics(points: float = 9.5, *, strong: bool = False) -> QFontMetricsF:
    """The measures of that font."""
    return QFontMetricsF(font(points, strong=strong))


def put(
    painter: QPainter,
    place: QRectF,
    text: str,
    ink: QColor,
    points: float = 9.5,
    *,
    strong: bool = False,
    align: Qt.AlignmentFlag = Qt.AlignmentFlag.AlignLeft,
) -> float:
    """Draw a line of text, elided where it does not fit; returns the width it took."""
    measure = metrics(points, strong=strong)
    across = measure.horizontalAdvance(text)
    if across > place.width() + 0.5:
        text = measure.elidedText(text, Qt.TextElideMode.ElideRight, place.width())
        across = place.width()
    painter.setFont(font(points, strong=strong))
    painter.setPen(ink)
    painter.drawText(place, align | Qt.AlignmentFlag.AlignVCenter, text)
    return across


def fill(painter: QPainter, place: QRectF, ink: QColor, radius: float) -> None:
    """A filled rectangle with round corners."""
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(ink)
    painter.drawRoundedRect(place, radius, radius)


def pill_width(text: str) -> float:
    """Width of a pill with this text."""
    return metrics(8.0).horizontalAdvance(text) + 14


def pill(painter: QPainter, place: QRectF, text: str, level: str) -> None:
    """A short remark in a rounded field: quiet, amber or red."""
    wash, ink = {"amber": ("amber-wash", "amber"), "red": ("red-wash", "red")}.get(level, ("hover", "muted"))
    fill(painter, place, colour(wash), place.height() / 2)
    put(painter, place.adjusted(6, 0, -6, 0), text, colour(ink), 8.0, align=Qt.AlignmentFlag.AlignHCenter)


def halo_line(painter: QPainter, start: QPointF, end: QPointF, width: float = 1.0, ink: QColor = LIGHT) -> None:
    """A line that is seen on dark and on light heights."""
    painter.setPen(QPen(SHADE, width + 2))
    painter.drawLine(start, end)
    painter.setPen(QPen(ink, width))
    painter.drawLine(start, end)


def readable_on(background: QColor) -> QColor:
    """Black or white, whichever stands out more (relative luminance of WCAG 2.1)."""

    def linear(channel: float) -> float:
        return channel / 12.92 if channel <= 0.03928 else ((channel + 0.055) / 1.055) ** 2.4

    luminance = (
        0.2126 * linear(background.redF()) + 0.7152 * linear(background.greenF()) + 0.0722 * linear(background.blueF())
    )
    return QColor("#101418") if luminance > 0.19 else QColor("#FFFFFF")  # where both have the same contrast
