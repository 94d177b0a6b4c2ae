"""Coordinates that were meant to be a lattice: even steps, points in any order, a slight jitter, holes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.errors import NoHeights
from core.formats.guard import check_points
from core.heightmap import FloatArray
from core.units import percent

EVEN = 0.02
"""Share of a step by which the coordinates of a plain axis may deviate; printing with few digits costs this much."""

JITTER = 0.25
"""Share of a step by which single points of a lattice may lie beside their place: beyond it, neighbours could swap."""

_EMPTIEST = 0.05  # share of places that must hold a point: below it the points are a scatter, not a lattice with holes
_CANDIDATES = 24  # how many ways to tell steps from jitter are tried


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """Heights of scattered points, put in rows and columns.

    Attributes
    ----------
    z : ndarray, shape (ny, nx)
        Heights as given; NaN where there is no point.
    spacing : (float, float)
        Step down and across, in the unit of the coordinates.
    jitter : float
        Largest distance of a point from its place along one axis, in the unit of the coordinates.
    """

    z: FloatArray
    spacing: tuple[float, float]
    jitter: float


def even_step(positions: NDArray[np.floating]) -> float | None:
    """The step of evenly spaced positions, rising or falling; None where they are not even.

    The step is that of the least-squares line, which averages the rounding of printed coordinates.

    Examples
    --------
    >>> even_step(np.array([3.0, 2.0, 1.0])), even_step(np.array([0.0, 1.0, 3.0]))
    (1.0, None)
    """
    values = np.asarray(positions, dtype=np.float64)
    if values.ndim != 1 or values.size < 2 or not np.isfinite(values).all():
        return None
    index = np.arange(values.size, dtype=np.float64)
    step = _slope(index, values)
    line = values.mean() + step * (index - index.mean())
    if step == 0 or not math.isfinite(step) or np.abs(values - line).max() > EVEN * abs(step):
        return None
    return abs(step)


def to_lattice(x: FloatArray, y: FloatArray, z: FloatArray, where: str) -> Lattice:
    """Put points in rows and columns.

    Columns run with rising `x`. Row 0 has the smallest `y`, unless the points were listed line by line from the
    largest `y` down; then the line listed first is the top line.

    Parameters
    ----------
    x, y, z : ndarray, shape (n,)
        Coordinates in one unit, and heights.
    where : str
        The file, for refusals.

    Raises
    ------
    NoHeights
        If the points are no lattice along the axes of their coordinates; says why.
    """
    placed = np.isfinite(x) & np.isfinite(y)
    x, y, z = x[placed], y[placed], z[placed]
    columns, dx, off_x = _places(x, "x", where)
    rows, dy, off_y = _places(y, "y", where)
    ny, nx = int(rows.max()) + 1, int(columns.max()) + 1
    check_points(ny, nx, where)
    if z.size < _EMPTIEST * ny * nx:
        raise _no_lattice(
            f"{z.size} points would fill {percent(z.size / (ny * nx), 1)} of {ny} rows and {nx} columns",
            where,
        )
    places = rows * nx + columns
    if np.unique(places).size != places.size:
        raise _no_lattice("two points stand at the same place", where)
    grid = np.full((ny, nx), np.nan)
    grid[rows, columns] = z
    if _listed_downwards(rows):
        grid = grid[::-1].copy()
    return Lattice(grid, (dy, dx), max(off_x, off_y))


def _places(positions: FloatArray, axis: str, where: str) -> tuple[NDArray[np.intp], float, float]:
    """Index of each point along one axis, the step, and the largest deviation from the places."""
    if positions.size < 4:
        raise _no_lattice(f"there are {positions.size} points with both coordinates", where)
    ordered = np.sort(positions)
    reach = float(ordered[-1] - ordered[0])
    if reach <= 0:
        raise NoHeights(
            f"This is a profile, not a map: all points have the same {axis}", where=where, fix="Export the whole map."
        )
    gaps = np.diff(ordered)
    fits = [fit for threshold in _thresholds(gaps, reach) if (fit := _fit(positions, ordered, gaps, threshold))]
    if not fits:
        raise _no_lattice(f"the {axis} coordinates are not evenly spaced", where)
    return max(fits, key=lambda fit: fit[1])  # a fine enough step fits anything: the coarsest one is meant


def _thresholds(gaps: FloatArray, reach: float) -> list[float]:
    """Gaps that may part jitter from steps: inside the widest jumps between the sorted gap sizes."""
    sizes = np.unique(gaps[gaps > 1e-12 * reach])
    jumps = sizes[1:] / sizes[:-1]
    best = np.argsort(jumps)[::-1][:_CANDIDATES]
    between = [float(math.sqrt(sizes[k] * sizes[k + 1])) for k in best if jumps[k] > 1.5]
    return [*between, float(sizes[0]) / 2]  # the last: no jitter at all, every gap is a step


def _fit(
    positions: FloatArray, ordered: FloatArray, gaps: FloatArray, threshold: float
) -> tuple[NDArray[np.intp], float, float] | None:
    """Places, step and deviation if gaps above `threshold` are the steps of a lattice."""
    starts = np.flatnonzero(gaps > threshold) + 1
    groups = np.split(ordered, starts) if starts.size < 2**16 else []
    if len(groups) < 2:
        return None
    centres = np.array([(group[0] + group[-1]) / 2 for group in groups])
    step = float(np.diff(centres).min())
    # The smallest gap between groups is one step, within the jitter; counting along neighbours keeps errors local.
    counts = np.rint(np.diff(centres) / step)
    index = np.concatenate([[0.0], np.cumsum(counts)])
    step = _slope(index, centres)
    if not (math.isfinite(step) and step > 0):
        return None
    start = centres.mean() - step * index.mean()
    places = np.rint((positions - start) / step)
    places -= places.min()
    step = _slope(places, positions)
    if not (math.isfinite(step) and step > 0):
        return None
    off = positions - positions.mean() - step * (places - places.mean())
    deviation = float(np.abs(off).max())
    return (places.astype(np.intp), step, deviation) if deviation <= JITTER * step else None


def _slope(index: FloatArray, values: FloatArray) -> float:
    centred = index - index.mean()
    return float(np.dot(centred, values - values.mean()) / np.dot(centred, centred))


def _listed_downwards(rows: NDArray[np.intp]) -> bool:
    """Whether the points come line by line, the last row first."""
    return bool(rows[0] == rows.max() and rows[-1] == 0 and (np.diff(rows) <= 0).all())


def _no_lattice(reason: str, where: str) -> NoHeights:
    return NoHeights(
        f"The points do not lie on a regular lattice: {reason}",
        where=where,
        fix="Export the scan as a grid, or put the points on a grid first.",
    )
