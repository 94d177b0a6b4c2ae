"""The traces of the tools over the picture of one tile. It lets the mouse through and is hidden while there is none."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPen

from app.theme import colour
from app.tiles.ink import LIGHT, SHADE, halo_line
from app.tiles.overlay import Overlay
from app.tiles.picture import Picture
from app.tiles.view import View
from core.placement import Placement
from core.sections import Point
from core.shapes import Shape

if TYPE_CHECKING:
    from app.hand.hand import Hand

EDGE = QColor(255, 255, 255, 230)


class Traces(Overlay):
    """Draws what the hand holds for one tile."""

    def __init__(self, key: str, picture: Picture, hand: Hand) -> None:
        super().__init__(picture)
        self._key, self._hand = key, hand
        self.follow()

    def follow(self) -> None:
        """Hidden where there is nothing to draw."""
        self.show_if(self._hand.has_traces(self._key))

    def draw(self, painter: QPainter, view: View) -> None:
        hand = self._hand
        shapes, place = hand.shapes_of(self._key)
        for shape in shapes:
            self._outline(painter, _path(shape, place, view), dashed=False)
        if hand.region is not None:
            corner, opposite = (QPointF(*view.to_screen(*point)) for point in hand.region)
            path = QPainterPath()
            path.addRect(QRectF(corner, opposite).normalized())
            self._outline(painter, path, dashed=True)
        if hand.points is not None:
            start, end = (QPointF(*view.to_screen(*point)) for point in hand.points)
            halo_line(painter, start, end, 1.4)
            self._place(painter, start)
            self._place(painter, end)
        draft = hand.draft_of(self._key)
        if draft is not None:
            self._outline(painter, _path(draft, Placement(), view, closed=False), dashed=draft.kind != "brush")
        elif hand.begun_in == self._key and hand.draft:
            self._place(painter, QPointF(*view.to_screen(*hand.draft[0])))

    def _outline(self, painter: QPainter, path: QPainterPath, *, dashed: bool) -> None:
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(SHADE, 3))
        painter.drawPath(path)
        style = Qt.PenStyle.DashLine if dashed else Qt.PenStyle.SolidLine
        painter.setPen(QPen(EDGE, 1.3, style))
        painter.drawPath(path)

    def _place(self, painter: QPainter, at: QPointF) -> None:
        painter.setPen(QPen(LIGHT, 1.4))
        painter.setBrush(colour("accent"))
        painter.drawEllipse(at, 4, 4)


def _path(shape: Shape, place: Placement, view: View, *, closed: bool = True) -> QPainterPath:
    """The border of a shape on the screen; of a stroke the line with its width as two edges."""

    def there(point: Point) -> QPointF:
        return QPointF(*view.to_screen(*place.to_treated(point)))

    path = QPainterPath()
    corners = [there(point) for point in shape.points]
    if shape.kind == "rectangle":
        path.addRect(QRectF(corners[0], corners[1]).normalized())
        return path
    path.moveTo(corners[0])
    for corner in corners[1:]:
        path.lineTo(corner)
    if shape.kind == "polygon":
        if closed:
            path.closeSubpath()
        return path
    from PySide6.QtGui import QPainterPathStroker

    half = shape.width * place.wide / view.scale / 2
    if len(corners) == 1:
        path.addEllipse(corners[0], half, half)
        return path
    stroker = QPainterPathStroker()
    stroker.setWidth(2 * half)
    stroker.setCapStyle(Qt.PenCapStyle.RoundCap)
    stroker.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    return stroker.createStroke(path).simplified()
