"""What a picture of a map shows: heights reduced to the pixels of the screen with peaks kept, and their exact colours.

Numbers are never taken from here: readings come from the map itself. A picture has far fewer pixels than a map has
points; averaging would make a one-point bump vanish, picking points would lose most of them, and showing the largest
departure of each block would turn noise into a field of bumps. So a pixel is the mean of its block, except where a
point departs from that mean by more than six robust standard deviations: there the point itself is shown.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.blocks import Edges, block_extremes, block_sums
from core.colours import MASKED, MISSING, OVER, UNDER
from core.errors import MapError
from core.heightmap import BoolArray, FloatArray, HeightMap

Pixels = NDArray[np.uint32]
Window = tuple[int, int, int, int]

KEPT = 6.0  # robust standard deviations: below it white noise shows no false peak, methods measured for this program
SAMPLE = 1 << 16  # points that the robust standard deviation of the departures is taken from
MISSING_CLASS, UNDER_CLASS, FIRST, LAST, OVER_CLASS = 0, 1, 2, 254, 255
SHADES = LAST - FIRST + 1
TINY = np.float32(1e-30)  # metres; the narrowest range


@dataclass(frozen=True, eq=False)
class Level:
    """A map, or a window of it, reduced for display.

    Attributes
    ----------
    z : ndarray of float32, shape (rows, columns)
        Heights above `origin`, metres; zero where missing.
    origin : float
        Height that was subtracted before rounding to single precision, metres.
    present : ndarray of uint8, shape (rows, columns), or None
        One where a height is shown, zero where all points of the block are missing; None when none is missing.
    masked : ndarray of bool, shape (rows, columns), or None
        True where a block holds a masked point; None when none does.
    grid : (int, int)
        Rows and columns that the whole map has at this reduction.
    window : (int, int, int, int)
        First and end row, first and end column of this level in that grid.
    kept : int
        Number of pixels that show a peak instead of the mean.
    """

    z: NDArray[np.float32]
    origin: float
    present: NDArray[np.uint8] | None
    masked: BoolArray | None
    grid: tuple[int, int]
    window: Window
    kept: int

    @property
    def whole(self) -> bool:
        """Whether it shows the whole map."""
        return self.window == (0, self.grid[0], 0, self.grid[1])


def level(scan: HeightMap, rows: int, columns: int, window: Window | None = None) -> Level:
    """The map reduced to a grid of pixels: block means, with peaks kept.

    A pixel spans ``ny / rows`` × ``nx / columns`` points, which need not be whole numbers: points on the border of two
    pixels count in each mean by the share that lies in it, and as a peak in exactly one.

    Parameters
    ----------
    scan : HeightMap
        The map; missing points are left out of the mean, masked ones are shown and flagged.
    rows, columns : int
        Pixels of the whole map. More than there are points means one pixel for each point.
    window : (int, int, int, int), optional
        First and end row, first and end column of the part that is wanted, in pixels. Default: all.

    Returns
    -------
    Level
        Heights in metres above the level's origin.

    Raises
    ------
    MapError
        If there is no pixel, or the window is not inside the grid.

    Notes
    -----
    With the block mean ``m`` and the point ``p`` of the block that is farthest from the mean about it, a pixel is ``p``
    where ``|p − m| > 6 σ``, and ``m`` elsewhere. σ is 1.4826 times the median of ``|z − m|`` over a sample of points,
    divided by √(1 − 1/n) for n points to a pixel.

    Examples
    --------
    >>> import numpy as np
    >>> z = np.zeros((64, 64)); z[20, 33] = 5e-9
    >>> small = level(HeightMap(z, (1e-8, 1e-8)), 8, 8)
    >>> small.z.shape, round(float(small.z.max()) * 1e9, 3), small.kept
    ((8, 8), 5.0, 1)
    """
    ny, nx = scan.shape
    grid = min(int(rows), ny), min(int(columns), nx)
    window = window or (0, grid[0], 0, grid[1])
    top, bottom, left, right = window
    if not (0 <= top < bottom <= grid[0] and 0 <= left < right <= grid[1]):
        raise MapError(f"There is no window {window} in a picture of {grid[0]} × {grid[1]} pixels")
    down = Edges(ny, grid[0], top, bottom)
    across = Edges(nx, grid[1], left, right)
    part = scan.z[down.span, across.span]
    gaps = ~np.isfinite(part) if scan.missing else None
    if gaps is not None and not gaps.any():
        gaps = None
    origin = _origin(part, gaps)
    if (bottom - top, right - left) == part.shape:
        return _as_it_is(scan, part - origin, gaps, origin, (down, across), grid, window)
    mean, count = _means(part, gaps, origin, down, across)
    high, low = _extremes(part, gaps, origin, down, across)
    shown = count > 0
    with np.errstate(invalid="ignore"):
        around = _around(mean)
        far = np.where(high - around >= around - low, high, low)
        departs = np.abs(far - mean) > KEPT * _spread(part, gaps, origin, mean, down, across)
    departs &= shown & np.isfinite(far)  # a pixel may own no point and yet share its neighbour's
    heights = np.where(departs, far, mean)
    heights[~shown] = 0.0
    return Level(
        z=heights.astype(np.float32),
        origin=origin,
        present=None if shown.all() else shown.astype(np.uint8),
        masked=_masked(scan, down, across),
        grid=grid,
        window=window,
        kept=int(np.count_nonzero(departs)),
    )


def paint(
    shown: Level, low: float, high: float, table: NDArray[np.uint32], canvas: Canvas | None = None, *, mask: bool = True
) -> Pixels:
    """The pixels of a level for one height range, each in exactly the class that its height belongs to.

    Parameters
    ----------
    shown : Level
        The heights.
    low, high : float
        Ends of the range, metres; heights equal to an end are inside.
    table : ndarray of uint32, shape (256,)
        From `pixel_table`.
    canvas : Canvas, optional
        Buffers to work in; repeated painting then allocates nothing.
    mask : bool, default True
        Tint the masked points.

    Returns
    -------
    ndarray of uint32, shape (rows, columns)
        ``0xFFRRGGBB``: the memory of a 32-bit picture. Belongs to the canvas.

    Examples
    --------
    >>> from core.colours import height_table
    >>> tiny = level(HeightMap([[-1e-9, 0.0, 1e-9, 3e-9]], (1e-8, 1e-8)), 1, 4)
    >>> [f"{p:06x}" for p in paint(tiny, 0.0, 2e-9, pixel_table(height_table()))[0] & 0xFFFFFF]
    ['e02c8c', '00054a', '6c8e93', 'ff5c5c']
    """
    canvas = canvas if canvas is not None and canvas.shape == shown.z.shape else Canvas(shown.z.shape)
    bottom, top = np.float32(low - shown.origin), np.float32(high - shown.origin)
    top = max(top, np.nextafter(bottom, np.float32(np.inf)), bottom + TINY)
    work, index, outside = canvas.work, canvas.index, canvas.outside
    # Rounding a height to single precision keeps order, so comparing with rounded ends moves no point over an end.
    np.clip(shown.z, bottom, top, out=work)
    np.subtract(work, bottom, out=work)
    np.multiply(work, np.float32(SHADES / (float(top) - float(bottom))), out=work)
    np.minimum(work, np.float32(SHADES - 1), out=work)
    np.copyto(index, work, casting="unsafe")
    index += np.uint8(FIRST)
    np.greater(shown.z, top, out=outside)
    index += outside.view(np.uint8)
    np.less(shown.z, bottom, out=outside)
    index -= outside.view(np.uint8)
    if shown.present is not None:
        index *= shown.present
    np.take(table, index, out=canvas.pixels, mode="clip")
    if mask and shown.masked is not None:
        _tint(canvas.pixels, shown.masked)
    return canvas.pixels


class Canvas:
    """The buffers that painting one size of picture needs.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    """

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.pixels: Pixels = np.empty(shape, np.uint32)
        self.work = np.empty(shape, np.float32)
        self.index = np.empty(shape, np.uint8)
        self.outside = np.empty(shape, np.bool_)

    @property
    def shape(self) -> tuple[int, ...]:
        """Rows and columns."""
        return self.pixels.shape


def pixel_table(colours: NDArray[np.uint8]) -> NDArray[np.uint32]:
    """The 256 pixels of `paint`: missing, under, 253 height colours, over.

    Parameters
    ----------
    colours : ndarray of uint8, shape (256, 3)
        Height colours from lowest to highest.
    """
    picks = np.round(np.linspace(0, len(colours) - 1, SHADES)).astype(int)
    rgb = np.zeros((256, 3), np.int64)
    rgb[MISSING_CLASS], rgb[UNDER_CLASS], rgb[OVER_CLASS] = MISSING, UNDER, OVER
    rgb[FIRST : LAST + 1] = colours[picks]
    table = (0xFF000000 | rgb[:, 0] << 16 | rgb[:, 1] << 8 | rgb[:, 2]).astype(np.uint32)
    table.flags.writeable = False
    return table


def _origin(part: FloatArray, gaps: BoolArray | None) -> float:
    """A height that is there, near all others: single precision then resolves far more than a colour step."""
    if gaps is None:
        return float(part[part.shape[0] // 2, part.shape[1] // 2])
    there = np.flatnonzero(~gaps.reshape(-1))
    return float(part.reshape(-1)[there[there.size // 2]]) if there.size else 0.0


def _as_it_is(
    scan: HeightMap,
    heights: FloatArray,
    gaps: BoolArray | None,
    origin: float,
    edges: tuple[Edges, Edges],
    grid: tuple[int, int],
    window: Window,
) -> Level:
    """The level that has a pixel for each point."""
    if gaps is not None:
        heights[gaps] = 0.0
    present = None if gaps is None else (~gaps).astype(np.uint8)
    return Level(heights.astype(np.float32), origin, present, _masked(scan, *edges), grid, window, 0)


def _means(
    part: FloatArray, gaps: BoolArray | None, origin: float, down: Edges, across: Edges
) -> tuple[FloatArray, FloatArray]:
    """Mean height above `origin` of each pixel, and how many points (with shares) are behind it."""
    if gaps is None:
        count = np.multiply.outer(down.widths, across.widths)
        total = block_sums(part, down, across) - origin * count
    else:
        total = block_sums(np.where(gaps, 0.0, part - origin), down, across)
        count = block_sums((~gaps).astype(np.float64), down, across)
        count[count < 1e-9] = 0.0
    with np.errstate(invalid="ignore", divide="ignore"):
        return total / count, count


def _extremes(
    part: FloatArray, gaps: BoolArray | None, origin: float, down: Edges, across: Edges
) -> tuple[FloatArray, FloatArray]:
    """Highest and lowest point of each pixel above `origin`; minus and plus infinity where it owns none."""
    found = []
    for best, none in ((np.maximum, -np.inf), (np.minimum, np.inf)):
        there = part if gaps is None else np.where(gaps, none, part)
        found.append(block_extremes(there, best, none, down, across) - origin)
    return found[0], found[1]


def _around(mean: FloatArray) -> FloatArray:
    """Mean of each pixel and its eight neighbours: which of two points is the odd one, a pixel of two cannot tell."""
    there = np.isfinite(mean)
    total = np.pad(np.where(there, mean, 0.0), 1)
    count = np.pad(there.astype(np.float64), 1)
    for axis in (0, 1):
        ahead, here, behind = (slice(2, None), slice(1, -1), slice(None, -2))
        cut = [(part, slice(None)) if axis == 0 else (slice(None), part) for part in (ahead, here, behind)]
        total = total[cut[0]] + total[cut[1]] + total[cut[2]]
        count = count[cut[0]] + count[cut[1]] + count[cut[2]]
    return total / count


def _spread(
    part: FloatArray,
    gaps: BoolArray | None,
    origin: float,
    mean: FloatArray,
    down: Edges,
    across: Edges,
) -> float:
    """Robust standard deviation of how points depart from the mean of their pixel."""
    points = np.arange(0, part.size, max(1, part.size // SAMPLE) | 1)  # an odd stride meets every column
    y, x = np.divmod(points, part.shape[1])
    departures = np.abs(part[y, x] - origin - mean[down.pixel_of(y), across.pixel_of(x)])
    if gaps is not None:
        departures = departures[~gaps[y, x]]
    departures = departures[np.isfinite(departures)]
    if departures.size == 0:
        return 0.0
    behind = part.size / mean.size  # points for each pixel: a mean of few follows them, so they depart too little
    return 1.4826 * float(np.median(departures)) / float(np.sqrt(max(1 - 1 / behind, 1e-3)))


def _masked(scan: HeightMap, down: Edges, across: Edges) -> BoolArray | None:
    """Pixels that hold a masked point."""
    if scan.mask is None:
        return None
    y, x = np.nonzero(scan.mask[down.span, across.span])
    if y.size == 0:
        return None
    flags = np.zeros((down.count, across.count), np.bool_)
    flags[down.pixel_of(y), across.pixel_of(x)] = True
    return flags


def _tint(pixels: Pixels, masked: BoolArray) -> None:
    """Half the mask's colour over the masked pixels: the height stays readable beneath."""
    red, green, blue = MASKED
    over = np.uint32((red << 16 | green << 8 | blue) >> 1 & 0x7F7F7F)
    pixels[masked] = (pixels[masked] >> np.uint32(1) & np.uint32(0x7F7F7F)) + over | np.uint32(0xFF000000)
