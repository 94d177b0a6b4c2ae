"""The material ratio curve: which share of the points lies at or above each height, and its flattest part.

Each of n points stands for 1/n of the area; the curve goes through the middle of its share, so the point with i higher
ones lies at the ratio (i + 1/2)/n, and is straight from one point to the next. Volumes are sums over the points.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from core.buckets import Buckets
from core.heightmap import FloatArray

WINDOW = 0.4
"""Share of the curve that the equivalent straight line is fitted to (ISO 13565-2)."""

HILLS, DALES = 0.10, 0.80
"""Ratios that part hills, core and dales in the volumes (ISO 25178-3 defaults, from memory)."""

LEAST_POINTS = 25
"""Below, the window holds fewer than ten points and its place is chance (own choice)."""

END = 0.05
"""A flattest window that starts or ends this close to an end of the curve is no core (own choice)."""

ROUNDING = 4 * np.finfo(np.float64).eps


@dataclass(frozen=True, slots=True)
class Tail:
    """The points beyond a height.

    Attributes
    ----------
    share : float
        Share of the points strictly beyond, 0 to 1.
    volume : float
        Mean over all points of how far they lie beyond, metres (cubic metres for each square metre).
    """

    share: float
    volume: float

    @property
    def height(self) -> float:
        """Height of the triangle of the same share and volume, metres; 0 where nothing lies beyond."""
        return 2 * self.volume / self.share if self.share else 0.0


@dataclass(frozen=True, slots=True)
class CoreLine:
    """The equivalent straight line of the curve.

    Attributes
    ----------
    top, bottom : float
        Its heights at the ratios 0 and 1, metres.
    first, last : float
        Ratios between which it was fitted.
    """

    top: float
    bottom: float
    first: float
    last: float


class MaterialRatio:
    """The material ratio curve of heights.

    Parameters
    ----------
    buckets : Buckets
        The heights that count, metres; at least one.

    Notes
    -----
    ISO 25178-2:2021, 4.4 (clause numbers from memory). The heights are not sorted: single places of the curve are
    selected, volumes are one pass each, and only the stretch in which the flattest window can lie is put in order.

    Examples
    --------
    >>> curve = MaterialRatio(Buckets(np.arange(100.0)))
    >>> curve.height(0.5), curve.above(89.5).share, curve.above(89.5).height
    (49.5, 0.1, 10.0)
    """

    def __init__(self, buckets: Buckets) -> None:
        self._buckets = buckets
        self._heights = buckets.values

    def height(self, ratio: float) -> float:
        """The height at a ratio 0 to 1, metres."""
        return self._buckets.quantile((1 - ratio) * self._buckets.size - 0.5)

    def ratio(self, height: float) -> float:
        """Share of the points at or above a height."""
        return int(np.count_nonzero(self._heights >= height)) / self._buckets.size

    def above(self, height: float) -> Tail:
        """The hills above a height."""
        return self._tail(self._buckets.at_least(height) - height)

    def below(self, height: float) -> Tail:
        """The dales below a height."""
        return self._tail(height - self._buckets.at_most(height))

    @cached_property
    def hill_height(self) -> float:
        """The height at 10 %, metres."""
        return self.height(HILLS)

    @cached_property
    def dale_height(self) -> float:
        """The height at 80 %, metres."""
        return self.height(DALES)

    @cached_property
    def hills(self) -> Tail:
        """The points above the height of 10 %."""
        return self.above(self.hill_height)

    @cached_property
    def dales(self) -> Tail:
        """The points below the height of 80 %."""
        return self.below(self.dale_height)

    @cached_property
    def above_core(self) -> Tail | None:
        """The points above the core; None if there is no core."""
        return self.above(self.core.top) if self.core else None

    @cached_property
    def below_core(self) -> Tail | None:
        """The points below the core; None if there is no core."""
        return self.below(self.core.bottom) if self.core else None

    def _tail(self, beyond: FloatArray) -> Tail:
        np.maximum(beyond, 0, out=beyond)
        n = self._buckets.size
        return Tail(int(np.count_nonzero(beyond)) / n, float(beyond.sum()) / n)

    @cached_property
    def core(self) -> CoreLine | None:
        r"""The equivalent straight line, or None if the curve has no flat part.

        Notes
        -----
        Of all windows of 40 % of the points the one with the flattest *secant* is taken, the middle one where several
        are equally flat (to the rounding of the heights); the line is the *least-squares* line through its points
        (ISO 13565-2:1996, 4.2; ISO 25178-2:2021, from memory).

        A curve that is steepest in the middle, such as that of a cosine, is flattest at an end, where a line says
        nothing of a core: if a flattest window begins or ends within 5 % of an end of the curve, and the window in the
        middle of the curve is not as flat, there is no core.
        """
        n = self._buckets.size
        if n < LEAST_POINTS:
            return None
        k = round(WINDOW * n)
        first, last = _candidates(self._buckets, k)
        heights = self._buckets.stretch(first, last + k + 1)
        rises = heights[k:] - heights[:-k]
        flattest = np.flatnonzero(rises <= rises.min() + _rounding(heights)) + first
        if _at_an_end(flattest, n - 1 - k, END * n):
            return None
        start = _middle(flattest, n - 1 - k)
        return _line(heights[start - first : start - first + k + 1], start, n)


def _candidates(buckets: Buckets, k: int) -> tuple[int, int]:
    """First and last rank at which a flattest window of k steps can start, by the bounds of the buckets alone.

    Between two ranks at which one end of the window changes its bucket, the rise over the window has the same bounds;
    where its lower bound exceeds the least upper bound of all, no flattest window starts.
    """
    starts = buckets.size - k
    low, high = buckets.edges
    ranks = np.concatenate([buckets.below[:-1], buckets.below[:-1] - k, [starts]])
    ranks = np.sort(np.clip(ranks, 0, starts), kind="stable")  # two ascending runs: one merge
    from_, until = ranks[:-1], ranks[1:]
    there = until > from_
    from_, until = from_[there], until[there]
    at_start = np.searchsorted(buckets.below, from_, side="right") - 1
    at_end = np.searchsorted(buckets.below, from_ + k, side="right") - 1
    least = low[at_end] - high[at_start]
    limit = np.min(high[at_end] - low[at_start]) + _rounding(np.array([low[0], high[-1]]))
    possible = np.flatnonzero(least <= limit)
    return int(from_[possible[0]]), int(until[possible[-1]]) - 1


def _rounding(ascending: FloatArray) -> float:
    """Rises over a window that differ by less are equal: the heights themselves are rounded so coarsely."""
    return float(ROUNDING * max(abs(ascending[0]), abs(ascending[-1])))


def _at_an_end(flattest: NDArray[np.int64], last: int, margin: float) -> bool:
    if margin < flattest[0] and flattest[-1] < last - margin:
        return False
    place = int(np.searchsorted(flattest, last // 2))
    return place == flattest.size or bool(flattest[place] != last // 2)


def _middle(flattest: NDArray[np.int64], last: int) -> int:
    """The middle one; of two in the middle the one nearer to the middle of the curve, so that the sign of the heights
    does not matter; the lower one if both are as near."""
    pair = flattest[(flattest.size - 1) // 2], flattest[flattest.size // 2]
    return int(min(pair, key=lambda start: abs(2 * start - last)))


def _line(window: FloatArray, start: int, n: int) -> CoreLine:
    """Least-squares line through points that lie one rank apart, first at `start`; a middle height is taken off first,
    so that equal heights give exactly that height."""
    pivot = float(window[window.size // 2])
    u = window - pivot
    along = np.arange(window.size) - (window.size - 1) / 2
    slope = float(np.dot(along, u)) / (window.size * (window.size**2 - 1) / 12)
    mean = float(u.mean())
    centre = start + (window.size - 1) / 2
    return CoreLine(
        top=pivot + (mean + slope * (n - 0.5 - centre)),
        bottom=pivot + (mean - slope * (centre + 0.5)),
        first=1 - (start + window.size - 0.5) / n,
        last=1 - (start + 0.5) / n,
    )
