"""The minimum zone: the two parallel planes closest together that hold a whole surface between them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.heightmap import BoolArray, FloatArray

WORST_ROWS = 40
"""Rows whose extremes enter the linear programme in one round, above and below."""

ROUNDS = 60
"""At most so many rounds; two or three are usual."""

BLOCK = 64
CERTAIN = 1e-9
"""A zone wider than the bound of the programme by less than this share counts as proved the least."""


@dataclass(frozen=True, slots=True)
class Zone:
    """A zone between parallel planes.

    Attributes
    ----------
    width : float
        Vertical distance of the planes, metres.
    slope : (float, float)
        Rise of the planes from row to row and from column to column, metres.
    least : float
        No zone that holds all points can be narrower, metres: the optimum of the linear programme over some of them.
    rounds : int
        Linear programmes solved.
    """

    width: float
    slope: tuple[float, float]
    least: float
    rounds: int

    @property
    def certain(self) -> bool:
        """Whether the zone is proved to be the least."""
        return self.width - self.least <= CERTAIN * self.width


def minimum_zone(heights: FloatArray, used: BoolArray | None = None) -> Zone:
    r"""The zone of least vertical width between two parallel planes.

    Minimises t − b subject to :math:`b \le z_i - p\,x_i - q\,y_i \le t` over all points i: a linear programme in
    (p, q, t, b). It is solved over a few points; those that stick out of its zone the farthest join them, until none
    does. The last pass over all points is the proof: the zone holds them all, and already some of them allow none
    narrower.

    Parameters
    ----------
    heights : ndarray, shape (ny, nx)
        Metres, best the residual of a least-squares plane: then the first points are well chosen.
    used : ndarray of bool, shape (ny, nx), optional
        Points that count, not all on one line; all by default.

    Returns
    -------
    Zone
        Its width in metres, and the bound that proves it.

    References
    ----------
    ISO 12781-1:2011 (minimum zone reference plane; clause from memory). The optimum is that of the convex hull, whose
    facets and pairs of edges are what the programme's active constraints can be.

    Examples
    --------
    One corner of nine points stands out by 1; the least-squares plane leaves 0.833:

    >>> corner = np.zeros((3, 3))
    >>> corner[2, 2] = 1.0
    >>> round(minimum_zone(corner).width, 9)
    0.75
    """
    view = _View(heights, used)
    known: set[int] = set()
    tilt, top, bottom = np.zeros(2), -math.inf, math.inf
    narrowest, best, least, rounds = math.inf, tilt, 0.0, 0
    while rounds < ROUNDS:
        highest, lowest = view.extremes(tilt)
        width = float(np.max(highest) - np.min(lowest))
        if width < narrowest:
            narrowest, best = width, tilt
        out = {view.highest(row, tilt) for row in _worst(highest, top)}
        out |= {view.lowest(row, tilt) for row in _worst(-lowest, -bottom)}
        if width == 0 or out <= known:
            break
        known |= out
        solved = _programme(view.points(known), width)
        if solved is None:
            break
        tilt, top, bottom = solved
        least = top - bottom
        rounds += 1
    return Zone(narrowest, view.slope(best), least, rounds)


class _View:
    """The heights, seen along planes: coordinates run from −1 to 1 down and across."""

    def __init__(self, heights: FloatArray, used: BoolArray | None) -> None:
        self._z = heights if used is None else np.where(used, heights, np.nan)
        # fmax passes over the gaps and is slower than maximum
        self._top: np.ufunc = np.maximum if used is None else np.fmax
        self._bottom: np.ufunc = np.minimum if used is None else np.fmin
        self._y, self._x = (np.linspace(-1, 1, n) if n > 1 else np.zeros(1) for n in heights.shape)

    def extremes(self, tilt: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Highest and lowest height above the tilted plane in each row; −inf and inf where no point counts."""
        ny, nx = self._z.shape
        highest, lowest = np.empty(ny), np.empty(ny)
        work = np.empty((BLOCK, nx))
        down, across = tilt[0] * self._y, tilt[1] * self._x
        for start in range(0, ny, BLOCK):
            rows = slice(start, min(start + BLOCK, ny))
            block = np.subtract(self._z[rows], across, out=work[: rows.stop - start])
            highest[rows], lowest[rows] = self._top.reduce(block, axis=1), self._bottom.reduce(block, axis=1)
        return (
            np.nan_to_num(highest - down, nan=-np.inf, posinf=np.inf, neginf=-np.inf),
            np.nan_to_num(lowest - down, nan=np.inf, posinf=np.inf, neginf=-np.inf),
        )

    def highest(self, row: int, tilt: FloatArray) -> int:
        """Number of the highest point of a row above the tilted plane."""
        return row * self._x.size + int(np.nanargmax(self._z[row] - tilt[1] * self._x))

    def lowest(self, row: int, tilt: FloatArray) -> int:
        """Number of the lowest point of a row."""
        return row * self._x.size + int(np.nanargmin(self._z[row] - tilt[1] * self._x))

    def points(self, numbers: set[int]) -> FloatArray:
        """Rows of y, x, z, in rising order of the numbers, so that equal maps give equal programmes."""
        row, column = np.divmod(np.array(sorted(numbers)), self._x.size)
        return np.column_stack([self._y[row], self._x[column], self._z[row, column]])

    def slope(self, tilt: FloatArray) -> tuple[float, float]:
        """Rise from row to row and from column to column."""
        ny, nx = self._z.shape
        return float(tilt[0]) * 2 / max(ny - 1, 1), float(tilt[1]) * 2 / max(nx - 1, 1)


def _worst(extremes: FloatArray, limit: float) -> list[int]:
    """The rows whose extremes lie beyond the limit the farthest."""
    out = np.flatnonzero((extremes > limit) & (extremes > -np.inf))
    if out.size > WORST_ROWS:
        out = out[np.argpartition(extremes[out], -WORST_ROWS)[-WORST_ROWS:]]
    return [int(row) for row in out]


def _programme(points: FloatArray, size: float) -> tuple[FloatArray, float, float] | None:
    """Tilt, top and bottom of the narrowest zone about some points; heights are taken in units of `size`. None if the
    solver gives up, which leaves the zone unproved and no worse."""
    from scipy.optimize import linprog  # half a second to import

    place, height = points[:, :2], points[:, 2] / size
    one, none = np.ones(len(points)), np.zeros(len(points))
    limits = np.vstack(
        [
            np.column_stack([-place, -one, none]),  # z − tilt ≤ top
            np.column_stack([place, none, one]),  # z − tilt ≥ bottom
        ]
    )
    found = linprog([0, 0, 1, -1], A_ub=limits, b_ub=np.concatenate([-height, height]), bounds=(None, None))
    if not found.success or found.x is None:
        return None
    p, q, top, bottom = (float(value) * size for value in found.x)
    return np.array([p, q]), top, bottom
