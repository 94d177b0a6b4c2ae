"""The bar that tells lengths in a picture: 1, 2 or 5 times a power of ten, its length written on it."""

from __future__ import annotations

import math
from functools import lru_cache

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QImage, QPainter

from app.tiles.ink import LIGHT, PLATE, fill, metrics, put
from core.units import format_length

SHARE = 0.32  # of the picture's width that the bar may take
PAD = 7.0
HEIGHT = 30.0


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


def draw_scale_bar(painter: QPainter, width: float, height: float, scale: float, ratio: float) -> None:
    """Draw it in the lower left corner of a picture.

    `scale` is metres per device-independent pixel, `ratio` device pixels per device-independent pixel.
    """
    if width < 60 or height < 60:
        return
    length = bar_length(SHARE * width * scale)
    across = round(length / scale * ratio) / ratio
    painter.drawImage(QPointF(PAD, height - HEIGHT - PAD), _plate(format_length(length), across, ratio))


@lru_cache(maxsize=64)
def _plate(text: str, across: float, ratio: float) -> QImage:
    """The bar on its plate; all tiles show the same, so it is drawn once."""
    width = max(across, metrics(8.5, strong=True).horizontalAdvance(text)) + 2 * PAD
    image = QImage(math.ceil(width * ratio), math.ceil(HEIGHT * ratio), QImage.Format.Format_ARGB32_Premultiplied)
    image.setDevicePixelRatio(ratio)
    image.fill(Qt.GlobalColor.transparent)
    painter = QPainter(image)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    fill(painter, QRectF(0, 0, width, HEIGHT), PLATE, 4)
    painter.fillRect(QRectF(PAD, 6, across, 3), LIGHT)
    put(painter, QRectF(PAD, 10, width - 2 * PAD, 18), text, LIGHT, 8.5, strong=True)
    painter.end()
    return image
