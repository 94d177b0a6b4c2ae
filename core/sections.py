"""Curves from maps: heights along a line, the height under a point, and how often each height occurs."""

from __future__ import annotations

import math

import numpy as np

from core.errors import MapError
from core.heightmap import FloatArray, HeightMap

Point = tuple[float, float]
"""x (right) and y (down) in metres, from the centre of the map."""


def section(
    scan: HeightMap, start: Point, end: Point, *, width: int = 1, samples: int | None = None
) -> tuple[FloatArray, FloatArray]:
    """Heights along a straight line, linearly interpolated between points.

    Parameters
    ----------
    scan : HeightMap
        The map; masked points are shown, missing ones leave gaps.
    start, end : (float, float)
        Ends of the line, metres right of and below the map's centre.
    width : int, default 1
        Average over so many parallel lines, one pixel apart.
    samples : int, optional
        Number of places along the line. Default: one for each pixel that it passes, at least two.

    Returns
    -------
    distance : ndarray, shape (samples,)
        From `start`, metres.
    height : ndarray, shape (samples,)
        Metres; NaN outside the map and next to missing points.

    Raises
    ------
    MapError
        If the line has no length, or width or samples are too few.

    Notes
    -----
    Bilinear interpolation between the centres of the four pixels about a place; the outer half pixel of the map takes
    the value of the border.

    Examples
    --------
    A plane that rises by 1 nm for each micrometre to the right:

    >>> import numpy as np
    >>> x = (np.arange(100) - 49.5) * 1e-7
    >>> plane = HeightMap(np.tile(x * 1e-3, (100, 1)), (1e-7, 1e-7))
    >>> distance, height = section(plane, (-2e-6, 0.0), (2e-6, 0.0), samples=3)
    >>> np.round(distance * 1e6, 6).tolist(), np.round(height * 1e9, 6).tolist()
    ([0.0, 2.0, 4.0], [-2.0, 0.0, 2.0])
    """
    length = math.hypot(end[0] - start[0], end[1] - start[1])
    if not (length > 0 and math.isfinite(length)):
        raise MapError("A section needs two ends that differ")
    if width < 1 or (samples is not None and samples < 2):
        raise MapError("A section needs at least one line and two samples")
    dy, dx = scan.pitch
    across = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    steps = math.hypot((end[0] - start[0]) / dx, (end[1] - start[1]) / dy)
    along = np.linspace(0.0, 1.0, samples or max(2, math.ceil(steps) + 1))
    pixel = 1 / math.hypot(across[1] / dx, across[0] / dy)  # one pixel at right angles to the line, metres
    lines = []
    for k in range(width):
        aside = (k - (width - 1) / 2) * pixel
        x = start[0] + along * (end[0] - start[0]) - aside * across[1]
        y = start[1] + along * (end[1] - start[1]) + aside * across[0]
        lines.append(_interpolated(scan, x, y))
    return along * length, np.mean(lines, axis=0)


def height_at(scan: HeightMap, x: float, y: float) -> float | None:
    """Height of the pixel under a point, metres; None outside the map and where it is missing.

    Parameters
    ----------
    scan : HeightMap
        The map.
    x, y : float
        Metres right of and below the map's centre.

    Examples
    --------
    >>> step = HeightMap([[0.0, 3e-9]], (1e-6, 1e-6))
    >>> height_at(step, 0.4e-6, 0.2e-6), height_at(step, 1.4e-6, 0.0)
    (3e-09, None)
    """
    (ny, nx), (dy, dx) = scan.shape, scan.pitch
    row, column = math.floor(y / dy + ny / 2), math.floor(x / dx + nx / 2)
    if not (0 <= row < ny and 0 <= column < nx):
        return None
    height = float(scan.z[row, column])
    return None if math.isnan(height) else height


def height_distribution(scan: HeightMap, bins: int, low: float, high: float) -> tuple[FloatArray, FloatArray]:
    """How the heights that count are distributed over a range.

    Parameters
    ----------
    scan : HeightMap
        The map; missing and masked points are left out.
    bins : int
        Number of equal bins.
    low, high : float
        Ends of the range, metres.

    Returns
    -------
    edges : ndarray, shape (bins + 1,)
        Metres.
    density : ndarray, shape (bins,)
        Share of all points that count, for each metre of height: it sums to the share inside the range when multiplied
        by the bin width. Zero everywhere when no point counts.

    Raises
    ------
    MapError
        If the range is empty or there is no bin.

    Examples
    --------
    >>> step = HeightMap([[0.0, 0.0, 0.0, 4e-9]], (1e-6, 1e-6))
    >>> edges, density = height_distribution(step, 2, -1e-9, 5e-9)
    >>> (density * np.diff(edges)).round(6).tolist()
    [0.75, 0.25]
    """
    if bins < 1 or not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise MapError("A height distribution needs a range and at least one bin")
    heights = scan.heights()
    counts, edges = np.histogram(heights, bins=bins, range=(low, high))
    return edges, counts / max(heights.size, 1) / ((high - low) / bins)


def _interpolated(scan: HeightMap, x: FloatArray, y: FloatArray) -> FloatArray:
    (ny, nx), (dy, dx) = scan.shape, scan.pitch
    row, column = y / dy + (ny - 1) / 2, x / dx + (nx - 1) / 2
    reach = 0.5 + 1e-9
    inside = (row >= -reach) & (row <= ny - 1 + reach) & (column >= -reach) & (column <= nx - 1 + reach)
    row, column = np.clip(row, 0, ny - 1), np.clip(column, 0, nx - 1)
    above = np.minimum(row.astype(int), max(ny - 2, 0))
    left = np.minimum(column.astype(int), max(nx - 2, 0))
    below, right = np.minimum(above + 1, ny - 1), np.minimum(left + 1, nx - 1)
    v, u = row - above, column - left
    z = scan.z
    # A neighbour of no weight must not spread its gap: NaN times zero is NaN.
    upper = _mixed(z[above, left], z[above, right], u)
    lower = _mixed(z[below, left], z[below, right], u)
    return np.where(inside, _mixed(upper, lower, v), np.nan)


def _mixed(first: FloatArray, second: FloatArray, share: FloatArray) -> FloatArray:
    mixed = first * (1 - share) + second * share
    return np.where(share == 0, first, np.where(share == 1, second, mixed))
