"""Best landing areas: squares of the map with the fewest bumps, and among those the calmest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from core.heightmap import FloatArray
from core.relief.find import Found

AREAS = 3


@dataclass(frozen=True, slots=True)
class Landing:
    """One square of a map.

    Attributes
    ----------
    scan : str
        Name of the map.
    y, x : float
        Of its upper left corner, metres from the outer corner of the first point.
    side : float
        Metres.
    bumps : int
        In it, the guard frame included.
    sigma : float
        RMS of the particle-eye map in it, metres.
    """

    scan: str
    y: float
    x: float
    side: float
    bumps: int
    sigma: float


def landing_areas(found: Found, side: float, *, name: str = "", count: int = AREAS) -> tuple[Landing, ...]:
    """The best squares of a map, apart from each other.

    Parameters
    ----------
    found : Found
        What was found on it.
    side : float
        Of the squares, metres.
    name : str, optional
        Of the map.
    count : int, default 3
        How many.

    Returns
    -------
    tuple of Landing
        The best first; fewer where the map holds no more. Squares with more than a tenth of their points missing are
        passed over.
    """
    seen = found.seen
    high, wide = (max(1, round(side / step)) for step in seen.pitch)
    if high > seen.r.shape[0] or wide > seen.r.shape[1]:
        return ()
    known = np.isfinite(seen.r)
    hits = np.zeros(seen.r.shape)
    hits[tuple(found.bodies.places.T)] = 1
    n = _boxes(known.astype(np.float64), high, wide)
    bumps = np.round(_boxes(hits, high, wide))
    power = _boxes(np.where(known, seen.r, 0.0) ** 2, high, wide)
    rms = np.sqrt(np.maximum(power, 0.0) / np.maximum(n, 1))
    # One number to be least: bumps first, and among equals the RMS, which is smaller than one bump by construction.
    score = bumps + rms / (2 * float(rms.max()) or 1.0)
    score[n < 0.9 * high * wide] = np.inf
    best = []
    for _ in range(count):
        y, x = (int(i) for i in np.unravel_index(int(np.argmin(score)), score.shape))
        if not np.isfinite(score[y, x]):
            break
        best.append(
            Landing(
                name, y * seen.pitch[0], x * seen.pitch[1], high * seen.pitch[0], int(bumps[y, x]), float(rms[y, x])
            )
        )
        score[max(0, y - high + 1) : y + high, max(0, x - wide + 1) : x + wide] = np.inf
    return tuple(best)


def _boxes(values: FloatArray, high: int, wide: int) -> FloatArray:
    """Sums over all squares, by where they begin."""
    total = np.zeros((values.shape[0] + 1, values.shape[1] + 1))
    np.cumsum(np.cumsum(values, axis=0), axis=1, out=total[1:, 1:])
    return np.asarray(total[high:, wide:] - total[:-high, wide:] - total[high:, :-wide] + total[:-high, :-wide])
