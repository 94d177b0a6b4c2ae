"""One level as an image: coloured again only when the limits changed, drawn pixel on pixel where it can be."""

from __future__ import annotations

import weakref
from functools import cache

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QImage, QPainter

from app.tiles.view import View, Wanted
from core.colours import height_table
from core.display import Canvas, Level, paint, pixel_table
from core.heightmap import HeightMap


@cache
def table() -> NDArray[np.uint32]:
    """The pixels of all height classes."""
    return pixel_table(height_table())


class Raster:
    """A level with its pixels.

    Parameters
    ----------
    scan : HeightMap
        Whose heights it shows; it is not kept alive.
    level : Level
        The reduced heights.
    """

    def __init__(self, scan: HeightMap, level: Level) -> None:
        self.size = scan.size
        self._scan = weakref.ref(scan)
        self.level = level
        self.shows = Wanted(*level.grid, level.window)
        self._canvas = Canvas(level.z.shape)
        rows, columns = level.z.shape
        # The image shares the canvas's memory, which lives as long as this object does.
        self._image = QImage(self._canvas.pixels.data, columns, rows, 4 * columns, QImage.Format.Format_RGB32)
        self._limits: tuple[float, float] | None = None

    def scan_is(self, scan: HeightMap) -> bool:
        """Whether it was made from this map."""
        return self._scan() is scan

    def image(self, limits: tuple[float, float]) -> QImage:
        """The picture for these limits."""
        if limits != self._limits:
            paint(self.level, *limits, table(), self._canvas)
            self._limits = limits
        return self._image

    def draw(self, painter: QPainter, view: View, limits: tuple[float, float]) -> None:
        """Draw what of it lies in the view.

        Levels have one pixel per device pixel and are copied one to one; a level of another view is stretched until its
        successor is there. Points larger than a pixel become plain squares, so that nobody takes a blur for measured.
        """
        image = self.image(limits)
        place = self._place(painter, view)
        reduced = place.width() * view.ratio < image.width() - 0.5
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, reduced)
        painter.drawImage(place, image, QRectF(image.rect()))

    def _place(self, painter: QPainter, view: View) -> QRectF:
        """Where it lies in the picture, its corners on device pixels."""
        top, bottom, left, right = self.level.window
        rows, columns = self.level.grid
        high, wide = self.size
        to_device = painter.deviceTransform()
        corners = []
        for column, row in ((left, top), (right, bottom)):
            x, y = view.to_screen((column / columns - 0.5) * wide, (row / rows - 0.5) * high)
            corners.append(to_device.map(QPointF(x, y)))
        x, y = round(corners[0].x()), round(corners[0].y())
        width, height = corners[1].x() - corners[0].x(), corners[1].y() - corners[0].y()
        # The grid was rounded to whole device pixels: up to half a pixel over the whole map, taken out here.
        width = right - left if abs(width - (right - left)) < 1 else round(width)
        height = bottom - top if abs(height - (bottom - top)) < 1 else round(height)
        back, _ = to_device.inverted()
        return QRectF(back.map(QPointF(x, y)), back.map(QPointF(x + width, y + height)))
