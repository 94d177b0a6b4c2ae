"""A frame about a part of a map, laid over its picture: where a doubt can be seen."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QPainter, QPen

from app.tiles.ink import SHADE
from app.tiles.overlay import Overlay
from app.tiles.picture import Picture
from app.tiles.state import Area
from app.tiles.tag import FIELD
from app.tiles.view import View


class Frame(Overlay):
    """About one part of the map."""

    def __init__(self, picture: Picture) -> None:
        super().__init__(picture)
        self._area: Area | None = None

    @property
    def area(self) -> Area | None:
        """The part that is framed."""
        return self._area

    def set_area(self, area: Area | None) -> None:
        """Frame this part of the map; None for no frame."""
        if area != self._area:
            self._area = area
            self.show_if(area is not None)

    def draw(self, painter: QPainter, view: View) -> None:
        if self._area is None:
            return
        x, y, wide, high = self._area
        corners = [QPointF(*view.to_screen(x + way * wide / 2, y + way * high / 2)) for way in (-1, 1)]
        place = QRectF(*corners).adjusted(-2, -2, 2, 2)
        for ink, width in ((SHADE, 4.0), (FIELD, 1.8)):
            painter.setPen(QPen(ink, width))
            painter.drawRoundedRect(place, 2, 2)
