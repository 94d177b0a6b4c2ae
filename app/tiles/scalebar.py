"""The bar that tells lengths in a picture: 1, 2 or 5 times a power of ten, its length written on it."""

from __future__ import annotations

import math

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QPainter

from app.tiles.ink import LIGHT, PLATE, fill, metrics, put
from core.units import format_length

SHARE = 0.32  # of the picture's width that the bar may take


def bar_length(longest: float) -> float:
    """The largest 1-2-5 length up to `longest`, metres.

    >>> bar_length(3.4e-6), bar_length(1e-6), bar_length(9.9e-8)
    (2e-06, 1e-06, 5e-08)
    """
    exponent = math.floor(math.log10(longest) + 1e-9)
    for first in (5, 2):
        length = float(f"{first}e{exponent}")
        if length <= longest * (1 + 1e-9):
            return length
    return float(f"1e{exponent}")


def draw_scale_bar(painter: QPainter, width: float, height: float, scale: float) -> None:
    """Draw it in the lower left corner of a picture; `scale` is metres per pixel."""
    if width < 60 or height < 60:
        return
    length = bar_length(SHARE * width * scale)
    across = length / scale
    text = format_length(length)
    plate_width = max(across, metrics(8.5, strong=True).horizontalAdvance(text)) + 14
    plate = QRectF(7, height - 37, plate_width, 30)
    fill(painter, plate, PLATE, 4)
    painter.fillRect(QRectF(plate.left() + 7, plate.top() + 6, across, 3), LIGHT)
    words = QRectF(plate.left() + 7, plate.top() + 10, plate_width - 14, 18)
    put(painter, words, text, LIGHT, 8.5, strong=True, align=Qt.AlignmentFlag.AlignLeft)
