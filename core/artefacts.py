"""Points on which the instrument left its mark: streaks along scan lines and plateaus at the ends of the range.

Found here once, for the treatment that masks them and for the doubts that speak of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from core.heightmap import BoolArray, FloatArray
from core.selection import median

STREAK_SIGMA = 3.0
"""Robust sigma by which a streak stands off both neighbouring rows."""

STREAK_RUN = 5
"""Fewest points of a streak."""

MAD_TO_SIGMA = 1.482602218505602  # 1 / Φ⁻¹(3/4): the median absolute deviation of a Gaussian, made its sigma

SAMPLE = 256
"""Rows and columns from which a spread is estimated: of 256² points it is good to 1 %."""


@dataclass(frozen=True, slots=True, eq=False)
class Streaks:
    """Streaks of a map.

    Attributes
    ----------
    found : ndarray of bool, shape (ny, nx), read-only
        True on a streak.
    sigma : float
        Robust sigma of the height over the mean of both neighbouring rows, metres: the yardstick.
    """

    found: BoolArray = field(repr=False)
    sigma: float


def find_streaks(level: FloatArray) -> Streaks:
    """Runs of points along the fast axis that stand off both neighbouring rows to the same side.

    Parameters
    ----------
    level : ndarray, shape (ny, nx)
        Heights without their plane, metres; NaN where missing.

    Returns
    -------
    Streaks

    Notes
    -----
    With d₁ = zᵢ − zᵢ₋₁, d₂ = zᵢ − zᵢ₊₁, e = (d₁ + d₂)/2 and σ the robust sigma of e, a point is hit if d₁ and d₂ have
    one sign and min(|d₁|, |d₂|) > 3σ; runs of five and more of one sign are kept. By chance a point is hit less than
    once in a thousand, five in a row practically never. The row through the top of a round particle stands off both
    neighbours too, but its neighbours stand off theirs to the same side, while those of a streak stand off to the
    other: where eᵢ₋₁ + eᵢ₊₁ > eᵢ/2 (it is −eᵢ on a streak and 2eᵢ on a dome) a point is no hit. First and last row have
    one neighbour and are never hit; streaks two rows high are not seen.

    Examples
    --------
    >>> z = 1e-11 * np.random.default_rng(1).standard_normal((32, 32))
    >>> z[10, 5:15] += 2e-10
    >>> np.argwhere(find_streaks(z).found)[[0, -1]].tolist()
    [[10, 5], [10, 14]]
    """
    ny, nx = level.shape
    found = np.zeros(level.shape, dtype=bool)
    if ny < 5 or nx < STREAK_RUN:
        found.flags.writeable = False
        return Streaks(found, 0.0)
    with np.errstate(invalid="ignore", over="ignore"):  # missing points are NaN and never hit
        rise = level[1:] - level[:-1]
        rows, columns = max(1, ny // SAMPLE), max(1, nx // SAMPLE)
        sigma = _robust_sigma((rise[:-1:rows, ::columns] - rise[1::rows, ::columns]) / 2)
        if sigma > 0:
            up, down = rise > STREAK_SIGMA * sigma, rise < -STREAK_SIGMA * sigma
            for sign, hit in ((1.0, up[:-1] & down[1:]), (-1.0, down[:-1] & up[1:])):
                found[1:-1] |= _runs(_without_domes(hit, rise, sign), STREAK_RUN)
    found.flags.writeable = False
    return Streaks(found, sigma)


def _robust_sigma(values: FloatArray) -> float:
    finite = values[np.isfinite(values)]
    if finite.size == 0:
        return 0.0
    return MAD_TO_SIGMA * median(np.abs(finite - median(finite)))


def _without_domes(hit: BoolArray, rise: FloatArray, sign: float) -> BoolArray:
    """Hits whose neighbouring rows do not stand off to the same side; `hit` begins with the second row of the map."""
    rows, columns = np.nonzero(hit)
    inner = (rows >= 1) & (rows < len(hit) - 1)
    rows, columns = rows[inner], columns[inner]
    above, before, behind, below = (rise[rows + shift, columns] for shift in (-1, 0, 1, 2))
    own = sign * (before - behind)
    others = sign * (above - before + behind - below)
    dome = others > own / 2
    kept = hit.copy()
    kept[rows[dome], columns[dome]] = False
    return kept


def _runs(hit: BoolArray, shortest: int) -> BoolArray:
    """The hits that lie in a run of at least `shortest` along their row."""
    starts = hit[:, : hit.shape[1] - shortest + 1].copy()
    for shift in range(1, shortest):
        starts &= hit[:, shift : hit.shape[1] - shortest + 1 + shift]
    kept = np.zeros_like(hit)
    if starts.any():
        for shift in range(shortest):
            kept[:, shift : hit.shape[1] - shortest + 1 + shift] |= starts
    return kept


PLATEAU_SHARE = 1e-4
"""Share of the points above which equal heights at an end of the range are a plateau (common practice, no source)."""

PLATEAU_POINTS = 3
PLATEAU_EXCESS = 1.5
"""How many times the points of the fullest of the next few heights a plateau holds."""

NEXT_HEIGHTS = 3
EQUAL = 1e-9
"""Heights that differ by less of the range are equal: what is left of float32 and unit conversions."""


@dataclass(frozen=True, slots=True)
class Plateau:
    """Equal heights at one end of the range.

    Attributes
    ----------
    end : {"top", "bottom"}
        Which end.
    height : float
        Metres.
    limit : float
        Heights beyond it belong to the plateau, metres.
    points : int
        How many they are.
    """

    end: str
    height: float
    limit: float
    points: int

    def holds(self, z: FloatArray) -> BoolArray:
        """True where a point lies on the plateau; shape of `z`."""
        with np.errstate(invalid="ignore"):
            return np.asarray(z >= self.limit if self.end == "top" else z <= self.limit)


def find_plateaus(z: FloatArray) -> tuple[Plateau, ...]:
    """Plateaus at the highest and at the lowest height: where the instrument ran out of range.

    Parameters
    ----------
    z : ndarray, shape (ny, nx)
        Untouched heights, metres: after levelling a plateau is none. NaN where missing.

    Returns
    -------
    tuple of Plateau
        None, one or two.

    Notes
    -----
    A plateau holds more than 0.01 % of the points, more than three, and more than 1.5 times as many as each of the
    three next heights that occur. The last rule is the guard for coarsely written heights, where many points share
    the highest one; in finely written ones a height occurs once. Simulated for this program: written in steps of 0.01
    to 2 S, the highest height of 900 clean maps holds at most 0.7 times the points of the fullest of the next three;
    with 0.05 % of the points clipped, in steps of 0.01 S, at least twice as many. From steps of 0.05 S on a clipped
    range is found only in part, and from 0.2 S on hardly.

    Examples
    --------
    >>> z = np.minimum(np.random.default_rng(1).standard_normal((64, 64)), 2.5)
    >>> [(plateau.end, plateau.height) for plateau in find_plateaus(z)]
    [('top', 2.5)]
    """
    finite = z[np.isfinite(z)] if np.isnan(z).any() else z.reshape(-1)
    if finite.size == 0:
        return ()
    low, high = float(finite.min()), float(finite.max())
    span = high / 2 - low / 2  # half the range cannot overflow
    if not span > 0:
        return ()
    equal = 2 * EQUAL * span
    found = []
    for end, sign, height in (("top", 1.0, high), ("bottom", -1.0, low)):
        limit = height - sign * equal
        points = int(np.count_nonzero(finite >= limit if sign > 0 else finite <= limit))
        if points <= max(PLATEAU_SHARE * z.size, PLATEAU_POINTS):
            continue
        if points > PLATEAU_EXCESS * max(_next_counts(finite, sign, limit, span, equal), default=0):
            found.append(Plateau(end, height, limit, points))
    return tuple(found)


def _next_counts(finite: FloatArray, sign: float, limit: float, span: float, equal: float) -> list[int]:
    """Points at each of the next few heights that occur inside the limit."""
    inside = finite[finite < limit] if sign > 0 else finite[finite > limit]
    edge = sign * limit
    for reach in (0.02, 0.2, 2.1):
        with np.errstate(over="ignore"):
            depth = edge - sign * inside
        near: NDArray[np.float64] = np.sort(depth[depth <= reach * span])
        starts = np.flatnonzero(np.diff(near, prepend=-np.inf) > equal)
        if len(starts) > NEXT_HEIGHTS:
            break
    counts = np.diff(starts, append=len(near))[:NEXT_HEIGHTS]
    return [int(count) for count in counts]
