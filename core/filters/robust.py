"""Robust Gaussian regression of ISO 16610-71: the smooth surface under bumps and pits, which do not pull it."""

from __future__ import annotations

import math

import numpy as np

from core.filters.gaussian import Edges, Smoothed, counted_rows, kept, supported
from core.filters.line import Way, blocks
from core.filters.regression import fitter
from core.heightmap import BoolArray, FloatArray, HeightMap
from core.selection import median, typical_height

CUT = 4.447806655516805
"""Residuals above this many medians of their size have no weight: 3 / Φ⁻¹(3/4), three sigma of Gaussian residuals."""

STOP = 1e-3
"""The search ends when the surface moves by less than this share of the residuals' robust sigma (RMS over the map)."""

MOST_ROUNDS = 40
"""Rounds at most. A cut-off of 64 points on a rough map may need more; `Smoothed.converged` says so."""

EXACT = 1e-13
"""Residuals below this share of the heights' range are rounding: there the surface is met exactly."""


def robust_low_pass(
    scan: HeightMap,
    cutoff: float,
    *,
    edges: Edges,
    order: int = 1,
    way: Way | None = None,
    stop: float = STOP,
    most_rounds: int = MOST_ROUNDS,
) -> Smoothed:
    r"""The smooth surface under a map by robust Gaussian regression.

    Parameters
    ----------
    scan : HeightMap
        The map. Missing and masked points have weight 0.
    cutoff : float
        Nesting index, metres.
    edges : {"cut", "kept"}
        As in `core.filters.gaussian.low_pass`.
    order : {0, 1, 2}, default 1
        Degree of the local polynomial. Order 0 has an error of its own beside edges and holes wherever the ground is
        tilted or bowed; on a smooth surface the search takes that error for outliers, cuts it, and eats its way
        inwards. Order 1 has none, and passes the same waves as the linear filter. Order 2 follows form, passes
        shorter waves than the cut-off says, and costs two to three times as much.
    way : {"direct", "waves"}, optional
        How the sums are formed; by default the quicker one.
    stop : float, default 1e-3
        The search ends when the surface moves by less than this share of the robust sigma.
    most_rounds : int, default 40
        Rounds at most.

    Returns
    -------
    Smoothed
        With the rounds needed and whether the search came to rest.

    Raises
    ------
    MapError
        If the order is not known, or nothing is kept.
    QuantityError
        If the cut-off is not positive.

    Notes
    -----
    ISO 16610-71:2014: weights times the biweight :math:`(1 - (r/c)^2)^2`, 0 beyond c, of the residual r, with
    :math:`c = 4.4478\,\mathrm{median}|r|` over the points that count, until the surface rests. Where more than half of
    the residuals are 0 to rounding, the median is taken over the others.

    Examples
    --------
    >>> z = np.random.default_rng(1).standard_normal((64, 64))
    >>> z[30:33, 30:33] = 1000.0
    >>> smooth = robust_low_pass(HeightMap(z, pitch=(1.0, 1.0)), 16.0, edges="kept")
    >>> smooth.converged, bool(abs(smooth.z[31, 31]) < 1)
    (True, True)
    """
    fits = fitter(scan.shape, scan.pitch, cutoff, order, way)
    keep = kept(scan.shape, scan.pitch, cutoff, edges)
    level = typical_height(scan)
    used = scan.used
    weighed, ones = counted_rows(scan, level)
    smooth, share = fits.weighted(weighed, ones)
    rounds, converged, cut = 1, not used.any(), math.inf
    while not converged and rounds < most_rounds:
        weights = np.abs(scan.z - level - smooth)  # sizes of the residuals, then their weights
        cut = _cut(weights, used, cut, scan)
        if cut == 0:
            converged = True
            break
        _biweigh(weights, cut, used)
        better, _ = fits.weighted(lambda rows: weighed(rows) * weights[rows], lambda rows: weights[rows])  # noqa: B023
        del weights
        rounds += 1
        converged = _moved(better, smooth, used) <= stop * cut / 3  # the cut is three robust sigma
        smooth = better
    return supported(scan, smooth, share, level, keep, rounds, converged)


def _cut(size: FloatArray, used: BoolArray, before: float, scan: HeightMap) -> float:
    """Where the biweight ends; 0 when the surface meets every point.

    A flat ground that is met exactly by more than half of the points has the median 0, which would divide. The other
    points decide then; as the ground is met better and better these are the bumps themselves, so the cut may not grow.
    """
    counted = size[used]
    counted = counted[~np.isnan(counted)]
    if counted.size == 0:
        return 0.0
    rounding = EXACT * float(np.ptp(scan.heights()))
    middle = median(counted)
    if middle > rounding:
        return CUT * middle
    others = counted[counted > rounding]
    return min(before, CUT * median(others)) if others.size else 0.0


def _biweigh(size: FloatArray, cut: float, used: BoolArray) -> None:
    """Turn the sizes of the residuals into their weights."""
    for rows in blocks(len(size)):
        block = size[rows]
        block /= cut
        block[~((block < 1) & used[rows])] = 1.0  # NaN, too: where there is no surface there is no residual
        block *= block
        np.subtract(1.0, block, out=block)
        block *= block


def _moved(new: FloatArray, old: FloatArray, used: BoolArray) -> float:
    """RMS of the change over the points that count. Where all around was cut, the old surface stays, in `new`."""
    squares, points = 0.0, 0
    for rows in blocks(len(new)):
        lost = np.isnan(new[rows])
        new[rows][lost] = old[rows][lost]
        change = (new[rows] - old[rows])[used[rows]]
        change = change[~np.isnan(change)]
        squares += float(change @ change)
        points += change.size
    return math.sqrt(squares / points) if points else 0.0
