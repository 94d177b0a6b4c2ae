"""Slopes of a map by a seven-point derivative, row block by row block."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from core.heightmap import BoolArray, FloatArray, HeightMap

REACH = 3
"""Points that the derivative needs on either side."""

BLOCK = 16
"""Rows handled at a time: with the work buffers they stay in the cache for maps up to some thousand columns."""


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


def slopes_of(scan: HeightMap) -> Slopes | None:
    r"""Mean square slope and mean extra area of a map.

    Derivatives are :math:`\frac{1}{60}(-1, 9, -45, 0, 45, -9, 1)` over seven neighbouring points, divided by the
    pitch; a point is evaluated where it and the twelve points of both stencils count. The extra area is summed as
    :math:`s / (1 + \sqrt{1 + s})`, which keeps its digits where √(1 + s) − 1 would lose them.

    Parameters
    ----------
    scan : HeightMap
        The treated map.

    Returns
    -------
    Slopes or None
        None for fewer than 7 rows or columns.
    """
    rows, columns = (n - 2 * REACH for n in scan.shape)
    if rows < 1 or columns < 1:
        return None
    used = None if scan.complete else scan.used
    square = excess = 0.0
    evaluated = 0
    work = np.empty((3, BLOCK, columns))
    for top in range(0, rows, BLOCK):
        high = min(BLOCK, rows - top)
        band = slice(top, top + high + 2 * REACH)
        s, spare, _ = (buffer[:high] for buffer in work)
        squared_slopes(scan.z[band], scan.pitch, work[:, :high])
        if used is not None:
            whole = complete_stencils(used[band])
            s[~whole] = 0.0
            evaluated += int(np.count_nonzero(whole))
        square += float(s.sum())
        np.add(s, 1.0, out=spare)
        np.sqrt(spare, out=spare)
        spare += 1.0
        s /= spare
        excess += float(s.sum())
    evaluated = rows * columns if used is None else evaluated
    n = max(evaluated, 1)
    return Slopes(square / n, excess / n, evaluated, rows * columns)


def squared_slopes(band: FloatArray, pitch: tuple[float, float], work: FloatArray) -> None:
    """Put (dz/dx)² + (dz/dy)² of the inner points of a band of rows into ``work[0]``; the rest of `work` is spare."""
    s, d, spare = work
    across = band[REACH:-REACH]
    down = band[:, REACH:-REACH]
    _derivative(lambda shift: across[:, REACH + shift : across.shape[1] - REACH + shift], s, spare)
    s *= 0.75 / pitch[1]
    s *= s
    _derivative(lambda shift: down[REACH + shift : down.shape[0] - REACH + shift], d, spare)
    d *= 0.75 / pitch[0]
    d *= d
    s += d


def _derivative(shifted: Callable[[int], FloatArray], out: FloatArray, spare: FloatArray) -> None:
    """Put 4/3 of the derivative for each pixel into `out`: (45 d₁ − 9 d₂ + d₃)/60 = ¾ (d₁ − d₂/5 + d₃/45)."""
    np.subtract(shifted(1), shifted(-1), out=out)
    np.subtract(shifted(2), shifted(-2), out=spare)
    spare *= 1 / 5
    out -= spare
    np.subtract(shifted(3), shifted(-3), out=spare)
    spare *= 1 / 45
    out += spare


def complete_stencils(used: BoolArray) -> BoolArray:
    """Which inner points of a band count together with all twelve points that their slopes need."""
    rows, columns = (n - 2 * REACH for n in used.shape)
    whole = used[REACH:-REACH, REACH:-REACH].copy()
    for shift in range(2 * REACH + 1):
        whole &= used[REACH:-REACH, shift : shift + columns]
        whole &= used[shift : shift + rows, REACH:-REACH]
    return whole
