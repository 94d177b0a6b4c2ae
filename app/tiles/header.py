"""The top line of a tile: badge, title, subtitle, chips, the walk through the spots, and the cross that removes it."""

from __future__ import annotations

from typing import Literal

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen

from app.theme import colour
from app.tiles.ink import fill, metrics, pill, pill_width, put, readable_on
from app.tiles.state import TileState

HEIGHT = 24.0
BADGE = 20.0
GAP = 6.0
DOTS = 6  # spots that are drawn as dots; more are told as a number
ARROW = 12.0
NARROW = 190.0  # width below which the dots make room for the title

Button = Literal["previous", "next", "remove"]


class Header:
    """Where the parts of the top line are, for one state and one width.

    Parameters
    ----------
    state : TileState
        What to tell.
    place : QRectF
        The line.
    """

    def __init__(self, state: TileState, place: QRectF) -> None:
        self._state = state
        self._narrow = place.width() < NARROW
        self.buttons: dict[Button, QRectF] = {}
        middle = place.center().y()
        self.badge = QRectF(place.left(), middle - BADGE / 2, BADGE, BADGE)
        right = self._place_buttons(place.right(), middle)
        left = self.badge.right() + 8
        wanted = metrics(10.0, strong=True).horizontalAdvance(state.title) + 1
        # The title gives way to the chips until half of the line is left to it: a warning weighs more than a long name.
        chips, chips_width = _chips_that_fit(state.chips, right - left - min(wanted, (right - left) * 0.5))
        title_width = min(wanted, right - left - chips_width)
        self.title = QRectF(left, place.top(), max(0.0, title_width), place.height())
        free = right - self.title.right() - chips_width - GAP
        subtitle_width = min(metrics(9.0).horizontalAdvance(state.subtitle) + 1, free)
        self.subtitle = QRectF(self.title.right() + GAP, place.top(), 0.0, place.height())
        if state.subtitle and subtitle_width >= min(64.0, metrics(9.0).horizontalAdvance(state.subtitle)):
            self.subtitle.setWidth(subtitle_width)
        x = (self.subtitle if self.subtitle.width() else self.title).right() + GAP
        self.chips: list[tuple[QRectF, str, str]] = []
        for text, level in chips:
            self.chips.append((QRectF(x, middle - 8.5, pill_width(text), 17), text, level))
            x += pill_width(text) + 4

    def draw(self, painter: QPainter, *, hot: bool) -> None:
        """Draw the line; `hot` shows the cross too."""
        state = self._state
        ink = QColor(state.colour) if state.scan is not None else colour("border")
        fill(painter, self.badge, ink, 5)
        if state.rank is not None:
            put(painter, self.badge, str(state.rank), readable_on(ink), 9.0, strong=True,
                align=Qt.AlignmentFlag.AlignHCenter)  # fmt: skip
        put(painter, self.title, state.title, colour("text"), 10.0, strong=True)
        if self.subtitle.width():
            put(painter, self.subtitle, state.subtitle, colour("muted"), 9.0)
        for place, text, level in self.chips:
            pill(painter, place, text, level)
        if "previous" in self.buttons:
            self._draw_spots(painter)
        if hot:
            self._draw_cross(painter)

    def button_at(self, here: QPointF) -> Button | None:
        """The button under a point."""
        for name, place in self.buttons.items():
            if place.contains(here):
                return name
        return None

    def chip_at(self, here: QPointF) -> str | None:
        """What the chip under a point says; None where there is none."""
        return next((text for place, text, _ in self.chips if place.contains(here)), None)

    def _place_buttons(self, right: float, middle: float) -> float:
        """Put the buttons at the right end; returns where the text has to stop."""
        self.buttons["remove"] = QRectF(right - 7, middle - 9, 16, 18)  # half of it in the margin
        right -= 8
        if len(self._state.spots) > 1:
            dots = self._dots_width()
            self.buttons["next"] = QRectF(right - ARROW, middle - 10, ARROW, 20)
            self.buttons["previous"] = QRectF(right - 2 * ARROW - dots, middle - 10, ARROW, 20)
            right = self.buttons["previous"].left() - 2
        return right

    def _dots_width(self) -> float:
        count = len(self._state.spots)
        if self._narrow:
            return 0.0
        return 7.0 * count if count <= DOTS else metrics(8.5).horizontalAdvance(self._place_text()) + 2

    def _place_text(self) -> str:
        spots = self._state.spots
        shown = self._current()
        return f"{shown + 1}/{len(spots)}" if shown is not None else f"{len(spots)}"

    def _current(self) -> int | None:
        """Which of the spots is shown, told by the name of its map."""
        state = self._state
        name = state.scan.name if state.scan is not None else state.key
        return state.spots.index(name) if name in state.spots else None

    def _draw_spots(self, painter: QPainter) -> None:
        previous, following = self.buttons["previous"], self.buttons["next"]
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(colour("muted"), 1.6, c=Qt.PenCapStyle.RoundCap, j=Qt.PenJoinStyle.RoundJoin))
        for place, way in ((previous, -1), (following, 1)):
            tip = place.center() + QPointF(2.0 * way, 0)
            painter.drawPolyline([tip - QPointF(4 * way, 4), tip, tip - QPointF(4 * way, -4)])
        if self._narrow:
            return
        between = QRectF(previous.topRight(), following.bottomLeft())
        if len(self._state.spots) > DOTS:
            put(painter, between, self._place_text(), colour("muted"), 8.5, align=Qt.AlignmentFlag.AlignHCenter)
            return
        painter.setPen(Qt.PenStyle.NoPen)
        shown = self._current()
        for i in range(len(self._state.spots)):
            painter.setBrush(colour("accent") if i == shown else colour("border"))
            painter.drawEllipse(QPointF(between.left() + 3.5 + 7 * i, between.center().y()), 2.3, 2.3)

    def _draw_cross(self, painter: QPainter) -> None:
        middle = self.buttons["remove"].center()
        painter.setPen(QPen(colour("muted"), 1.5, c=Qt.PenCapStyle.RoundCap))
        for way in (-1, 1):
            painter.drawLine(middle - QPointF(3.5, 3.5 * way), middle + QPointF(3.5, 3.5 * way))


def _chips_that_fit(chips: tuple[tuple[str, str], ...], room: float) -> tuple[list[tuple[str, str]], float]:
    """The first chips that fit; the rest is told as a number. Returns them and the width they take with their gaps."""
    for count in range(len(chips), -1, -1):
        shown = list(chips[:count])
        rest = chips[count:]
        if rest:
            worst = next((level for level in ("red", "amber") if any(level == c[1] for c in rest)), "note")
            shown.append((f"+{len(rest)}" if count else _shortened(rest, room), worst))
        width = sum(pill_width(text) + 4 for text, _ in shown) + (GAP if shown else 0)
        if width <= room or count == 0:
            return shown, width
    return [], 0.0


def _shortened(chips: tuple[tuple[str, str], ...], room: float) -> str:
    """What one pill says when none fits: the first chip cut short, or how many there are."""
    if len(chips) > 1:
        return f"{len(chips)} notes" if pill_width(f"{len(chips)} notes") + 4 + GAP <= room else f"{len(chips)}"
    text = metrics(8.0).elidedText(chips[0][0], Qt.TextElideMode.ElideRight, room - GAP - pill_width(""))
    return text if len(text) > 3 else "!"
