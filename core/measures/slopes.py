"""Slopes of a map by a seven-point derivative, row block by row block."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np

from core.heightmap import BoolArray, FloatArray, HeightMap

WEIGHTS = np.array([-1.0, 9.0, -45.0, 0.0, 45.0, -9.0, 1.0]) / 60.0
"""Seven-point derivative for unit spacing: exact for polynomials up to degree 6."""

REACH = 3
"""Points that the derivative needs on either side."""

BLOCK = 16
"""Rows handled at a time: few, so that the banded matrix is not mostly zeros, and all stays in the cache."""


@dataclass(frozen=True, slots=True)
class Slopes:
    """Means over the inner points whose whole stencil counts.

    Attributes
    ----------
    square : float
        Mean of s = (dz/dx)² + (dz/dy)²; 0 when no point was evaluated.
    excess : float
        Mean of √(1 + s) − 1, the extra area for each unit of the base; 0 when no point was evaluated.
    evaluated, inner : int
        Points that were evaluated, and points that a map without holes would offer.
    """

    square: float
    excess: float
    evaluated: int
    inner: int

    @property
    def share(self) -> float:
        """Share of the inner points that were evaluated, 0 to 1."""
        return self.evaluated / self.inner


def slopes_of(scan: HeightMap, pivot: float = 0.0) -> Slopes | None:
    r"""Mean square slope and mean extra area of a map.

    Derivatives are :math:`\frac{1}{60}(-1, 9, -45, 0, 45, -9, 1)` over seven neighbouring points, divided by the
    pitch; a point is evaluated where it and the twelve points of both stencils count. The extra area is summed as
    :math:`s / (1 + \sqrt{1 + s})`, which keeps its digits where √(1 + s) − 1 would lose them.

    Parameters
    ----------
    scan : HeightMap
        The treated map.
    pivot : float, optional
        A height amid the others, metres; taken off first, it saves the digits of a map that lies far from 0.

    Returns
    -------
    Slopes or None
        None for fewer than 7 rows or columns.
    """
    rows, columns = (n - 2 * REACH for n in scan.shape)
    if rows < 1 or columns < 1:
        return None
    used = None if scan.complete else scan.used
    stencils = _Stencils.of(scan.pitch)
    square = excess = 0.0
    evaluated = 0
    for top in range(0, rows, BLOCK):
        band = slice(top, min(top + BLOCK, rows) + 2 * REACH)
        heights = scan.z[band] - pivot
        if used is None:
            s = stencils.squared_slopes(heights)
            evaluated += s.size
        else:
            heights[~used[band]] = 0.0  # only stencils that are then left out see these zeros
            whole = complete_stencils(used[band])
            s = np.where(whole, stencils.squared_slopes(heights), 0.0)
            evaluated += int(np.count_nonzero(whole))
        square += float(s.sum())
        excess += _summed_excess(s)
    n = max(evaluated, 1)
    return Slopes(square / n, excess / n, evaluated, rows * columns)


@dataclass(frozen=True, slots=True)
class _Stencils:
    """The derivative, per metre, as seven weights along a row and as a banded matrix down a full block of rows.

    Both ways are one pass each over a block in the cache: a short correlation and a small matrix product.
    """

    across: FloatArray
    down: FloatArray

    @classmethod
    def of(cls, pitch: tuple[float, float]) -> Self:
        dy, dx = pitch
        banded = np.zeros((BLOCK, BLOCK + 2 * REACH))
        for row in range(BLOCK):
            banded[row, row : row + len(WEIGHTS)] = WEIGHTS / dy
        return cls(WEIGHTS / dx, banded)

    def squared_slopes(self, band: FloatArray) -> FloatArray:
        """(dz/dx)² + (dz/dy)² at the inner points of a band of rows."""
        rows, width = band.shape[0] - 2 * REACH, band.shape[1]
        # The rows are read as one line; what runs over their ends falls into the last columns and is cut off. The line
        # may run on into the row below, which the band has.
        line = band[REACH:].reshape(-1)[: rows * width + 2 * REACH]
        s = np.correlate(line, self.across, "valid").reshape(rows, width)[:, : width - 2 * REACH]
        s *= s
        down = self.down[:rows, : rows + 2 * REACH] @ band[:, REACH : width - REACH]
        down *= down
        s += down
        return np.asarray(s)


def _summed_excess(s: FloatArray) -> float:
    root = np.add(s, 1.0)
    np.sqrt(root, out=root)
    root += 1.0
    return float(np.divide(s, root, out=root).sum())


def complete_stencils(used: BoolArray) -> BoolArray:
    """Which inner points of a band count together with all twelve points that their slopes need."""
    rows, columns = (n - 2 * REACH for n in used.shape)
    whole = used[REACH:-REACH, REACH:-REACH].copy()
    for shift in range(2 * REACH + 1):
        whole &= used[REACH:-REACH, shift : shift + columns]
        whole &= used[shift : shift + rows, REACH:-REACH]
    return whole
