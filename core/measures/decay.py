"""How fast the autocorrelation falls to a threshold: the border of its central lobe."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.errors import MapError
from core.heightmap import BoolArray, FloatArray, HeightMap
from core.measures.autocorrelation import Autocorrelation, autocorrelation

THRESHOLD = 0.2
"""Default of ISO 25178-2 (from memory)."""

SHARES = (8, 4, 2)
"""Lags tried: up to an eighth of the map, and further only while the lobe has not ended."""

LEAST_REACH = 8
"""Lags, in points, below which it is not worth trying less."""


@dataclass(frozen=True, slots=True)
class Decay:
    """Where the central lobe of an autocorrelation ends.

    Attributes
    ----------
    threshold : float
        Where the lobe ends.
    shortest : float or None
        Least distance at which the threshold is met, metres; None where the lags end before it.
    longest : float or None
        Greatest distance on the border of the lobe, metres; None where the lobe runs on beyond the lags.
    fastest, slowest : float or None
        Directions of the two, degrees anticlockwise, as shown, from the fast axis, 0 up to 180.
    reach : (float, float)
        Lags that were looked at, down and across, metres.
    """

    threshold: float
    shortest: float | None
    longest: float | None
    fastest: float | None
    slowest: float | None
    reach: tuple[float, float]


def decay_of(scan: HeightMap, threshold: float = THRESHOLD, *, periodic: bool = False) -> Decay:
    """Shortest and longest distance at which the autocorrelation of a map falls to a threshold.

    Parameters
    ----------
    scan : HeightMap
        The map.
    threshold : float, default 0.2
        Above 0 and below 1.
    periodic : bool, default False
        For test surfaces that repeat beyond their edges.

    Returns
    -------
    Decay
        Distances in metres from crossings found linearly between neighbouring lags, on lags up to half of the map.

    Raises
    ------
    MapError
        If the threshold is out of its range, nothing counts or all heights are equal.
    """
    if not 0 < threshold < 1:
        raise MapError(f"The threshold of the autocorrelation lies between 0 and 1, not at {threshold}")
    found = None
    tried: set[tuple[int, int]] = set()
    for share in (2,) if periodic else SHARES:
        ly, lx = (min(n - 1, n // 2, max(LEAST_REACH, n // share)) for n in scan.shape)
        if (ly, lx) in tried:
            continue
        tried.add((ly, lx))
        found = lobe_border(autocorrelation(scan, (ly, lx), periodic=periodic), threshold)
        if found.longest is not None:
            break
    assert found is not None
    return found


def lobe_border(correlation: Autocorrelation, threshold: float) -> Decay:
    """Border distances of the central lobe: the lags joined to lag 0, edge to edge, by values above a threshold.

    Every edge of the lattice of lags that leads out of the lobe gives one crossing, linear between its two values.
    """
    from scipy import ndimage

    values = correlation.whole()
    reach = correlation.reach
    labels, _ = ndimage.label(values > threshold)  # NaN is not above: such lags end the lobe and make it open
    lobe = labels == labels[reach]
    (dy, dx), (ly, lx) = correlation.pitch, reach
    down, across = (np.linspace(-n * step, n * step, 2 * n + 1) for n, step in ((ly, dy), (lx, dx)))
    crossings = [
        _crossings(values, lobe, threshold, down, across),
        _crossings(values.T, lobe.T, threshold, across, down)[::-1],
    ]
    y, x = (np.concatenate([crossing[axis] for crossing in crossings]) for axis in (0, 1))
    known = np.isfinite(y) & np.isfinite(x)
    distance = np.hypot(y[known], x[known])
    open_lobe = bool(lobe[[0, -1], :].any() or lobe[:, [0, -1]].any() or not known.all())
    limits = ly * dy, lx * dx
    nearest = int(np.argmin(distance)) if distance.size else None
    # a crossing nearer than the lags end is the nearest of all, even if the lobe runs on elsewhere
    if nearest is None or (open_lobe and distance[nearest] > min(limits)) or not known.all():
        return Decay(threshold, None, None, None, None, limits)
    fastest, shortest = _direction(y[known], x[known], nearest), float(distance[nearest])
    if open_lobe:
        return Decay(threshold, shortest, None, fastest, None, limits)
    farthest = int(np.argmax(distance))
    return Decay(
        threshold, shortest, float(distance[farthest]), fastest, _direction(y[known], x[known], farthest), limits
    )


def _crossings(
    values: FloatArray, lobe: BoolArray, threshold: float, along: FloatArray, beside: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Crossings on the edges along the first axis: coordinates along and beside it."""
    at, line = np.nonzero(lobe[1:] != lobe[:-1])
    here, there = values[at, line], values[at + 1, line]
    share = (here - threshold) / (here - there)
    return along[at] + share * (along[at + 1] - along[at]), beside[line]


def _direction(y: FloatArray, x: FloatArray, index: int) -> float:
    return math.degrees(math.atan2(-float(y[index]), float(x[index]))) % 180.0
