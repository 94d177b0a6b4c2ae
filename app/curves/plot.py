"""The plot itself: a thin wrapper about the plotting library. Import it only when there is something to plot."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QPointF, Qt
from PySide6.QtGui import QColor, QPen, QResizeEvent

from app.curves.data import Curve, Kind
from app.theme import colour
from app.tiles.ink import font

LOW = 140  # px of height below which one line names both axes
FINE = 20_000  # points in all from which lines are drawn thin and without smoothing, to stay quick


class CurvePlot(pg.PlotWidget):  # type: ignore[misc]  # the library has no types
    """Curves over one pair of axes, with a vertical line under the mouse.

    Parameters
    ----------
    hovered : callable
        Gets the place under the mouse in units of the x axis, or None when the mouse has left.
    """

    def __init__(self, hovered: Callable[[float | None], None]) -> None:
        super().__init__(enableMenu=False)
        self._hovered = hovered
        self._lines: list[Any] = []
        self._kind: Kind | None = None
        self._low = False
        item = self.getPlotItem()
        item.hideButtons()
        item.ctrlMenu.setParent(self, item.ctrlMenu.windowFlags())  # the library leaves it without an owner
        item.showGrid(x=False, y=True, alpha=0.18)
        item.setDownsampling(auto=True, mode="peak")  # a bump of one point must not fall through
        item.setClipToView(True)
        self._marker = pg.InfiniteLine(angle=90, movable=False)
        self._marker.hide()
        self.addItem(self._marker, ignoreBounds=True)
        self.scene().sigMouseMoved.connect(self._moved)
        self.setAccessibleName("Curves")
        self.restyle()

    def show_curves(self, kind: Kind, curves: Sequence[Curve], inks: Sequence[str]) -> None:
        """Draw these instead of those before; another kind of curve gets a fresh view."""
        for line in self._lines:
            self.removeItem(line)
        fine = sum(curve.x.size for curve in curves) > FINE
        self._lines = []
        if kind is not self._kind:
            self._kind = kind
            self.setLogMode(x=kind.logarithmic_x, y=kind.logarithmic)
            self.enableAutoRange()
        self._label()
        for curve, ink in zip(curves, inks, strict=True):
            pen = QPen(QColor(ink), 1.0 if fine else 1.6)
            pen.setCosmetic(True)
            y = curve.y if curve.y.size else np.full(1, np.nan)
            x = curve.x if curve.x.size else np.zeros(1)
            self._lines.append(self.plot(x, y, pen=pen, antialias=not fine, connect="finite"))

    def restyle(self) -> None:
        """Take background, axes and marker from the present theme."""
        self.setBackground(colour("panel"))
        for side in ("left", "bottom"):
            axis = self.getPlotItem().getAxis(side)
            axis.enableAutoSIPrefix(False)
            axis.setPen(colour("border"))
            axis.setTextPen(colour("muted"))
            axis.setStyle(tickFont=font(8.5), tickLength=-4)
        self._marker.setPen(QPen(colour("accent"), 1))
        self._label()

    def mouseDoubleClickEvent(self, event: Any) -> None:
        """Everything in view again."""
        if event.button() == Qt.MouseButton.LeftButton:
            self.enableAutoRange()
        super().mouseDoubleClickEvent(event)

    def leaveEvent(self, event: QEvent) -> None:
        """The marker goes with the mouse."""
        self._marker.hide()
        self._hovered(None)
        super().leaveEvent(event)

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        """A low plot has no room for a name that stands upright. The library calls this by itself without an event."""
        super().resizeEvent(event)
        if event is not None and (self.height() < LOW) != self._low:
            self._label()

    def _label(self) -> None:
        if self._kind is None:
            return
        low = self._low = self.height() < LOW
        ink = colour("muted").name()
        self.setLabel("bottom", f"{self._kind.y} over {self._kind.x}" if low else self._kind.x, color=ink)
        self.setLabel("left", self._kind.y, color=ink)
        self.getPlotItem().getAxis("left").showLabel(not low)

    def _moved(self, where: QPointF) -> None:
        box = self.getPlotItem().vb
        if not self.getPlotItem().sceneBoundingRect().contains(where):
            return
        x = float(box.mapSceneToView(where).x())
        self._marker.setValue(x)
        self._marker.show()
        logarithmic = self._kind is not None and self._kind.logarithmic_x
        self._hovered(10**x if logarithmic else x)
