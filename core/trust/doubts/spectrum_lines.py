"""Lines: single bins of the periodogram that stand far above what the texture has around them.

An isotropic surrounding fails by orders of magnitude on lapped surfaces, whose power lies on a streak through the
origin. So the surrounding is *oriented*: medians along twelve directions and along the radius are taken, and the
largest of them is the level that a line must beat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.heightmap import BoolArray, FloatArray
from core.trust.doubts.periodogram import EXPONENTIAL_MEDIAN, Index, Periodogram

DIRECTIONS = 12
NEAREST, FARTHEST = 3, 12
"""Bins from the candidate at which its surrounding begins and ends."""

OUTER, INNER = 11, 5
"""Sides of the box, and of the core left out of it, against which candidates are picked."""

CANDIDATES = 60
"""Local maxima for which the oriented surrounding is evaluated: those that stand out most."""

STANDS_OUT = 4.0
"""Times the box mean below which no bin is a candidate: a line of ratio 11 and more is never that low."""

PADDING = 16


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the spectrum.

    Attributes
    ----------
    down, across : int
        Cycles per frame; `across` is not negative.
    ratio : float
        ln 2 × its power over the largest of the medians around it; that of a random bin exceeds t once in e^t.
    share : float
        Its variance over S².
    """

    down: int
    across: int
    ratio: float
    share: float

    @property
    def cycles(self) -> float:
        """Periods in the frame."""
        return float(np.hypot(self.down, self.across))


def outstanding(power: Periodogram) -> FloatArray:
    """Every bin over the mean of the box around it without its core, shape of the density."""
    from scipy.ndimage import uniform_filter

    around = uniform_filter(power.density, OUTER, mode=("wrap", "mirror")) * OUTER**2
    around -= uniform_filter(power.density, INNER, mode=("wrap", "mirror")) * INNER**2
    around /= OUTER**2 - INNER**2
    np.maximum(around, 1e-300, out=around)
    return np.asarray(np.divide(power.density, around, out=around))


def lines(power: Periodogram, above_box: FloatArray, where: BoolArray | None = None) -> list[Line]:
    """The lines of a periodogram, strongest ratio first.

    Parameters
    ----------
    power : Periodogram
    above_box : ndarray
        From `outstanding`.
    where : ndarray of bool, shape of the density, optional
        Bins that may be lines; all when left out.

    Returns
    -------
    list of Line
        At most sixty; most of them are no lines, their ratio tells.
    """
    candidate = above_box > STANDS_OUT
    if where is not None:
        candidate &= where
    candidate[0, 0] = False
    y, x = np.nonzero(candidate)
    peak = _is_peak(power, y, x)
    y, x = y[peak], x[peak]
    best = np.argsort(above_box[y, x])[::-1][:CANDIDATES]
    y, x = y[best], x[best]
    ratios = EXPONENTIAL_MEDIAN * power.density[y, x] / np.maximum(background(power, y, x), 1e-300)
    shares = line_shares(power, y, x)
    found = [
        Line(power.signed(int(row)), int(column), float(ratio), float(share))
        for row, column, ratio, share in zip(y, x, ratios, shares, strict=True)
    ]
    return sorted(found, key=lambda line: line.ratio, reverse=True)


def background(power: Periodogram, down: Index, across: Index) -> FloatArray:
    """The oriented background: largest of thirteen medians around each bin, shape (n,)."""
    y, x = down.astype(np.float64), across.astype(np.float64)
    y = np.where(y > power.rows // 2, y - power.rows, y)
    angles = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
    steps = np.concatenate([-np.arange(NEAREST, FARTHEST + 1)[::-1], np.arange(NEAREST, FARTHEST + 1)])
    along_y, along_x = np.outer(np.sin(angles), steps), np.outer(np.cos(angles), steps)
    fixed = _sampled(power, y[:, None, None] + along_y, x[:, None, None] + along_x)
    radius = np.maximum(np.hypot(y, x), 1.0)
    unit_y, unit_x = (y / radius)[:, None], (x / radius)[:, None]
    abreast = np.array([-1.0, 0.0, 1.0])[:, None, None]
    radial = _sampled(
        power,
        y[:, None] + unit_y * steps + abreast * unit_x,
        x[:, None] + unit_x * steps - abreast * unit_y,
    ).max(axis=0)
    return np.asarray(np.maximum(np.median(fixed, axis=2).max(axis=1), np.median(radial, axis=1)))


def line_shares(power: Periodogram, down: Index, across: Index) -> FloatArray:
    """Variance of the three by three bins around each bin and of their mirror images, in units of the density."""
    return _box_sum(power, down, across, 1) * 2 / (power.rows * power.columns)


def harmonic_ratio(power: Periodogram, line: Line) -> float:
    """Power around twice the wavenumber of a line (5 × 5 bins) over the power of the line (3 × 3 bins)."""
    once = _box_sum(power, np.array([line.down]), np.array([line.across]), 1)
    twice = _box_sum(power, np.array([2 * line.down]), np.array([2 * line.across]), 2)
    return float(twice[0] / max(once[0], 1e-300))


def refined(power: Periodogram, line: Line) -> tuple[float, float]:
    """Cycles per frame down and across of a line, to a small part of a bin.

    The rows are taken at the column of the line as one complex series (under its Hann window), transformed sixteen
    times finer within one bin of the line, and the top found by a parabola on the logarithm; then the columns likewise
    at the wavenumber down just found.
    """
    across = _wave(line.across / power.columns, power.columns)
    down = _top(power.tapered @ across, line.down)
    rows = _wave(down / power.rows, power.rows)
    return down, _top(rows @ power.tapered, line.across)


def _wave(frequency: float, n: int) -> NDArray[np.complex128]:
    return np.asarray(np.exp(-2j * np.pi * frequency * np.arange(n)), dtype=np.complex128)


def _top(series: NDArray[np.complex128], near: int) -> float:
    trial = near + np.arange(-PADDING, PADDING + 1) / PADDING
    waves = np.exp(-2j * np.pi / len(series) * np.outer(trial, np.arange(len(series))))
    logs = np.log(np.maximum(np.abs(waves @ series), 1e-300))
    top = min(max(int(np.argmax(logs)), 1), len(trial) - 2)
    left, middle, right = logs[top - 1 : top + 2]
    bend = left - 2 * middle + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float(trial[top] + np.clip(shift, -1, 1) / PADDING)


def _sampled(power: Periodogram, y: FloatArray, x: FloatArray) -> FloatArray:
    return power.at(np.rint(y).astype(np.intp), np.rint(x).astype(np.intp))


def _box_sum(power: Periodogram, down: Index, across: Index, reach: int) -> FloatArray:
    step = np.arange(-reach, reach + 1)
    boxes = power.at(down[:, None, None] + step[:, None], across[:, None, None] + step[None, :])
    return np.asarray(boxes.sum(axis=(1, 2)))


def _is_peak(power: Periodogram, down: Index, across: Index) -> BoolArray:
    """Whether bins are higher than their eight neighbours."""
    step = np.arange(-1, 2)
    boxes = power.at(down[:, None, None] + step[:, None], across[:, None, None] + step[None, :])
    return np.asarray(boxes.reshape(len(down), 9).argmax(axis=1) == 4)
