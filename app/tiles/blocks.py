"""Oblique reliefs of one map as a picture shows them: made in the background, the latest few kept."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from math import ceil

import numpy as np
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QImage, QPainter

from app.document.jobs import Jobs, Ticket
from app.tiles.look import Cast
from app.tiles.state import Range
from app.tiles.view import View, points_seen
from core.display import Window
from core.heightmap import HeightMap
from core.oblique import Picture, Stage, oblique, room

KEPT = 4  # reliefs of one tile: there and back between two ranges or two exaggerations costs nothing
SMALLEST = 16  # pixels
FINE = 2  # drawn so many times larger and averaged, once the coarse one is there


@dataclass(frozen=True)
class Block:
    """One relief: which points, on which stage, how large."""

    window: Window
    stage: Stage
    shape: tuple[int, int]
    smooth: int = 1


class Blocks:
    """The reliefs of one map.

    Parameters
    ----------
    jobs : Jobs
        Where they are made.
    changed : callable
        Called when there is something better to draw.
    """

    def __init__(self, jobs: Jobs, changed: Callable[[], None]) -> None:
        self._jobs, self._changed = jobs, changed
        self._scan: HeightMap | None = None
        self._kept: OrderedDict[Block, QImage] = OrderedDict()
        self._asked: tuple[Block, Ticket] | None = None
        self._wanted: Block | None = None
        self._stale = False

    @property
    def waits(self) -> bool:
        """Whether one is being made."""
        return self._asked is not None

    def set_scan(self, scan: HeightMap | None) -> None:
        """Show this map; the last relief of the former one stays until there is one of it."""
        self.drop()
        last = list(self._kept.items())[-1:]
        self._kept.clear()
        self._kept.update({} if scan is None else last)
        self._scan = scan
        self._stale = bool(self._kept)

    def drop(self) -> None:
        """Forget what was asked for."""
        if self._asked is not None:
            self._asked[1].drop()
            self._asked = None

    def request(self, view: View, limits: Range, cast: Cast) -> None:
        """Ask for the relief of what a view sees, unless it is there. One at a time, so that a drag starves no tile."""
        self._wanted = None if self._scan is None else _block(self._scan, view, limits, cast)
        self._go_on()

    def draw(self, painter: QPainter, view: View) -> None:
        """Draw the latest relief in the middle of the picture."""
        if not self._kept:
            return
        image = next(reversed(self._kept.values()))
        wide, high = image.width() / view.ratio, image.height() / view.ratio
        fit = min(1.0, view.width / wide, view.height / high)
        wide, high = wide * fit, high * fit
        x, y = (view.width - wide) / 2, (view.height - high) / 2
        corner = QPointF(round(x * view.ratio) / view.ratio, round(y * view.ratio) / view.ratio)
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, fit < 1)
        painter.drawImage(QRectF(corner.x(), corner.y(), wide, high), image, QRectF(image.rect()))

    def _go_on(self) -> None:
        scan, wanted = self._scan, self._wanted
        if scan is None or wanted is None or self._asked is not None:
            return
        fine = replace(wanted, smooth=FINE)
        for block in (fine, wanted):
            if block in self._kept:
                self._kept.move_to_end(block)
                self._changed()
                break
        if fine in self._kept:
            return
        block = fine if wanted in self._kept else wanted
        ticket = self._jobs.start(partial(_made, scan, block), done=partial(self._take, block), failed=self._lost)
        self._asked = block, ticket

    def _take(self, block: Block, pixels: Picture) -> None:
        self._asked = None
        if self._stale:  # what was kept shows another map
            self._kept.clear()
            self._stale = False
        rows, columns = pixels.shape[:2]
        self._kept.pop(replace(block, smooth=1), None)
        image = QImage(pixels.tobytes(), columns, rows, 4 * columns, QImage.Format.Format_RGBA8888)
        self._kept[block] = image.convertToFormat(QImage.Format.Format_ARGB32_Premultiplied)
        while len(self._kept) > KEPT:
            self._kept.popitem(last=False)
        self._changed()
        if block.smooth == FINE:
            if self._wanted != replace(block, smooth=1):
                self._go_on()
        else:
            self._go_on()

    def _lost(self, error: Exception) -> None:
        self._asked = None
        raise error


def _block(scan: HeightMap, view: View, limits: Range, cast: Cast) -> Block | None:
    window = points_seen(scan, view)
    full = int(view.height * view.ratio), int(view.width * view.ratio)
    if window is None or min(full) < SMALLEST:
        return None
    stage = Stage(*limits, cast.exaggeration)
    if cast.pixels is None:
        return Block(window, stage, full)
    size = (window[1] - window[0]) * scan.pitch[0], (window[3] - window[2]) * scan.pitch[1]
    rows, columns = (ceil(side * cast.pixels * view.ratio) + 2 for side in room(size, stage))
    shape = min(max(rows, SMALLEST), full[0]), min(max(columns, SMALLEST), full[1])
    return Block(window, stage, shape)


def _made(scan: HeightMap, block: Block, _ticket: Ticket) -> Picture:
    top, bottom, left, right = block.window
    if (bottom - top, right - left) != scan.shape:
        scan = HeightMap(np.ascontiguousarray(scan.z[top:bottom, left:right]), scan.pitch)
    return oblique(scan, block.stage, shape=block.shape, smooth=block.smooth)
