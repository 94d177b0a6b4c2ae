"""The matrix of pairs: for every two of them a sign and a colour, walked through by mouse and arrow keys."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QHelpEvent, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QToolTip, QWidget

from app.theme import colour
from app.tiles.ink import fill, metrics, put
from app.widgets.badge import SIDE, draw_badge
from core.sheet.words import KINDS, comparability_text
from core.trust.comparability import Pair

CELL = 28.0
LEAST = 17.0
NAME = 118.0
GAP = 2.0
ARROWS = {
    Qt.Key.Key_Left: (0, -1),
    Qt.Key.Key_Right: (0, 1),
    Qt.Key.Key_Up: (-1, 0),
    Qt.Key.Key_Down: (1, 0),
}
ROLES = {"green": "good", "amber": "amber", "red": "red"}


@dataclass(frozen=True)
class Name:
    """One row, and one column, of the matrix: a specimen or a scan, with colour and rank."""

    text: str
    ink: str
    rank: str


class Matrix(QWidget):
    """Every pair once, below the diagonal: a tick is comparable, a wave with care, a cross not comparable.

    Signals
    -------
    picked(Pair)
        The pair that is looked at.
    """

    picked = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self._names: tuple[Name, ...] = ()
        self._pairs: dict[tuple[int, int], Pair] = {}
        self._at: tuple[int, int] | None = None

    @property
    def current(self) -> Pair | None:
        """The pair that is looked at."""
        return self._pairs.get(self._at) if self._at is not None else None

    def show_pairs(self, names: Sequence[Name], pairs: Sequence[Pair]) -> None:
        """Show these; the pair that was looked at stays, else the worst one is."""
        kept = {frozenset((self.current.first, self.current.second))} if self.current is not None else set()
        order = {name.text: number for number, name in enumerate(names)}
        self._names = tuple(names)
        self._pairs = {}
        for pair in pairs:
            if pair.first in order and pair.second in order:
                one, other = sorted((order[pair.first], order[pair.second]))
                self._pairs[other, one] = pair
        same = [at for at, pair in self._pairs.items() if frozenset((pair.first, pair.second)) in kept]
        worst = sorted(self._pairs, key=lambda at: ("red", "amber", "green").index(self._pairs[at].level))
        self._at = next(iter(same or worst), None)
        self.updateGeometry()
        self.setFixedHeight(self.sizeHint().height())
        self._tell()

    def pair_at(self, here: QPointF) -> Pair | None:
        """The pair under a point."""
        at = self._cell_at(here)
        return None if at is None else self._pairs.get(at)

    def place_of(self, pair: Pair) -> QRectF:
        """Where the cell of a pair is."""
        return next(self._cell(*at) for at, known in self._pairs.items() if known is pair)

    def sizeHint(self) -> QSize:
        count = len(self._names)
        return QSize(int(NAME + 2 * CELL), int(count * self._side() + 4))

    def resizeEvent(self, _: object) -> None:
        if self.height() != self.sizeHint().height():
            self.setFixedHeight(self.sizeHint().height())

    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        side, name = self._side(), self._name()
        for number, one in enumerate(self._names):
            y = 2 + number * side
            badge = QRectF(0, 0, min(SIDE, side - 2), min(SIDE, side - 2))
            badge.moveCenter(QPointF(name + (number + 0.5) * side, y + side / 2))
            draw_badge(painter, badge, QColor(one.ink), one.rank if side >= SIDE else "")
            put(painter, QRectF(0, y, name - 6, side), one.text, colour("text"), 9.0)
        for at, pair in self._pairs.items():
            self._draw(painter, self._cell(*at), pair, current=at == self._at)
        painter.end()

    def _draw(self, painter: QPainter, place: QRectF, pair: Pair, *, current: bool) -> None:
        role = ROLES[pair.level]
        fill(painter, place, colour(f"{role}-wash"), 4)
        if current:
            painter.setPen(QPen(colour("accent" if self.hasFocus() else "text"), 1.6))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(place, 4, 4)
        painter.setPen(QPen(colour(role), 1.8, c=Qt.PenCapStyle.RoundCap, j=Qt.PenJoinStyle.RoundJoin))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        draw_sign(painter, place.center(), pair.level, min(1.0, place.width() / 24))

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        over = self.pair_at(event.position()) is not None
        self.setCursor(Qt.CursorShape.PointingHandCursor if over else Qt.CursorShape.ArrowCursor)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        at = self._cell_at(event.position())
        if at in self._pairs:
            self._go(at)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        way = ARROWS.get(Qt.Key(event.key()))
        if way is None or self._at is None:
            super().keyPressEvent(event)
            return
        at = self._at[0] + way[0], self._at[1] + way[1]
        if at in self._pairs:
            self._go(at)

    def event(self, event: QEvent) -> bool:
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            pair = self.pair_at(QPointF(event.pos()))
            QToolTip.showText(event.globalPos(), "" if pair is None else comparability_text(pair), self)
            return True
        return super().event(event)

    def focusInEvent(self, _: object) -> None:
        self.update()

    def focusOutEvent(self, _: object) -> None:
        self.update()

    def _go(self, at: tuple[int, int]) -> None:
        self._at = at
        self._tell()
        self.picked.emit(self._pairs[at])

    def _tell(self) -> None:
        pair = self.current
        self.setAccessibleName("Which pairs may stand side by side")
        self.setAccessibleDescription("" if pair is None else f"{pair.first} and {pair.second}: {KINDS[pair.level]}")
        self.update()

    def _name(self) -> float:
        """Width of the names: as much as the longest, within what leaves the cells their room."""
        longest = max((metrics(9.0).horizontalAdvance(name.text) + 8 for name in self._names), default=0.0)
        return min(longest, max(70.0, self.width() * 0.4))

    def _side(self) -> float:
        count = max(1, len(self._names))
        return max(LEAST, min(CELL, (self.width() - self._name()) / count))

    def _cell(self, row: int, column: int) -> QRectF:
        side = self._side()
        return QRectF(self._name() + column * side, 2 + row * side, side, side).adjusted(GAP, GAP, -GAP, -GAP)

    def _cell_at(self, here: QPointF) -> tuple[int, int] | None:
        side, column = self._side(), here.x() - self._name()
        if column < 0:
            return None
        return int((here.y() - 2) // side), int(column // side)


def draw_sign(painter: QPainter, middle: QPointF, level: str, size: float = 1.0) -> None:
    """Tick, wave or cross, with the pen that is set."""
    strokes: dict[str, list[list[tuple[float, float]]]] = {
        "green": [[(-5, 0), (-1.5, 4), (5, -4)]],
        "amber": [[(-5, 1.5), (-2.5, -1.5), (0, 0), (2.5, 1.5), (5, -1.5)]],
        "red": [[(-4, -4), (4, 4)], [(-4, 4), (4, -4)]],
    }
    for stroke in strokes[level]:
        painter.drawPolyline([middle + QPointF(x, y) * size for x, y in stroke])
