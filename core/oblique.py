"""Oblique relief: a map seen from the front and above as a block, heights drawn upward at a stated exaggeration.

Pictures of one comparison share the exaggeration, so that a flat surface stays flat beside a rough one. The projection
is a parallel one: the near edge is drawn to scale, each row behind it a little higher and a little more to the right,
and nothing shrinks with distance. Hidden parts are found by a floating horizon, column by column: going from the near
edge to the far one, a row is visible where it rises above everything before it (T. J. Wright, IEEE Trans. Comput. C-22
(1973) 28, from memory). Drawn in software, so that it looks the same on every machine and in every file.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.colours import MISSING, OVER, UNDER, height_table
from core.display import level
from core.errors import MapError, QuantityError
from core.heightmap import BoolArray, FloatArray, HeightMap

DEPTH, SHEAR = 0.42, 0.38  # how far up and how far right the far edge stands, in lengths of the side that leads back
PLINTH = 0.04  # thickness of the block below the lowest height of the range, in lengths of its near edge
HEADROOM = 0.25  # room above the range for what rises out of it, in shares of the range
FILLED = 0.30  # share of the near edge that the range rises to when nobody says the exaggeration
LIGHT = (-0.45, -0.45, 0.77)  # from the upper left, towards the light: x right, y down, z up
AMBIENT = 0.45
WALL = np.array([0x7A, 0x84, 0x94], dtype=np.uint8)  # the sides of the block
DARKER = 0.82  # the right side of the block against the front

Picture = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Stage:
    """What all reliefs of one comparison share.

    Attributes
    ----------
    low, high : float
        Ends of the colour range, metres; `low` is where the block's top would lie if the surface had that height.
    exaggeration : float
        Vertical over lateral scale.
    """

    low: float
    high: float
    exaggeration: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low < self.high):
            raise QuantityError("A height range needs two ends, the lower one first", fix="Write 0nm:100nm.")
        if not (math.isfinite(self.exaggeration) and self.exaggeration > 0):
            raise QuantityError("The exaggeration must be a positive number", fix="Write 50 for 50 times.")


def stage(maps: Sequence[HeightMap], low: float, high: float) -> Stage:
    """The stage on which the shared range rises to 30 % of the near edge of the middle-sized map.

    Parameters
    ----------
    maps : sequence of HeightMap
        All maps that are seen together.
    low, high : float
        The shared range, metres.

    Returns
    -------
    Stage
        With the exaggeration rounded down to one significant digit 1, 2 or 5, so that it can be told in a caption.

    Examples
    --------
    >>> stage([HeightMap(np.zeros((64, 64)), (1e-8, 1e-8))], 0.0, 1e-9).exaggeration
    100.0
    """
    return staged([scan.size[1] for scan in maps], low, high)


def staged(widths: Sequence[float], low: float, high: float) -> Stage:
    """As `stage`, from the lengths of the near edges, metres: for views that show a part of each map.

    Examples
    --------
    >>> staged([640e-9, 10e-6, 640e-9], 0.0, 1e-9).exaggeration
    100.0
    """
    sides = sorted(widths)
    side = sides[(len(sides) - 1) // 2] if sides else 1e-6
    exact = FILLED * side / (high - low) if high > low else 1.0
    power = 10.0 ** math.floor(math.log10(exact))
    return Stage(low, high, max(step for step in (1, 2, 5) if step * power <= exact * (1 + 1e-9)) * power)


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where the block lies in the picture; pixels, y downward.

    Attributes
    ----------
    scale : float
        Pixels to a metre along the near edge.
    left, near : float
        Left end of the near edge, and the y at which height `low` lies on it.
    wide, deep : int
        Pixels of the near edge, and rows that are drawn from near to far.
    back, aside : float
        How far up and how far right the far edge stands.
    plinth : float
        Thickness of the block below `low`.
    lift : float
        Pixels to a metre of height.
    """

    scale: float
    left: float
    near: float
    wide: int
    deep: int
    back: float
    aside: float
    plinth: float
    lift: float


def room(size: tuple[float, float], on: Stage) -> tuple[float, float]:
    """Height and width of the picture of a block in metres along its near edge: pictures of one lateral scale need it.

    Parameters
    ----------
    size : (float, float)
        Sides of the map down and across, metres.
    on : Stage
        Range and exaggeration.

    Examples
    --------
    >>> [round(side * 1e6, 3) for side in room((1e-6, 1e-6), Stage(0.0, 1e-9, 100.0))]
    [0.585, 1.38]
    """
    down, across = size
    rise = on.exaggeration * (on.high - on.low) * (1 + HEADROOM)
    return DEPTH * down + rise + PLINTH * across, across + SHEAR * down


def oblique(scan: HeightMap, on: Stage, *, shape: tuple[int, int], smooth: int = 2) -> Picture:
    """The oblique relief of a map.

    Parameters
    ----------
    scan : HeightMap
        The treated map; masked points are shown, missing ones are holes down to the lowest height, in grey.
    on : Stage
        Range and exaggeration, shared by all maps of a comparison.
    shape : (int, int)
        Rows and columns of the picture, pixels; the block is fitted in.
    smooth : int, default 2
        The picture is drawn this many times larger and averaged down.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 4)
        Red, green, blue, opacity; transparent around the block. Heights have the colours of the flat picture, made
        lighter or darker by the light; a level part has exactly its colour.

    Raises
    ------
    MapError
        If the picture has fewer than 16 pixels in a row or column.

    Examples
    --------
    >>> flat = HeightMap(np.zeros((32, 32)), pitch=(1e-8, 1e-8))
    >>> picture = oblique(flat, Stage(-1e-9, 1e-9, 20.0), shape=(60, 80))
    >>> picture.shape, int(picture[..., 3].max())
    ((60, 80, 4), 255)
    """
    if min(shape) < 16:
        raise MapError(f"A picture of {shape[0]} × {shape[1]} pixels is too small for a relief")
    rows, columns = (side * smooth for side in shape)
    drawn = _drawn(scan, on, _frame(scan, on, rows, columns), rows, columns)
    return _averaged(drawn, smooth)


def shading(heights: FloatArray, pitch: tuple[float, float], exaggeration: float) -> FloatArray:
    """How much lighter or darker each point is for the light from the upper left; 1 where it is level.

    Parameters
    ----------
    heights : ndarray, shape (ny, nx)
        Metres, without gaps.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    exaggeration : float
        By which slopes are multiplied before they are lit.

    Returns
    -------
    ndarray, shape (ny, nx)
        Factors between 0.45 and about 1.5: ambient + (1 − ambient)·(n·l)/(n₀·l), n the normal of the slope (Lambert's
        cosine law), n₀ the vertical.

    Examples
    --------
    >>> shading(np.zeros((2, 2)), (1e-8, 1e-8), 10.0).tolist()
    [[1.0, 1.0], [1.0, 1.0]]
    """
    down = np.gradient(heights, axis=0) * (exaggeration / pitch[0]) if heights.shape[0] > 1 else np.zeros_like(heights)
    across = (
        np.gradient(heights, axis=1) * (exaggeration / pitch[1]) if heights.shape[1] > 1 else np.zeros_like(heights)
    )
    x, y, z = LIGHT
    lit = np.maximum(0.0, z - x * across - y * down) / np.sqrt(1 + down**2 + across**2)
    factor: FloatArray = AMBIENT + (1 - AMBIENT) * lit / z
    return factor


def _frame(scan: HeightMap, on: Stage, rows: int, columns: int) -> _Frame:
    """The block as large as the picture allows, with headroom above it."""
    down, across = scan.size
    rise = on.exaggeration * (on.high - on.low) * (1 + HEADROOM)
    tallest, widest = room(scan.size, on)
    scale = min((columns - 2) / widest, (rows - 2) / tallest)
    wide, back, aside, plinth = (length * scale for length in (across, DEPTH * down, SHEAR * down, PLINTH * across))
    tall = back + rise * scale + plinth
    return _Frame(
        scale=scale,
        left=(columns - wide - aside) / 2,
        near=(rows + tall) / 2 - plinth,
        wide=max(2, int(wide)),
        deep=max(2, math.ceil(2 * back)),
        back=back,
        aside=aside,
        plinth=plinth,
        lift=on.exaggeration * scale,
    )


def _drawn(scan: HeightMap, on: Stage, frame: _Frame, rows: int, columns: int) -> Picture:
    heights, colours = _surface(scan, on, frame)
    top, first = _horizons(heights, on, frame, columns)
    picture = np.zeros((rows, columns, 4), dtype=np.uint8)
    middles = np.arange(rows) + 0.5
    step = frame.back / (frame.deep - 1)
    for x in np.flatnonzero(first < frame.deep):
        begin = int(first[x])
        seen = begin + np.searchsorted(-top[begin:, x], -middles)  # the first row that rises to each pixel or above
        ground = frame.near - step * begin + frame.plinth
        drawn = (seen < frame.deep) & (middles < ground)
        side = drawn & (seen == begin) & (middles > top[begin, x] + step)
        behind = seen[drawn]
        picture[drawn, x, :3] = colours[behind, _column(int(x), behind, frame)]
        picture[side, x, :3] = WALL if begin == 0 else WALL * DARKER
        picture[drawn, x, 3] = 255
    return picture


def _surface(scan: HeightMap, on: Stage, frame: _Frame) -> tuple[FloatArray, Picture]:
    """Heights and lit colours on the rows that are drawn, from the near edge to the far one."""
    small = level(scan, min(frame.deep, scan.shape[0]), min(frame.wide, scan.shape[1]))
    heights = small.z.astype(np.float64) + small.origin
    missing = None if small.present is None else small.present == 0
    if missing is not None:
        heights = np.where(missing, on.low, heights)
    shape = heights.shape
    pitch = (scan.size[0] / shape[0], scan.size[1] / shape[1])
    lit = shading(heights, pitch, on.exaggeration)
    colours = np.clip(_coloured(heights, missing, on) * lit[..., None], 0, 255).astype(np.uint8)
    # Rows and columns of the picture: each takes its nearest sample.
    row = np.minimum((np.arange(frame.deep) + 0.5) * shape[0] / frame.deep, shape[0] - 1).astype(int)[::-1]
    column = np.minimum((np.arange(frame.wide) + 0.5) * shape[1] / frame.wide, shape[1] - 1).astype(int)
    chosen = np.ix_(row, column)
    return heights[chosen], colours[chosen]


def _coloured(heights: FloatArray, missing: BoolArray | None, on: Stage) -> FloatArray:
    place = (heights - on.low) / (on.high - on.low)
    colours = height_table()[np.clip(place * 255 + 0.5, 0, 255).astype(np.uint8)].astype(np.float64)
    colours[place < 0] = UNDER
    colours[place > 1] = OVER
    if missing is not None:
        colours[missing] = MISSING
    return colours


def _horizons(heights: FloatArray, on: Stage, frame: _Frame, columns: int) -> tuple[FloatArray, NDArray[np.intp]]:
    """The highest y that rows up to each one reach, by picture column; and the first row that each column meets."""
    step = frame.back / (frame.deep - 1)
    rows = np.arange(frame.deep)
    y = frame.near - step * rows[:, None] - frame.lift * np.maximum(heights - on.low, 0.0)
    top = np.full((frame.deep, columns), np.inf)
    start = np.rint(frame.left + frame.aside * rows / (frame.deep - 1)).astype(int)
    for row, begin in zip(rows, start, strict=True):
        end = min(begin + frame.wide, columns)
        top[row, max(begin, 0) : end] = y[row, max(-begin, 0) : end - begin]
    met = np.isfinite(top)
    first = np.where(met.any(axis=0), met.argmax(axis=0), frame.deep)
    return np.minimum.accumulate(top, axis=0), first


def _column(x: int, rows: NDArray[np.intp], frame: _Frame) -> NDArray[np.intp]:
    """Column of the surface that stands at picture column `x` in these rows."""
    start = np.rint(frame.left + frame.aside * rows / (frame.deep - 1)).astype(int)
    column: NDArray[np.intp] = np.clip(x - start, 0, frame.wide - 1)
    return column


def _averaged(picture: Picture, by: int) -> Picture:
    """Blocks of `by` × `by` pixels as one; colours weigh by their opacity, so that edges take no dark rim."""
    if by == 1:
        return picture
    rows, columns = picture.shape[0] // by, picture.shape[1] // by
    blocks = picture.reshape(rows, by, columns, by, 4).astype(np.float64)
    opacity = blocks[..., 3:]
    sums = opacity.sum(axis=(1, 3))
    colours = (blocks[..., :3] * opacity).sum(axis=(1, 3)) / np.maximum(sums, 1)
    out: Picture = np.concatenate([colours, sums / by**2], axis=2).round().astype(np.uint8)
    return out
