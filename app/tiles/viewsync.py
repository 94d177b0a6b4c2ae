"""The one hub of all views: the same centre and the same metres per screen pixel in every tile, and one cross-hair."""

from __future__ import annotations

import math
from collections.abc import Callable

from PySide6.QtCore import QObject, Signal

from app.tiles.look import Cast, Look

Position = tuple[float, float]

ZOOMED_OUT = 4.0  # times the fitted scale
PIXELS_PER_POINT = 64  # the closest look


class ViewSync(QObject):
    """Where all tiles look, and how they draw what they see.

    Positions are metres from the centre of each tile's own map, x to the right, y down.

    The view stays fitted, also when tiles change their size, until the user zooms or moves it; from then on metres per
    pixel stay what they are. Tiles ask the hub and are never linked to each other, so nothing can run away.
    """

    changed = Signal()
    crosshair_changed = Signal()
    look_changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._centre: Position = (0.0, 0.0)
        self._scale = 1e-8
        self._fitted = True
        self._extent: Position = (1e-6, 1e-6)
        self._finest = 1e-9
        self._viewport = (200.0, 200.0)
        self._crosshair: Position | None = None
        self._one_scale = True
        self._look_chosen = Look()
        self.cast = Cast()  # set by the grid, which knows all maps and ranges
        self._emitting: set[int] = set()
        self._again: set[int] = set()

    @property
    def centre(self) -> Position:
        """What lies in the middle of every tile, metres."""
        return self._centre

    @property
    def scale(self) -> float:
        """Metres per (device-independent) screen pixel."""
        return self._scale

    @property
    def fitted(self) -> bool:
        """Whether the largest scan fills the tiles."""
        return self._fitted

    @property
    def crosshair(self) -> Position | None:
        """Where the cross-hair is, metres; None when it is nowhere."""
        return self._crosshair

    @property
    def viewport(self) -> Position:
        """Width and height of the smallest picture, screen pixels."""
        return self._viewport

    @property
    def look(self) -> Look:
        """How heights are drawn."""
        return self._look_chosen

    def set_look(self, look: Look) -> None:
        """Draw heights in another way."""
        if look != self._look_chosen:
            self._look_chosen = look
            if look.mode == "oblique":
                self.point(None)
            self.look_changed.emit()

    @property
    def one_scale(self) -> bool:
        """Whether all maps are drawn at one lateral scale; otherwise each is fitted to its tile."""
        return self._one_scale

    def set_one_scale(self, on: bool) -> None:
        """One lateral scale for all maps, or each map fitted to its tile."""
        if on != self._one_scale:
            self._one_scale = on
            self._emit(self.changed.emit, 0)

    def share(self, size: tuple[float, float]) -> float:
        """Scale of a map of these sides (down, across) over the common one: 1 unless each map is fitted."""
        if self._one_scale:
            return 1.0
        return max(size[1] / self._extent[0], size[0] / self._extent[1])

    def set_extent(self, width: float, height: float, finest: float) -> None:
        """Tell the sides of the largest scan and the smallest distance of points, metres."""
        self._extent, self._finest = (width, height), finest
        self._follow()

    def set_viewport(self, width: float, height: float) -> None:
        """Tell the size of the smallest picture, screen pixels."""
        if width >= 1 and height >= 1:
            self._viewport = (width, height)
            self._follow()

    def fit(self) -> None:
        """Show the largest scan whole, from now on also when the tiles change their size."""
        self._fitted = True
        self._look((0.0, 0.0), self._fitting())

    def pan(self, dx: float, dy: float) -> None:
        """Move what is shown by so many screen pixels."""
        self._fitted = False
        x, y = self._centre
        self._look((x - dx * self._scale, y - dy * self._scale), self._scale)

    def zoom(self, factor: float, anchor: Position | None = None) -> None:
        """Magnify by `factor`; the position `anchor` keeps its place on the screen (default: the centre)."""
        if not (factor > 0 and math.isfinite(factor)):
            return
        fitting = self._fitting()
        scale = min(max(self._scale / factor, min(self._finest / PIXELS_PER_POINT, fitting)), ZOOMED_OUT * fitting)
        ratio = scale / self._scale
        anchor = anchor or self._centre
        self._fitted = False
        self._look(
            (anchor[0] + (self._centre[0] - anchor[0]) * ratio, anchor[1] + (self._centre[1] - anchor[1]) * ratio),
            scale,
        )

    def point(self, position: Position | None) -> None:
        """Put the cross-hair there, or nowhere."""
        if position != self._crosshair:
            self._crosshair = position
            self._emit(self.crosshair_changed.emit, 1)

    def _fitting(self) -> float:
        return max(self._extent[0] / self._viewport[0], self._extent[1] / self._viewport[1])

    def _follow(self) -> None:
        if self._fitted:
            self._look((0.0, 0.0), self._fitting())
        else:
            self._look(self._centre, self._scale)

    def _look(self, centre: Position, scale: float) -> None:
        """Look there; the centre never leaves the largest scan, so that no tile is lost."""
        half_x, half_y = self._extent[0] / 2, self._extent[1] / 2
        centre = min(max(centre[0], -half_x), half_x), min(max(centre[1], -half_y), half_y)
        if (centre, scale) != (self._centre, self._scale):
            self._centre, self._scale = centre, scale
            self._emit(self.changed.emit, 0)

    def _emit(self, emit: Callable[[], None], which: int) -> None:
        """Emit; a change made by a listener is told after all have heard of the present one."""
        if which in self._emitting:
            self._again.add(which)
            return
        self._emitting.add(which)
        try:
            emit()
            while which in self._again:
                self._again.discard(which)
                emit()
        finally:
            self._emitting.discard(which)
            self._again.discard(which)
