"""The mean profile of a standard, with the parts that ISO 5436-1 evaluates."""

from __future__ import annotations

import math

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.theme import colour
from app.tiles.ink import put
from app.widgets.parts import SMALL
from core.fitness.calibration import StepProfile
from core.heightmap import BoolArray
from core.units import format_length

MOST = 600  # points that are drawn


class ProfilePlot(QWidget):
    """Heights along the profile; A and B beside the groove, C on its bottom."""

    def __init__(self, profile: StepProfile) -> None:
        super().__init__()
        self._profile = profile
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Mean profile with the evaluated parts")
        parts = [f"{name} {format_length(left)} to {format_length(right)}" for name, left, right in self.parts()]
        self.setAccessibleDescription(", ".join(parts))

    def sizeHint(self) -> QSize:
        return QSize(220, 140)

    def parts(self) -> list[tuple[str, float, float]]:
        """Names and ends of the parts that are used, metres."""
        x, profile = self._profile.x, self._profile
        upper, lower = _runs(profile.upper), _runs(profile.lower)
        named = [*zip("AB" if len(upper) > 1 else "B", upper, strict=False)]
        named += [*zip("C" if len(upper) > 1 else "A", lower, strict=False)]
        return sorted(((name, float(x[first]), float(x[last])) for name, (first, last) in named), key=lambda p: p[1])

    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        place = QRectF(self.rect()).adjusted(8, 18, -8, -18)
        x, z = self._profile.x, self._profile.heights
        length = float(x[-1]) or 1.0
        low, high = float(np.nanmin(z)), float(np.nanmax(z))
        span = (high - low) or 1e-12

        def across(metres: float) -> float:
            return place.left() + metres / length * place.width()

        wash = QColor(colour("accent"))
        wash.setAlpha(38)
        for name, left, right in self.parts():
            part = QRectF(across(left), place.top(), across(right) - across(left), place.height())
            painter.fillRect(part, wash)
            above = QRectF(part.left() - 6, 1, part.width() + 12, 16)
            put(painter, above, name, colour("accent"), SMALL, strong=True, align=Qt.AlignmentFlag.AlignHCenter)
        painter.setPen(QPen(colour("text"), 1.4))
        step = max(1, math.ceil(len(x) / MOST))
        points = [
            QPointF(across(float(here)), place.bottom() - (float(height) - low) / span * place.height())
            for here, height in zip(x[::step], z[::step], strict=True)
            if not math.isnan(height)
        ]
        painter.drawPolyline(points)
        told = f"{format_length(length)} long, {format_length(span)} high"
        below = QRectF(place.left(), place.bottom() + 2, place.width(), 15)
        put(painter, below, told, colour("muted"), SMALL - 0.5, align=Qt.AlignmentFlag.AlignHCenter)
        painter.end()


def _runs(inside: BoolArray) -> list[tuple[int, int]]:
    """First and last place of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
    return [(int(first), int(end) - 1) for first, end in zip(edges[::2], edges[1::2], strict=True)]
