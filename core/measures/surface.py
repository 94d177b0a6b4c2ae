"""One map under measurement: what several readings share is computed once and kept."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from core.buckets import Buckets
from core.heightmap import FloatArray, HeightMap, frozen
from core.measures.hills import PRUNING, Hills, hills_of
from core.measures.material_ratio import MaterialRatio
from core.measures.slopes import Slopes, slopes_of
from core.selection import quantile, typical_height

if TYPE_CHECKING:
    from core.measures.decay import Decay
    from core.measures.flatness import Flatness
    from core.measures.outcome import Outcome

CHUNK = 32_768
"""Heights handled at a time: 256 KiB, which the second-level cache holds together with a work buffer."""


@dataclass(frozen=True, slots=True)
class Moments:
    """Central moments of the heights that count: means over n, not n − 1.

    Attributes
    ----------
    absolute : float
        Mean of ``|u|``, metres, u the height above the mean.
    second, third, fourth : float
        Means of u², u³, u⁴.
    """

    absolute: float
    second: float
    third: float
    fourth: float


class Surface:
    """The points of a treated map that count, with the intermediates that its readings share.

    Parameters
    ----------
    scan : HeightMap
        The treated map. Missing and masked points do not count.

    Notes
    -----
    Everything is computed on first use: one compression, one moment pass, one sort, one slope pass for all readings.

    Examples
    --------
    >>> surface = Surface(HeightMap([[1.0, 2.0], [3.0, 6.0]], pitch=(1.0, 1.0)))
    >>> surface.mean, surface.moments.second, surface.ordered.tolist()
    (3.0, 3.5, [1.0, 2.0, 3.0, 6.0])
    """

    def __init__(self, scan: HeightMap) -> None:
        self.scan = scan

    @cached_property
    def heights(self) -> FloatArray:
        """The heights that count, flat, metres."""
        return self.scan.heights()

    @property
    def points(self) -> int:
        """Number of points that count."""
        return int(self.heights.size)

    @cached_property
    def _pivot(self) -> float:
        """A height amid the others: the mean is found from the distances to it and so keeps its digits."""
        return typical_height(self.scan)

    @cached_property
    def _mean_above_pivot(self) -> float:
        buffer = np.empty(CHUNK)
        total = math.fsum(
            float(np.subtract(part, self._pivot, out=buffer[: part.size]).sum()) for part in chunks(self.heights)
        )
        return total / self.points

    @property
    def mean(self) -> float:
        """Mean height, metres, rounded to a double."""
        return self._pivot + self._mean_above_pivot

    def above_mean(self, height: float) -> float:
        """How far a height lies above the mean, metres, without the rounding of the mean itself."""
        return (height - self._pivot) - self._mean_above_pivot

    @cached_property
    def moments(self) -> Moments:
        """Central moments. Heights are taken off the pivot and then its distance to the mean: both steps are exact
        to the texture's own digits, however far from 0 the map lies."""
        buffer, square = np.empty(CHUNK), np.empty(CHUNK)
        sums = np.zeros(4)
        for part in chunks(self.heights):
            u, q = buffer[: part.size], square[: part.size]
            np.subtract(part, self._pivot, out=u)
            u -= self._mean_above_pivot
            np.multiply(u, u, out=q)
            third, fourth, second = np.dot(q, u), np.dot(q, q), q.sum()
            np.abs(u, out=u)
            sums += (u.sum(), second, third, fourth)
        absolute, second, third, fourth = (float(total) for total in sums / self.points)
        return Moments(absolute, second, third, fourth)

    @cached_property
    def ordered(self) -> FloatArray:
        """The heights that count, lowest first."""
        return frozen(np.sort(self.heights))

    @cached_property
    def lowest(self) -> float:
        """The lowest height, metres."""
        return float(self.heights.min())

    @cached_property
    def highest(self) -> float:
        """The greatest height, metres."""
        return float(self.heights.max())

    @cached_property
    def buckets(self) -> Buckets:
        """The heights that count, by buckets: ranks and ordered stretches without a sort."""
        return Buckets(self.heights)

    @cached_property
    def material_ratio(self) -> MaterialRatio:
        """Their material ratio curve."""
        return MaterialRatio(self.buckets)

    @cached_property
    def flatness(self) -> Flatness | Outcome:
        """Departures from the least-squares plane, or why there is no plane."""
        from core.measures.flatness import reference

        return reference(self.scan)

    @cached_property
    def slopes(self) -> Slopes | None:
        """Slopes of the inner points; None when the map is too small for the derivative."""
        return slopes_of(self.scan, self._pivot)

    @cached_property
    def decay(self) -> Decay:
        """Where the autocorrelation falls to the default threshold; needs heights that are not all equal."""
        from core.measures.decay import decay_of

        return decay_of(self.scan)

    @cached_property
    def hills(self) -> Hills:
        """The hills that rise at least 5 % of Sz over their highest saddle."""
        return hills_of(self.scan, PRUNING * (self.highest - self.lowest))

    @cached_property
    def dales(self) -> Hills:
        """The dales that reach at least 5 % of Sz below their lowest saddle."""
        return hills_of(self.scan, PRUNING * (self.highest - self.lowest), down=True)

    def quantile(self, share: float) -> float:
        """Height below which this share of the points lies, metres; linear between neighbouring points."""
        return quantile(self.heights, share)


def chunks(heights: FloatArray) -> list[FloatArray]:
    """Views of consecutive heights, each small enough for the cache."""
    return [heights[start : start + CHUNK] for start in range(0, heights.size, CHUNK)]
