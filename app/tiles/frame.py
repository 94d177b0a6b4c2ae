"""A frame about a part of a map, laid over its picture: where a doubt can be seen."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QPointF, QRectF, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from app.tiles.ink import SHADE
from app.tiles.picture import Picture
from app.tiles.state import Area
from app.tiles.tag import FIELD


class Frame(QWidget):
    """Draws over a picture and lets the mouse through to it.

    Parameters
    ----------
    picture : Picture
        It is as large as this, and follows its view.
    """

    def __init__(self, picture: Picture) -> None:
        super().__init__(picture)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self._picture = picture
        self._area: Area | None = None
        picture.installEventFilter(self)
        self.hide()

    @property
    def area(self) -> Area | None:
        """The part that is framed."""
        return self._area

    def set_area(self, area: Area | None) -> None:
        """Frame this part of the map; None for no frame."""
        if area != self._area:
            self._area = area
            self.setVisible(area is not None)
            self.setGeometry(self._picture.rect())
            self.update()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() == QEvent.Type.Resize:
            self.setGeometry(self._picture.rect())
        return super().eventFilter(watched, event)

    def paintEvent(self, _: QPaintEvent) -> None:
        if self._area is None:
            return
        view = self._picture.view()
        x, y, wide, high = self._area
        corners = [QPointF(*view.to_screen(x + way * wide / 2, y + way * high / 2)) for way in (-1, 1)]
        place = QRectF(*corners).adjusted(-2, -2, 2, 2)
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        for ink, width in ((SHADE, 4.0), (FIELD, 1.8)):
            painter.setPen(QPen(ink, width))
            painter.drawRoundedRect(place, 2, 2)
        painter.end()
