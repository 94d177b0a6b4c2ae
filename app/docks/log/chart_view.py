"""One series of the log, painted: values by date, centre and limits, those outside in red."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.theme import colour, text_font
from app.widgets.parts import SMALL
from core.log import Chart

PAD = 10.0


class ChartView(QWidget):
    """Draws a chart; entries stand at equal distances, oldest left."""

    def __init__(self) -> None:
        super().__init__()
        self._chart: Chart | None = None
        self.setFont(text_font(SMALL))
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Chart of the series")

    def show_chart(self, chart: Chart | None) -> None:
        """Show this series."""
        self._chart = chart
        self.setAccessibleDescription("" if chart is None else chart.sentence)
        self.update()

    def sizeHint(self) -> QSize:
        return QSize(240, 150)

    def paintEvent(self, _: QPaintEvent) -> None:
        made = self._chart
        if made is None or not made.entries:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        place = QRectF(self.rect()).adjusted(PAD, PAD, -PAD, -PAD)
        values = [entry.value for entry in made.entries]
        known = [*values, *(end for end in (made.low, made.high) if end is not None)]
        low, high = min(known), max(known)
        span = (high - low) or abs(high) or 1.0

        def y(value: float) -> float:
            return place.bottom() - (value - low) / span * place.height()

        for value, style in ((made.centre, Qt.PenStyle.SolidLine), (made.low, Qt.PenStyle.DashLine),
                             (made.high, Qt.PenStyle.DashLine)):  # fmt: skip
            if value is not None:
                painter.setPen(QPen(colour("border"), 1, style))
                painter.drawLine(QPointF(place.left(), y(value)), QPointF(place.right(), y(value)))
        step = place.width() / max(1, len(values) - 1)
        points = [QPointF(place.left() + index * step, y(value)) for index, value in enumerate(values)]
        painter.setPen(QPen(colour("muted"), 1))
        painter.drawPolyline(points)
        painter.setPen(Qt.PenStyle.NoPen)
        for point, outside, shifted in zip(points, made.outside, made.shifted, strict=True):
            painter.setBrush(colour("red" if outside else "amber" if shifted else "accent"))
            painter.drawEllipse(point, 3.5, 3.5)
        painter.end()
