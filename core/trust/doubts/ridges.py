"""Ridges: lines smeared along ky, as an oscillation leaves them whose frequency wanders while the scan goes on.

Within one scan line the frequency hardly moves, so the power stays in one column; from line to line the phase drifts,
and what would be one bin becomes a ridge of ten or fifty. Averaging the periodogram along that column over as many
bins (the same as averaging the periodograms of shorter blocks of rows) brings it out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from core.heightmap import BoolArray, FloatArray
from core.trust.doubts.periodogram import Index, Periodogram

HALF_WIDTHS = (4, 8, 16, 32, 64)
"""Half-widths of the average along ky, bins; those up to a sixteenth of the rows are tried, and none longer than its
distance from the axis: there the texture itself falls off."""

FINE_LIMIT, LIMIT = 5.2, 4.2
"""Ratio of the average over its surroundings above which a ridge is one, for half-width 4 and for wider ones.

The largest on clean textures without a direction (simulated for this program, 256² points): 4.4 and 3.4.
"""

DIRECTIONAL_LIMIT = 15.0
"""The same for textures with a direction, whose own streak is such a ridge: there the surroundings are taken along the
radius too. The largest: 12 on lapping; terraces reach 100 but show it again at twice the wavenumber."""

HARMONIC = 0.1
"""Most power at twice the wavenumber, as a share of that of the ridge, on a texture with a direction."""

PROMISING = 0.6
"""Share of the limit, over the plain mean beside it, below which no row is looked at closely."""

CLOSE, FAR = 4, 12
"""Columns from the ridge at which its surroundings begin and end."""


@dataclass(frozen=True, slots=True)
class Ridge:
    """A ridge of one column of the periodogram.

    Attributes
    ----------
    down : float
        Its middle, cycles per frame.
    excess : float
        Average over surroundings, in units of the limit.
    share : float
        Its variance over S²; rather too low, because the flanks drown.
    """

    down: float
    excess: float
    share: float


def ridge(power: Periodogram, column: float, *, directional: bool) -> Ridge | None:
    """The strongest ridge at a column (cycles per frame across), None if there is none."""
    from scipy.ndimage import uniform_filter1d

    offsets = np.arange(-FAR, FAR + 1)
    strip = power.at(np.arange(power.rows)[:, None], (round(column) + offsets)[None, :])
    strip = uniform_filter1d(strip, 3, axis=1, mode="nearest")
    best: Ridge | None = None
    for half in HALF_WIDTHS:
        if half > HALF_WIDTHS[0] and half > min(power.rows / 16, column):
            break
        mean = uniform_filter1d(strip, 2 * half + 1, axis=0, mode="wrap")
        limit = DIRECTIONAL_LIMIT if directional else FINE_LIMIT if half == HALF_WIDTHS[0] else LIMIT
        rows = np.flatnonzero(mean[:, FAR] > PROMISING * limit * mean[:, _beside()].mean(axis=1))
        if rows.size == 0:
            continue
        level = _surroundings(mean, half, rows)
        if directional:
            level = np.maximum(level, _radial(mean, half, column, rows))
        at = int(np.argmax(mean[rows, FAR] / level))
        top = int(rows[at])
        excess = float(mean[top, FAR] / level[at]) / limit
        if excess <= 1 or (best is not None and excess <= best.excess):
            continue
        if not (directional and _has_harmonic(power, top, column, half)):
            best = _measured(power, strip, top, half, float(level[at]), excess)
    return best


def _surroundings(mean: FloatArray, half: int, rows: Index) -> FloatArray:
    """The larger of the medians beside the ridge and farther along it, for these rows."""
    beside = np.median(mean[rows][:, _beside()], axis=1)
    shifts = np.arange(2 * half + 2, 6 * half + 3, max(1, half // 2))
    around = (rows[:, None] + np.concatenate([shifts, -shifts])) % len(mean)
    along = np.median(mean[around, FAR], axis=1)
    return np.asarray(np.maximum(np.maximum(along, beside), 1e-300))


def _radial(mean: FloatArray, half: int, column: float, rows: Index) -> FloatArray:
    """The median along the radius, each sample the largest of three abreast, for these rows."""
    n = len(mean)
    away = np.flatnonzero(_beside())
    down = np.where(rows > n // 2, rows - n, rows)
    at = np.rint(down[:, None] * (1 + (away - FAR) / column)).astype(np.intp)
    return np.asarray(np.median(np.max([mean[(at + turn) % n, away] for turn in (-half, 0, half)], axis=0), axis=1))


def _beside() -> BoolArray:
    return np.asarray(np.abs(np.arange(-FAR, FAR + 1)) >= CLOSE)


def _has_harmonic(power: Periodogram, row: int, column: float, half: int) -> bool:
    once = _mean_power(power, row, round(column), half)
    return _mean_power(power, 2 * row, round(2 * column), 2 * half) > HARMONIC * once


def _mean_power(power: Periodogram, row: int, column: int, half: int) -> float:
    step = np.arange(-half, half + 1)
    return float(power.at((row + step)[:, None], (column + np.arange(-1, 2))[None, :]).mean())


def _measured(power: Periodogram, strip: FloatArray, row: int, half: int, level: float, excess: float) -> Ridge:
    rows = row + np.arange(-2 * half, 2 * half + 1)
    above = np.maximum(3 * (strip[rows % power.rows, FAR] - level), 0.0)
    share = 2 * float(above.sum()) / (power.rows * power.columns)
    down = float(np.average(rows, weights=above)) if above.any() else float(row)
    return Ridge(down if down <= power.rows / 2 else down - power.rows, excess, share)
