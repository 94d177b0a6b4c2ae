r"""Roughness against the side of the window in which it is read, a plane removed in every window.

Windows of one size stand on a grid of blocks and overlap. What a window needs are the weight, the means and the central
second moments of its points (ten numbers); those of a window are put together from those of its two halves, so the
cost depends neither on the number of windows nor on their size. Central moments only add up: nothing cancels, as it
would in differences of running sums over the whole map.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from core.heightmap import BoolArray, FloatArray, HeightMap, frozen
from core.selection import typical_height

BLOCK = 8
"""Points on the side of the smallest window, on the axis with the wider pitch."""

MOST_MISSING = 0.1
"""Share of points that do not count above which a window is left out."""

LOW, HIGH = 0.16, 0.84
"""Quantiles that bound the middle two thirds of the windows."""

BAND = 8
"""Rows of blocks handled at a time, so that they stay in the cache."""


@dataclass(frozen=True, slots=True, eq=False)
class WindowCurve:
    """RMS against window side of one map; all arrays have one entry for each size, smallest first, and are read-only.

    Attributes
    ----------
    side : ndarray
        Side of a square of the window's area, metres.
    rms : ndarray
        Root of the mean, over the windows, of the variance about each window's own plane; metres.
    low, median, high : ndarray
        16 %, 50 % and 84 % quantiles of the windows' RMS, metres: the spread over the map.
    windows : ndarray of int
        Number of windows that count; neighbours overlap.
    left_out : ndarray of int
        Number of windows left out because more than 10 % of their points do not count.
    points : ndarray of int, shape (k, 2)
        Rows and columns of a window.
    name : str
        Name of the map.
    """

    side: FloatArray
    rms: FloatArray
    low: FloatArray
    median: FloatArray
    high: FloatArray
    windows: NDArray[np.int64]
    left_out: NDArray[np.int64]
    points: NDArray[np.int64]
    name: str = ""

    def __len__(self) -> int:
        return len(self.side)


def window_curve(scan: HeightMap, *, most_missing: float = MOST_MISSING) -> WindowCurve:
    r"""RMS against window side, from 8 points to the whole map, the least-squares plane removed in every window.

    .. math::
        R^2 = \frac1n\left(S_{zz} - \begin{pmatrix}S_{xz}\\S_{yz}\end{pmatrix}^{\!\top}
        \begin{pmatrix}S_{xx}&S_{xy}\\S_{xy}&S_{yy}\end{pmatrix}^{-1}
        \begin{pmatrix}S_{xz}\\S_{yz}\end{pmatrix}\right)

    with the central second moments S of the n points of a window that count. White noise of variance σ² reads
    σ² (1 − 3/n): three of the n degrees of freedom go with the plane, and the mean is over n as in Sq.

    Parameters
    ----------
    scan : HeightMap
        The treated map. Missing and masked points weigh nothing.
    most_missing : float, default 0.1
        Windows in which a greater share of the points does not count are left out.

    Returns
    -------
    WindowCurve
        Empty when no window has points enough. Sizes are 1, 2, 3, 4, 6, 8, 12, 16, 24, ... blocks, and as many as fit.

    Notes
    -----
    A block has 8 points on the axis with the wider pitch and, on the other, the number that comes nearest to a square
    in nanometres: its sides differ by at most 6 %, and so do those of all windows. Windows stand at every block. The
    grid of blocks lies in the middle of the map; up to 7 points beside it are not seen. A plane through the whole map
    is taken off before anything is summed. This changes no window's RMS, as each has its own plane removed, and keeps
    the digits of a map that was not levelled.

    References
    ----------
    Central moments of two parts together: T. F. Chan, G. H. Golub, R. J. LeVeque, Am. Stat. 37 (1983) 242-247,
    doi:10.1080/00031305.1983.10483115.

    Examples
    --------
    >>> z = np.random.default_rng(1).standard_normal((64, 64)) * 1e-9
    >>> curve = window_curve(HeightMap(z, pitch=(1e-8, 1e-8)))
    >>> curve.points[:, 0].tolist(), curve.windows.tolist()
    ([8, 16, 24, 32, 48, 64], [64, 49, 36, 25, 9, 1])
    >>> bool(abs(curve.rms - 1e-9).max() < 0.05e-9)
    True
    """
    high, wide = block_shape(scan.pitch)
    down, across = scan.shape[0] // high, scan.shape[1] // wide
    found = []
    if down and across:
        blocks = _block_moments(scan, high, wide, down, across)
        for size, moments in _windows(blocks, min(down, across)):
            entry = _read(moments, size * size * high * wide, most_missing)
            if entry is not None:
                found.append((size * math.sqrt(high * scan.pitch[0] * wide * scan.pitch[1]), *entry, size))
    columns = np.array(found, np.float64).reshape(-1, 8).T
    side, rms, low, median, upper = (frozen(column.copy()) for column in columns[:5])
    windows, left_out, sizes = columns[5:].astype(np.int64)
    points = np.stack([sizes * high, sizes * wide], axis=1)
    for array in (windows, left_out, points):
        array.flags.writeable = False
    return WindowCurve(side, rms, low, median, upper, windows, left_out, points, scan.name)


def block_shape(pitch: tuple[float, float]) -> tuple[int, int]:
    """Rows and columns of the smallest window: as square in metres as the pixels allow.

    >>> block_shape((1e-8, 1e-8)), block_shape((1e-8, 2.5e-8))
    ((8, 8), (20, 8))
    """
    side = BLOCK * max(pitch)
    return round(side / pitch[0]), round(side / pitch[1])


def sizes_up_to(largest: int) -> list[int]:
    """Window sides in blocks: 2^k and 3·2^k, and the largest that fits.

    >>> sizes_up_to(20)
    [1, 2, 3, 4, 6, 8, 12, 16, 20]
    """
    steps = {2**k for k in range(largest.bit_length())} | {3 * 2**k for k in range(largest.bit_length())}
    return sorted({size for size in steps if size < largest} | {largest})


@dataclass(frozen=True, slots=True, eq=False)
class _Moments:
    """Weight, means and central second moments of windows, by place of the window: arrays that broadcast together.

    On a complete map all but what has z in it is the same for all windows of a row, a column or a size, and is kept
    once only: such an axis has length 1.
    """

    n: FloatArray
    x: FloatArray
    y: FloatArray
    z: FloatArray
    xx: FloatArray
    xy: FloatArray
    yy: FloatArray
    xz: FloatArray
    yz: FloatArray
    zz: FloatArray

    def joined(self, other: _Moments) -> _Moments:
        """Of the points of both."""
        n = self.n + other.n
        share = other.n / np.maximum(n, 1.0)
        weight = self.n * share
        x, y, z = other.x - self.x, other.y - self.y, other.z - self.z
        wx, wy = weight * x, weight * y
        return _Moments(
            n,
            self.x + share * x,
            self.y + share * y,
            self.z + share * z,
            self.xx + other.xx + wx * x,
            self.xy + other.xy + wx * y,
            self.yy + other.yy + wy * y,
            self.xz + other.xz + wx * z,
            self.yz + other.yz + wy * z,
            self.zz + other.zz + weight * z * z,
        )

    def beside(self, other: _Moments, axis: int, distance: int) -> _Moments:
        """Each window together with the other kind of window that starts so many places further along an axis."""
        places = other.zz.shape[axis] - distance
        return self._part(axis, 0, places).joined(other._part(axis, distance, places))

    def _part(self, axis: int, start: int, count: int) -> _Moments:
        cut = (slice(None),) * axis + (slice(start, start + count),)
        every = (getattr(self, name) for name in NAMES)
        return _Moments(*(array if array.shape[axis] == 1 else array[cut] for array in every))


NAMES = tuple(one.name for one in fields(_Moments))


def _windows(blocks: _Moments, largest: int) -> Iterator[tuple[int, _Moments]]:
    """The moments of the windows of every size, each put together from smaller ones."""
    yield 1, blocks
    size, square = 1, blocks
    while 2 * size <= largest:
        tall = square.beside(square, 0, size)
        twice = tall.beside(tall, 1, size)
        yield 2 * size, twice
        if 3 * size <= largest:
            tall = tall.beside(square, 0, 2 * size)
            yield 3 * size, tall.beside(tall, 1, size).beside(tall, 1, 2 * size)
        size, square = 2 * size, twice
    if largest not in (size, size // 2 * 3):
        yield largest, _stretched(_stretched(blocks, largest, 0), largest, 1)


def _stretched(windows: _Moments, times: int, axis: int) -> _Moments:
    """Windows `times` as long, binary digit by binary digit."""
    made = windows
    for length, digit in _digits(times):
        made = made.beside(made, axis, length)
        if digit:
            made = made.beside(windows, axis, 2 * length)
    return made


def _digits(number: int) -> list[tuple[int, bool]]:
    """For each binary digit after the first: the number before it, and whether it is 1.

    >>> _digits(11)
    [(1, False), (2, True), (5, True)]
    """
    return [(number >> k + 1, bool(number >> k & 1)) for k in reversed(range(number.bit_length() - 1))]


def _read(moments: _Moments, full: int, most_missing: float) -> tuple[float, float, float, float, int, int] | None:
    """RMS over the windows, its three quantiles, and how many windows there are and how many were left out."""
    places = moments.zz.shape
    counts = np.broadcast_to(moments.n >= (1 - most_missing) * full * (1 - 1e-12), places)
    windows = int(np.count_nonzero(counts))
    if not windows:
        return None
    if windows < counts.size:
        every = (np.broadcast_to(getattr(moments, name), places)[counts] for name in NAMES)
        moments = _Moments(*every)
    variance = _variance(moments)
    low, median, high = (math.sqrt(quantile) for quantile in _quantiles(variance.reshape(-1)))
    return math.sqrt(float(variance.mean())), low, median, high, windows, counts.size - windows


def _quantiles(values: FloatArray) -> list[float]:
    """Three quantiles, linear between ranks: what numpy gives, without its detours, which cost more than all else here
    where there are few windows."""
    places = [share * (values.size - 1) for share in (LOW, 0.5, HIGH)]
    ranks = [(int(place), min(int(place) + 1, values.size - 1)) for place in places]
    ordered = np.partition(values, sorted({rank for pair in ranks for rank in pair}))
    found = []
    for place, (lower, upper) in zip(places, ranks, strict=True):
        low, high, share = float(ordered[lower]), float(ordered[upper]), place - lower
        found.append(low + share * (high - low) if share < 0.5 else high - (1 - share) * (high - low))
    return found


def _variance(m: _Moments) -> FloatArray:
    """Mean square about the least-squares plane."""
    determinant = m.xx * m.yy - m.xy * m.xy
    by_plane = (m.yy * m.xz * m.xz - 2 * m.xy * m.xz * m.yz + m.xx * m.yz * m.yz) / determinant
    return np.asarray(np.maximum(m.zz - by_plane, 0.0) / m.n)


def _block_moments(scan: HeightMap, high: int, wide: int, down: int, across: int) -> _Moments:
    """Moments of the blocks, the grid in the middle of the map; lengths in points, heights over a rough plane."""
    top, left = (scan.shape[0] - down * high) // 2, (scan.shape[1] - across * wide) // 2
    z = scan.z[top : top + down * high, left : left + across * wide]
    used = None if scan.complete else scan.used[top : top + down * high, left : left + across * wide]
    plane = _rough_plane(scan, z, used)
    parts = [
        _band_moments(z, used, slice(first * high, min(first + BAND, down) * high), high, wide, plane)
        for first in range(0, down, BAND)
    ]
    return _placed({key: np.concatenate([part[key] for part in parts]) for key in parts[0]}, high, wide, used is None)


def _rough_plane(scan: HeightMap, z: FloatArray, used: BoolArray | None) -> tuple[float, FloatArray, FloatArray]:
    """Level, and the rises down and across, of a plane through a few hundred points: near enough to keep the digits."""
    level = typical_height(scan)
    y, x = (np.arange(n) - (n - 1) / 2 for n in z.shape)
    sy, sx = (slice(None, None, max(1, n // 24) | 1) for n in z.shape)
    thin = z[sy, sx] - level
    grid = np.broadcast_arrays(1.0, y[sy, None], x[None, sx])
    counts = np.ones(thin.shape, bool) if used is None else used[sy, sx]
    terms = np.stack([one[counts] for one in grid], axis=1)
    form = np.linalg.lstsq(terms, thin[counts], rcond=None)[0] if counts.any() else np.zeros(3)
    return level + float(form[0]), form[1] * y, form[2] * x


def _band_moments(
    z: FloatArray,
    used: BoolArray | None,
    rows: slice,
    high: int,
    wide: int,
    plane: tuple[float, FloatArray, FloatArray],
) -> dict[str, FloatArray]:
    """Sums over the points of each block of some rows of blocks: of weights, and of heights over the block's mean."""
    level, rise_down, rise_across = plane
    heights = z[rows] - level
    heights -= rise_down[rows, None]
    heights -= rise_across
    if used is not None:
        weights = used[rows].astype(np.float64)
        heights[~used[rows]] = 0.0
        n = _sums(weights, high, wide, 0, 0)
    else:
        n = np.array([[float(high * wide)]])
    mean = _sums(heights, high, wide, 0, 0) / np.maximum(n, 1.0)
    # heights over the block's own mean: of what is summed from here on no digit is lost to its level
    spread = np.repeat(mean, wide, axis=1)
    shaped = heights.reshape(len(mean), high, -1)
    shaped -= spread[:, None, :]
    if used is not None:
        heights *= weights
    found = {"mean": mean}
    found |= dict(zip(("z", "xz", "yz"), _first_moments(heights, high, wide), strict=True))
    heights *= heights
    found["zz"] = _sums(heights, high, wide, 0, 0)
    if used is not None:
        found["n"] = n
        found |= dict(zip(("_", "x", "y"), _first_moments(weights, high, wide), strict=True))
        found |= {"xx": _sums(weights, high, wide, 0, 2), "yy": _sums(weights, high, wide, 2, 0)}
        found["xy"] = _sums(weights, high, wide, 1, 1)
    return found


def _centred(n: int, power: int) -> FloatArray:
    return np.asarray((np.arange(n) - (n - 1) / 2) ** power)


def _first_moments(values: FloatArray, high: int, wide: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Σv, Σxv and Σyv in each block, x and y from its middle."""
    columns = np.stack([_centred(high, 0), _centred(high, 1)]) @ values.reshape(-1, high, values.shape[1])
    across = np.stack([_centred(wide, 0), _centred(wide, 1)], axis=1)
    sums = columns.reshape(len(columns), 2, -1, wide) @ across
    return sums[:, 0, :, 0], sums[:, 0, :, 1], sums[:, 1, :, 0]


def _sums(values: FloatArray, high: int, wide: int, down: int, across: int) -> FloatArray:
    """Σ y^down x^across v in each block."""
    columns = _centred(high, down) @ values.reshape(-1, high, values.shape[1])
    return np.asarray(columns.reshape(len(columns), -1, wide) @ _centred(wide, across))


def _placed(sums: dict[str, FloatArray], high: int, wide: int, complete: bool) -> _Moments:
    """Central moments, in the coordinates of the grid, from sums in the blocks' own coordinates."""
    down, across = sums["mean"].shape
    x0 = np.arange(0.0, across * wide, wide)[None, :]
    y0 = np.arange(0.0, down * high, high)[:, None]
    left = sums["z"]  # what rounding left over of Σ(z − mean)
    if complete:
        n = np.array([[float(high * wide)]])
        xx, yy = n * (wide**2 - 1) / 12, n * (high**2 - 1) / 12
        return _Moments(
            n=n,
            x=x0,
            y=y0,
            z=sums["mean"] + left / n,
            xx=xx,
            xy=np.zeros((1, 1)),
            yy=yy,
            xz=sums["xz"],
            yz=sums["yz"],
            zz=sums["zz"] - left * left / n,
        )
    n = sums["n"]
    over = 1.0 / np.maximum(n, 1.0)
    x, y = sums["x"] * over, sums["y"] * over
    return _Moments(
        n=n,
        x=x0 + x,
        y=y0 + y,
        z=sums["mean"] + left * over,
        xx=sums["xx"] - x * sums["x"],
        xy=sums["xy"] - x * sums["y"],
        yy=sums["yy"] - y * sums["y"],
        xz=sums["xz"] - x * left,
        yz=sums["yz"] - y * left,
        zz=sums["zz"] - left * left * over,
    )
