"""The loud remark on a picture whose colours are not those of the others."""

from __future__ import annotations

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QPainter

from app.tiles.colourbar import end_text
from app.tiles.ink import fill, metrics, put
from app.tiles.state import Range

FIELD, INK = QColor("#F2B233"), QColor("#20160A")  # on the map, hence the same in both themes
SHORT = "own scale"


def tag_text(limits: Range) -> str:
    """What the tag says for a range in metres.

    >>> tag_text((-3e-10, 6e-10))
    'own scale −0.3 to 0.6 nm'
    """
    low, high = limits
    return f"{SHORT} {end_text(low, high - low)} to {end_text(high, high - low)} nm"


def draw_tag(painter: QPainter, width: float, text: str) -> None:
    """Draw it along the upper edge of a picture."""
    measure = metrics(8.5, strong=True)
    if measure.horizontalAdvance(text) + 28 > width:
        text = SHORT  # the colour bar tells the ends too
    across = min(width - 12, measure.horizontalAdvance(text) + 16)
    if across < 30:
        return
    field = QRectF(6, 6, across, 20)
    fill(painter, field, FIELD, 4)
    put(painter, field.adjusted(8, 0, -6, 0), text, INK, 8.5, strong=True, align=Qt.AlignmentFlag.AlignLeft)
