"""Exact quantiles without sorting the whole map.

A thinned, sorted sample brackets the wanted ranks; one pass counts what lies below the bracket and picks what lies
within, which is little, and only that is put in order. Should the bracket miss, everything is.
"""

from __future__ import annotations

import math

import numpy as np

from core.heightmap import FloatArray, HeightMap

SAMPLE = 16_384
"""Size of the thinned sample, or a sixteenth of the values where they are few."""

CHUNK = 65_536
"""Values looked at in one go."""

SIGMAS = 6.0
"""Half-width of the bracket in binomial standard deviations of the sample: it misses by chance once in 10⁹."""


def quantile(values: FloatArray, share: float) -> float:
    """The height below which a share of the values lies; linear between neighbouring values.

    Parameters
    ----------
    values : ndarray, shape (n,)
        At least one, none of them NaN.
    share : float
        0 to 1.

    Returns
    -------
    float
        In the unit of the values; equals ``numpy.quantile``.

    Examples
    --------
    >>> quantile(np.array([4.0, 1.0, 2.0, 3.0]), 0.5)
    2.5
    """
    place = share * (values.size - 1)
    low, high = neighbours(values, int(place))
    return low + (place - int(place)) * (high - low)


def median(values: FloatArray) -> float:
    """The middle of the values, or the mean of the two in the middle."""
    return quantile(values, 0.5)


def typical_height(scan: HeightMap) -> float:
    """A height amid the others, metres: the median of a few points that count; 0 if none does.

    Taken off before sums are formed, it saves the digits of maps that lie far from 0.
    """
    step = max(1, scan.z.size // 128) | 1
    few = scan.z.reshape(-1)[::step]
    if not scan.complete:
        counts = ~np.isnan(few) if scan.mask is None else ~(np.isnan(few) | scan.mask.reshape(-1)[::step])
        few = few[counts] if counts.any() else scan.heights()
    return median(few) if few.size else 0.0


def thinning(points: int) -> int:
    """The step at which values are taken for the sample; odd, as even ones would meet the same columns in every row.

    >>> thinning(1024**2), thinning(256**2)
    (65, 17)
    """
    return max(1, points // min(SAMPLE, max(1024, points // 16))) | 1


def neighbours(values: FloatArray, rank: int) -> tuple[float, float]:
    """The values of this rank and of the next (the last is its own next), counted from 0 at the lowest."""
    low, high = _bracket(values, rank)
    below, inside = bracketed(values, low, high)
    last = min(rank + 1, values.size - 1)
    if not (below <= rank and last < below + inside.size):
        below, inside = 0, values
    first, second = rank - below, last - below
    ordered = np.partition(inside, (first, second))
    return float(ordered[first]), float(ordered[second])


def bracketed(values: FloatArray, low: float, high: float) -> tuple[int, FloatArray]:
    """How many values lie below a bracket, and those within: in pieces that stay in the cache."""
    below, inside = 0, []
    for start in range(0, values.size, CHUNK):
        part = values[start : start + CHUNK]
        reaches = part >= low
        below += part.size - int(np.count_nonzero(reaches))
        reaches &= part <= high
        inside.append(part[reaches])
    return below, np.concatenate(inside) if inside else values


def _bracket(values: FloatArray, rank: int) -> tuple[float, float]:
    thin = np.sort(values[:: thinning(values.size)])
    share = rank / max(1, values.size - 1)
    centre = share * (thin.size - 1)
    spread = SIGMAS * math.sqrt(max(thin.size * share * (1 - share), 1.0)) + 2
    low = thin[math.floor(centre - spread)] if centre > spread else -math.inf
    high = thin[math.ceil(centre + spread)] if centre + spread < thin.size - 1 else math.inf
    return float(low), float(high)
