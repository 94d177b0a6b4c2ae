"""What share of the texture repeats, by wavelength: a small plot painted by ourselves."""

from __future__ import annotations

import math
from collections.abc import Sequence

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.theme import colour
from app.tiles.ink import put
from core.trust.noise.reality import RealitySpectrum
from core.units import format_length

HEIGHT = 150
LEFT, RIGHT, TOP, BOTTOM = 42, 8, 8, 34
LOWEST = -0.1  # of the share axis: where nothing repeats the share scatters about 0


class RealityPlot(QWidget):
    """One curve for each repeated place with its 95 % interval, over the wavelength from long to short.

    Parameters
    ----------
    curves : sequence of (str, str, RealitySpectrum)
        Name, colour ``#RRGGBB`` and spectrum.
    """

    def __init__(self, curves: Sequence[tuple[str, str, RealitySpectrum]]) -> None:
        super().__init__()
        self._curves = [curve for curve in curves if curve[2].wavelength.size]
        ends = [float(w) for *_, spectrum in self._curves for w in (spectrum.wavelength[0], spectrum.wavelength[-1])]
        self._longest, self._shortest = max(ends, default=1.0), min(ends, default=0.5)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Share of the texture that repeats, by wavelength")
        self.setAccessibleDescription(". ".join(map(_said, self._curves)))

    def sizeHint(self) -> QSize:
        return QSize(240, HEIGHT)

    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        room = QRectF(self.rect()).adjusted(LEFT, TOP, -RIGHT, -BOTTOM)
        self._draw_axes(painter, room)
        painter.setClipRect(room)
        for _name, ink, spectrum in self._curves:
            self._draw_curve(painter, room, QColor(ink), spectrum)
        painter.end()

    def _draw_axes(self, painter: QPainter, room: QRectF) -> None:
        for share, text in ((0.0, "0 %"), (0.5, "50 %"), (1.0, "100 %")):
            y = _y(room, share)
            painter.setPen(QPen(colour("border"), 1))
            painter.drawLine(QPointF(room.left(), y), QPointF(room.right(), y))
            place = QRectF(0, y - 8, LEFT - 5, 16)
            put(painter, place, text, colour("muted"), 8.0, align=Qt.AlignmentFlag.AlignRight)
        below = QRectF(room.left(), room.bottom() + 2, room.width(), 14)
        put(painter, below, format_length(self._longest), colour("muted"), 8.0)
        put(painter, below, format_length(self._shortest), colour("muted"), 8.0, align=Qt.AlignmentFlag.AlignRight)
        name = "wavelength, long to short"
        put(painter, below.translated(0, 15), name, colour("muted"), 8.0, align=Qt.AlignmentFlag.AlignHCenter)

    def _draw_curve(self, painter: QPainter, room: QRectF, ink: QColor, spectrum: RealitySpectrum) -> None:
        xs = [self._x(room, float(wavelength)) for wavelength in spectrum.wavelength]
        above = [QPointF(x, _y(room, float(high))) for x, high in zip(xs, spectrum.high, strict=True)]
        below = [QPointF(x, _y(room, float(low))) for x, low in zip(xs, spectrum.low, strict=True)]
        pale = QColor(ink)
        pale.setAlpha(50)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(pale)
        painter.drawPolygon(QPolygonF([*above, *reversed(below)]))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(ink, 1.6, j=Qt.PenJoinStyle.RoundJoin))
        painter.drawPolyline([QPointF(x, _y(room, float(share))) for x, share in zip(xs, spectrum.share, strict=True)])

    def _x(self, room: QRectF, wavelength: float) -> float:
        span = math.log(self._longest / self._shortest) or 1.0
        return room.left() + room.width() * math.log(self._longest / wavelength) / span


def _y(room: QRectF, share: float) -> float:
    return room.bottom() - room.height() * (share - LOWEST) / (1.05 - LOWEST)


def _said(curve: tuple[str, str, RealitySpectrum]) -> str:
    name, _, spectrum = curve
    real = spectrum.real_above
    return f"{name}: nothing is real" if real is None else f"{name}: real above {format_length(real)}"
