"""Which points above a level belong to which feature: basins of steepest ascent, joined where no saddle parts them.

Only the points above the level are looked at. On a flat map they are few, so that this costs next to nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.heightmap import BoolArray, FloatArray

SADDLE = 0.25
"""Share of its height that a peak must stand above the saddle to a higher one. For equal caps of base width B it parts
centres beyond B √0.25 (closed form)."""

NOISES = 4.0
"""The same in standard deviations of the noise."""

FEWEST = 3
"""Points of the smallest feature: fewer are a spike."""

_LATER = ((0, 1), (1, -1), (1, 0), (1, 1))
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Basins:
    """The features above a level.

    Attributes
    ----------
    points : ndarray of int
        All their points, as flat indices, in the order of the map.
    owners : ndarray of int
        Number of the feature that each of them belongs to.
    peaks : ndarray of int
        The highest point of each feature, as flat index.
    """

    points: IntArray
    owners: IntArray
    peaks: IntArray


def separate(r: FloatArray, threshold: float, noise: float) -> Basins:
    """The features whose peak reaches a threshold, down to half of it.

    Parameters
    ----------
    r : ndarray, shape (ny, nx)
        Heights over the ground, metres; NaN belongs to nothing.
    threshold : float
        Metres.
    noise : float
        Metres; a dip of less than four of it parts nothing.

    Returns
    -------
    Basins

    Notes
    -----
    Neighbours are joined highest saddle first when the lower peak p stands less than max(4 noise, p/4) above the
    saddle; what has fewer than three points is dropped.

    Examples
    --------
    >>> row = np.array([0, 3, 5, 3, 1, 4, 6, 4, 0, 0.0])
    >>> found = separate(np.stack([row * 0, row, row * 0]), 2.0, 0.1)
    >>> (found.peaks - 10).tolist(), (found.points - 10).tolist(), found.owners.tolist()
    ([2, 6], [1, 2, 3, 5, 6, 7], [0, 0, 0, 1, 1, 1])
    """
    with np.errstate(invalid="ignore"):
        points = np.flatnonzero(r.reshape(-1) > threshold / 2)
    if points.size == 0:
        return Basins(points, points, points)
    heights = r.reshape(-1)[points]
    pairs = _neighbours(points, r.shape)
    order = np.argsort(heights, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(order.size)
    roots = _ascended(rank, pairs)
    summits, basin = np.unique(roots, return_inverse=True)
    joined = _joined(basin, heights, heights[summits], pairs, noise)
    owner = joined[basin]
    size = np.bincount(owner, minlength=summits.size)
    good = (joined == np.arange(summits.size)) & (size >= FEWEST) & (heights[summits] >= threshold)
    number = np.where(good, np.cumsum(good) - 1, -1)
    kept = number[owner] >= 0
    return Basins(points[kept], number[owner[kept]], points[summits[good]])


def _neighbours(points: IntArray, shape: tuple[int, ...]) -> IntArray:
    """All pairs of touching points, by their numbers; shape (2, k)."""
    number = np.full((shape[0] + 1, shape[1] + 2), -1, np.int64)  # a frame, so that no neighbour lies outside
    wide = shape[1] + 2
    y, x = np.divmod(points, shape[1])
    framed = y * wide + x + 1
    flat = number.reshape(-1)
    flat[framed] = np.arange(points.size)
    pairs = []
    for dy, dx in _LATER:
        other = flat[framed + dy * wide + dx]
        there = np.flatnonzero(other >= 0)
        pairs.append(np.stack([there, other[there]]))
    return np.concatenate(pairs, axis=1)


def _ascended(rank: IntArray, pairs: IntArray) -> IntArray:
    """The summit that steepest ascent reaches from each point; equal heights go by place, so that none is ambiguous."""
    best = rank.copy()
    for here, there in (pairs, pairs[::-1]):
        np.maximum.at(best, here, rank[there])
    place = np.empty_like(rank)
    place[rank] = np.arange(rank.size)
    up = place[best]
    while True:
        further = up[up]
        if np.array_equal(further, up):
            return up
        up = further


def _joined(basin: IntArray, heights: FloatArray, tops: FloatArray, pairs: IntArray, noise: float) -> IntArray:
    """The basin that each basin was joined to."""
    parent = list(range(tops.size))

    def root(one: int) -> int:
        while parent[one] != one:
            parent[one] = parent[parent[one]]
            one = parent[one]
        return one

    for first, second, saddle in _saddles(basin, heights, pairs):
        one, other = root(first), root(second)
        if one == other:
            continue
        low, high = (one, other) if (tops[one], one) < (tops[other], other) else (other, one)
        if tops[low] - saddle < max(NOISES * noise, SADDLE * tops[low]):
            parent[low] = high
    return np.array([root(one) for one in range(tops.size)], dtype=np.int64)


def _saddles(basin: IntArray, heights: FloatArray, pairs: IntArray) -> list[tuple[int, int, float]]:
    """Touching basins with the height of the saddle between them, the highest first."""
    sides = basin[pairs]
    apart: BoolArray = sides[0] != sides[1]
    low, high = np.sort(sides[:, apart], axis=0)
    passes = np.minimum(*heights[pairs[:, apart]])
    order = np.argsort(-passes, kind="stable")
    key = low[order] * (int(basin.max()) + 1) + high[order]
    _, first = np.unique(key, return_index=True)
    best = order[np.sort(first)]
    return list(zip(low[best].tolist(), high[best].tolist(), passes[best].tolist(), strict=True))
