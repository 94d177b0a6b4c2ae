"""Marks on a map, laid over its picture: rings about bumps, squares where particles would land well."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QPainter, QPen

from app.tiles.ink import LIGHT, PLATE, SHADE, fill, metrics, put
from app.tiles.overlay import Overlay
from app.tiles.picture import Picture
from app.tiles.view import View

LEAST = 5.0  # screen pixels that a ring keeps as its radius
MOST = 3000  # rings that are drawn; more hide the map


@dataclass(frozen=True, slots=True)
class Ring:
    """About one feature: position and radius in metres from the upper left corner of the map.

    `counted` is False for what does not enter the density: it is drawn broken. `chosen` is drawn stronger.
    """

    x: float
    y: float
    radius: float
    counted: bool = True
    chosen: bool = False


@dataclass(frozen=True, slots=True)
class Square:
    """A part of the map: its upper left corner and side, metres, and a word for it."""

    x: float
    y: float
    side: float
    text: str = ""


@dataclass(frozen=True, slots=True)
class Marks:
    """All that is drawn on one map."""

    rings: tuple[Ring, ...] = ()
    squares: tuple[Square, ...] = ()


class MarksLayer(Overlay):
    """All marks of one map."""

    def __init__(self, picture: Picture) -> None:
        super().__init__(picture)
        self._marks = Marks()

    @property
    def marks(self) -> Marks:
        """What is drawn."""
        return self._marks

    def set_marks(self, marks: Marks) -> None:
        """Draw these."""
        if marks != self._marks:
            self._marks = marks
            self.show_if(marks != Marks())

    def draw(self, painter: QPainter, view: View) -> None:
        scan = self._picture.scan
        if scan is None:
            return
        painter.setBrush(Qt.BrushStyle.NoBrush)
        high, wide = scan.size
        room = QRectF(self.rect()).adjusted(-LEAST, -LEAST, LEAST, LEAST)
        for ring in self._marks.rings[:MOST]:
            centre = QPointF(*view.to_screen(ring.x - wide / 2, ring.y - high / 2))
            radius = max(LEAST, ring.radius / view.scale + 2)
            if room.intersects(QRectF(centre.x() - radius, centre.y() - radius, 2 * radius, 2 * radius)):
                _draw_ring(painter, ring, centre, radius)
        for square in self._marks.squares:
            corner = QPointF(*view.to_screen(square.x - wide / 2, square.y - high / 2))
            side = square.side / view.scale
            _draw_square(painter, QRectF(corner.x(), corner.y(), side, side), square.text)


def _draw_ring(painter: QPainter, ring: Ring, centre: QPointF, radius: float) -> None:
    strong = 1.0 if ring.chosen else 0.0
    painter.setPen(QPen(SHADE, 3.0 + 2 * strong))
    painter.drawEllipse(centre, radius, radius)
    pen = QPen(LIGHT, 1.3 + 1.7 * strong)
    if not ring.counted:
        pen.setStyle(Qt.PenStyle.DotLine)
    painter.setPen(pen)
    painter.drawEllipse(centre, radius, radius)


def _draw_square(painter: QPainter, place: QRectF, text: str) -> None:
    for ink, width in ((SHADE, 4.0), (LIGHT, 1.6)):
        painter.setPen(QPen(ink, width, Qt.PenStyle.SolidLine if ink is SHADE else Qt.PenStyle.DashLine))
        painter.drawRect(place)
    if text:
        wide = metrics(8.5, strong=True).horizontalAdvance(text) + 10
        plate = QRectF(place.left() + 3, place.top() + 3, wide, 17)
        fill(painter, plate, PLATE, 4)
        put(painter, plate, text, LIGHT, 8.5, strong=True, align=Qt.AlignmentFlag.AlignHCenter)
        painter.setBrush(Qt.BrushStyle.NoBrush)
