"""Heights thrown into buckets once: single ranks, counts and ordered stretches without a sort of everything.

A full sort of doubles costs ten times more on one processor than on another. Buckets cost the same everywhere: each
height gets a number of 16 bits that rises with it, a histogram of the numbers tells in which bucket a rank lies, and
only the buckets that matter are put in order. Results are exact, whatever the heights: poor buckets cost time only.
"""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from core.heightmap import FloatArray, frozen

BUCKETS = 65_536
"""As many as a number of 16 bits tells apart: numpy sorts such numbers by radix, in a few passes."""

FILLED = 16
"""Values for each bucket where there are few of them: more buckets would cost more than the values themselves."""

FEWEST = 1024

SAMPLE = 4096
"""Size of the thinned sample that sets the range of the buckets: a spike must not push the rest into one of them."""

CHUNK = 32_768
FEW = 4096
"""Below so many values a plain sort is as quick."""


class Buckets:
    """Values by buckets of equal width; what lies beyond the range of most values is in the first and the last.

    Parameters
    ----------
    values : ndarray, shape (n,)
        At least one, none of them NaN.

    Examples
    --------
    >>> thrown = Buckets(np.array([4.0, 1.0, 2.0, 3.0]))
    >>> thrown.at(0), thrown.at(3), thrown.stretch(1, 3).tolist()
    (1.0, 4.0, [2.0, 3.0])
    """

    def __init__(self, values: FloatArray) -> None:
        self.values = values
        thin = np.sort(values[:: max(1, values.size // SAMPLE) | 1])
        tail = thin.size // 500
        self._low, high = float(thin[tail]), float(thin[-1 - tail])
        width = high - self._low
        self._number = min(BUCKETS, max(FEWEST, values.size // FILLED))
        scale = (self._number - 1) / width if width > 0 else 0.0
        self._scale = scale if math.isfinite(scale) else 0.0
        self._keys = _keys(values, self._low, self._scale, self._number)
        self._counts = np.bincount(self._keys, minlength=self._number)
        self.below: NDArray[np.int64] = np.concatenate([[0], np.cumsum(self._counts)])
        """Number of values below each bucket; one entry more than there are buckets."""

    @property
    def size(self) -> int:
        """Number of values."""
        return int(self.values.size)

    @cached_property
    def edges(self) -> tuple[FloatArray, FloatArray]:
        """A lower and an upper bound of the values of each bucket."""
        if self._scale == 0.0:
            low, high = np.full(self._number, -np.inf), np.full(self._number, np.inf)
        else:
            step = np.arange(self._number + 1) / self._scale
            # The numbers are rounded twice, in the difference and in the product: the bounds give way by more.
            slack = 4 * np.finfo(float).eps * (abs(self._low) + step)
            low = (self._low + step - slack)[:-1]
            high = (self._low + step + slack)[1:]
        low[0] = min(low[0], self.values.min())
        high[-1] = max(high[-1], self.values.max())
        return frozen(low), frozen(high)

    def bucket(self, rank: int) -> int:
        """The bucket that holds the value of this rank, counted from 0 at the lowest value."""
        return int(np.searchsorted(self.below, rank, side="right")) - 1

    def at(self, rank: int) -> float:
        """The value of this rank, counted from 0 at the lowest."""
        bucket = self.bucket(rank)
        place = rank - int(self.below[bucket])
        return float(np.partition(self._inside(bucket, bucket), place)[place])

    def quantile(self, place: float) -> float:
        """The value at a place between ranks, linear from one to the next; clipped to the first and the last."""
        place = min(max(place, 0.0), self.size - 1.0)
        rank = int(place)
        low = self.at(rank)
        share = place - rank
        return low if share == 0 else low + share * (self.at(rank + 1) - low)

    def stretch(self, first: int, last: int) -> FloatArray:
        """The values of the ranks `first` to `last` (not included), lowest first."""
        start, end = self.bucket(first), self.bucket(last - 1)
        below = int(self.below[start])
        return ordered(self._inside(start, end))[first - below : last - below]

    def at_least(self, height: float) -> FloatArray:
        """All values from a height upwards, and some below it in the same bucket; in no order."""
        return self.values[np.flatnonzero(self._keys >= self._key(height))]

    def at_most(self, height: float) -> FloatArray:
        """All values from a height downwards, and some above it in the same bucket; in no order."""
        return self.values[np.flatnonzero(self._keys <= self._key(height))]

    def _key(self, height: float) -> np.uint16:
        key: np.uint16 = _keys(np.array([height]), self._low, self._scale, self._number)[0]
        return key

    def _inside(self, first: int, last: int) -> FloatArray:
        """The values of the buckets `first` to `last`, in no order."""
        keys = self._keys
        if first == last:
            return self.values[np.flatnonzero(keys == first)]
        return self.values[np.flatnonzero((keys >= first) & (keys <= last))]


def ordered(values: FloatArray) -> FloatArray:
    """The values, lowest first: numpy's sort, several times faster where it does not use the widest registers.

    Ordered by 16-bit numbers first, the values are sorted but for short stretches, on which a merge sort is quick.

    Examples
    --------
    >>> ordered(np.array([3.0, 1.0, 2.0])).tolist()
    [1.0, 2.0, 3.0]
    """
    if values.size < FEW:
        return np.sort(values)
    low, high = float(values.min()), float(values.max())
    scale = (BUCKETS - 1) / (high - low) if high > low else 0.0
    if not 0 < scale < math.inf:
        return np.sort(values)
    nearly: FloatArray = values.take(np.argsort(_keys(values, low, scale), kind="stable"))
    nearly.sort(kind="stable")
    return nearly


def _keys(values: FloatArray, low: float, scale: float, number: int = BUCKETS) -> NDArray[np.uint16]:
    """Numbers that never fall while the values rise: differences, products and cuts of doubles keep their order."""
    keys = np.empty(values.size, np.uint16)
    buffer = np.empty(CHUNK)
    for start in range(0, values.size, CHUNK):
        part = values[start : start + CHUNK]
        place = buffer[: part.size]
        np.subtract(part, low, out=place)
        if scale:
            place *= scale
            np.minimum(place, number - 1, out=place)
            np.maximum(place, 0, out=place)
        else:
            place[...] = 0
        keys[start : start + CHUNK] = place
    return keys
