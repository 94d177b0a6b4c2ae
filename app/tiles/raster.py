"""One level as an image: coloured again only when the limits changed, drawn pixel on pixel where it can be."""

from __future__ import annotations

import weakref
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QImage, QPainter

from app.tiles.view import View, Wanted
from core.colours import height_table
from core.display import Canvas, Level, paint, pixel_table
from core.heightmap import HeightMap
from core.oblique import shading

LIFT = 2.0  # how strongly white lightens what faces the light: heights near the dark end would hardly show a factor


@cache
def table() -> NDArray[np.uint32]:
    """The pixels of all height classes."""
    return pixel_table(height_table())


@dataclass(frozen=True, eq=False)
class Shade:
    """Light and shade of a level, laid over its colours.

    Attributes
    ----------
    exaggeration : float
        By which slopes were multiplied.
    pixels : ndarray of uint32
        Black or white with the opacity that the light asks for, premultiplied.
    """

    exaggeration: float
    pixels: NDArray[np.uint32]


def shaded(shown: Level, size: tuple[float, float], exaggeration: float) -> Shade:
    """The light on a level from the upper left; what is missing stays as it is.

    Parameters
    ----------
    shown : Level
        The reduced heights.
    size : (float, float)
        Sides of the whole map, metres.
    exaggeration : float
        Vertical over lateral scale.
    """
    pitch = (size[0] / shown.grid[0], size[1] / shown.grid[1])
    factor = shading(shown.z.astype(np.float64), pitch, exaggeration)
    if shown.present is not None:
        factor[shown.present == 0] = 1.0
    white = np.clip((factor - 1) * (255 * LIFT), 0, 255).astype(np.uint32)
    black = np.clip((1 - factor) * 255, 0, 255).astype(np.uint32)
    return Shade(exaggeration, (white + black) << np.uint32(24) | white * np.uint32(0x010101))


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
        self._shade: Shade | None = None
        self._over: QImage | None = None

    @property
    def lit_at(self) -> float | None:
        """The exaggeration of its light; None without any."""
        return self._shade.exaggeration if self._shade is not None else None

    def light(self, shade: Shade) -> None:
        """Lay this light over it."""
        rows, columns = shade.pixels.shape
        self._shade = shade  # owns the memory of the image
        kind = QImage.Format.Format_ARGB32_Premultiplied
        self._over = QImage(shade.pixels.data, columns, rows, 4 * columns, kind)

    def scan_is(self, scan: HeightMap) -> bool:
        """Whether it was made from this map."""
        return self._scan() is scan

    def image(self, limits: tuple[float, float]) -> QImage:
        """The picture for these limits."""
        if limits != self._limits:
            paint(self.level, *limits, table(), self._canvas)
            self._limits = limits
        return self._image

    def draw(self, painter: QPainter, view: View, limits: tuple[float, float], *, lit: bool = False) -> None:
        """Draw what of it lies in the view.

        Levels have one pixel per device pixel and are copied one to one; a level of another view is stretched until its
        successor is there. Points larger than a pixel become plain squares, so that nobody takes a blur for measured.
        """
        image = self.image(limits)
        place = self._place(painter, view)
        reduced = place.width() * view.ratio < image.width() - 0.5
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, reduced)
        painter.drawImage(place, image, QRectF(image.rect()))
        if lit and self._over is not None:
            painter.drawImage(place, self._over, QRectF(image.rect()))

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
