"""The two lines below a picture: the reading with the clipped share, and the details in a quieter voice."""

from __future__ import annotations

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QPainter

from app.theme import colour
from app.tiles.ink import metrics, put
from app.tiles.state import TileState

HEIGHT = 38.0
RED_FROM = 0.01  # share of clipped points from which colours no longer tell the surface


def clipped_text(shares: tuple[float, float] | None) -> str:
    """What is said about the points outside the range.

    >>> clipped_text((0.0, 0.0)), clipped_text((0.001, 0.0031)), clipped_text((0.0, 1e-5)), clipped_text(None)
    ('clipped 0 %', 'clipped 0.4 %', 'clipped <0.1 %', 'clipped …')
    """
    if shares is None:
        return "clipped …"
    share = 100 * sum(shares)
    if share == 0:
        return "clipped 0 %"
    return "clipped <0.1 %" if share < 0.05 else f"clipped {share:.1f} %"


def clipped_role(shares: tuple[float, float] | None) -> str:
    """The colour in which it is said."""
    share = sum(shares) if shares is not None else 0.0
    return "muted" if share == 0 else "amber" if share < RED_FROM else "red"


def draw_footer(
    painter: QPainter, place: QRectF, state: TileState, shares: tuple[float, float] | None, *, busy: bool
) -> None:
    """Draw both lines; readings that are being worked out anew are pale."""
    upper = QRectF(place.left(), place.top(), place.width(), place.height() / 2)
    lower = upper.translated(0, upper.height())
    if state.scan is not None:
        text = clipped_text(shares)
        across = metrics(9.0).horizontalAdvance(text) + 1
        # The reading must not be cut: in a narrow tile the clipped share moves down to the details.
        both = metrics(9.5, strong=True).horizontalAdvance(state.reading) + 8 + across <= place.width()
        line = upper if both else lower
        right = QRectF(line.right() - across, line.top(), across, line.height())
        put(painter, right, text, colour(clipped_role(shares)), 9.0, align=Qt.AlignmentFlag.AlignRight)
        line.setRight(right.left() - 8)
    put(painter, upper, state.reading, colour("muted" if busy else "text"), 9.5, strong=True)
    put(painter, lower, _whole_parts(state.detail, lower.width()), colour("muted"), 9.0)


def _whole_parts(detail: str, width: float) -> str:
    """The first details that fit whole; they are parted by wide gaps. A number cut short would be a wrong number."""
    while "  " in detail and metrics(9.0).horizontalAdvance(detail) > width:
        detail = detail.rpartition("  ")[0].rstrip()
    return detail
