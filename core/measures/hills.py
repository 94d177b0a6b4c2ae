r"""Hills and dales: what is left of the basins of a map when all that rise too little over their saddles are joined.

A hill falls to its neighbour when its summit lies less than the pruning height above its highest saddle and a higher
summit stands on the other side (Wolf pruning, ISO 25178-2). The flood that finds the saddles one by one is not needed:
only the saddles carry the tree in which basins merge, and whole generations of hills that must fall fall at once.
That is exact. Over its highest saddle a falling hill is joined before any other way leads into it, so joining it
early opens no way at a height at which there was none.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.heightmap import BoolArray, FloatArray, HeightMap, frozen
from core.measures.ascent import BLOCK, Ascent, IntArray, ascent

PRUNING = 0.05
"""Share of Sz that a hill must rise over its highest saddle (default of ISO 25178-2, from memory)."""


@dataclass(frozen=True, slots=True, eq=False)
class Hills:
    """The hills of a map, or of the map turned upside down: then its dales.

    All arrays are read-only and go by hill, in the order of the summits' places, row by row.

    Attributes
    ----------
    places : ndarray, shape (n, 2)
        Row and column of each summit (of a dale: of its bottom).
    heights : ndarray, shape (n,)
        Height of each summit on the map, metres. Dales are not turned back: minus this is the height of the bottom.
    rims : ndarray, shape (n,)
        Height of the highest saddle to another hill, metres; minus infinity where there is none.
    points : ndarray of int, shape (n,)
        Number of points of each hill.
    open : ndarray of bool, shape (n,)
        Whether a hill touches the border of the map or an opening in it, and may go on there. An opening is a run of
        three or more points along a row or a column that do not count; single lost points open no hill.
    labels : ndarray of int32, shape (ny, nx)
        Number of the hill at each point, counted from 0; n where a point belongs to none.
    coverage : float
        Share of the points that count among all but those of the openings: what lost points took from the hills.
    """

    places: NDArray[np.int64]
    heights: FloatArray
    rims: FloatArray
    points: NDArray[np.int64]
    open: BoolArray
    labels: IntArray
    coverage: float

    def __len__(self) -> int:
        return len(self.heights)


def hills_of(scan: HeightMap, least: float, *, down: bool = False) -> Hills:
    """The hills of a map that rise at least so far over their highest saddle.

    Parameters
    ----------
    scan : HeightMap
        The treated map. Missing and masked points belong to no hill.
    least : float
        Pruning height, metres. A hill that rises exactly so far stays.
    down : bool, default False
        Dales instead: the hills of the map turned upside down.

    Returns
    -------
    Hills
        The highest summit stays, and so does the highest of each island among points that do not count. What is left
        without a saddle on a map with such points must span the pruning height by itself.

    Notes
    -----
    Each point belongs to the summit that its steepest ascent reaches (for every step the highest of eight neighbours)
    and with it to the hill which that summit fell to. Which hills there are, their heights and saddles do not depend on
    that rule; their areas do: a flood from the same summits draws a few per cent of the borders elsewhere.

    References
    ----------
    G. W. Wolf, Scale independent surface characterisation: geography meets precision surface metrology, Precis. Eng. 49
    (2017) 456-480, doi:10.1016/j.precisioneng.2016.12.005 (from memory). ISO 25178-2:2021, feature characterisation.

    Examples
    --------
    >>> scan = HeightMap([[5.0, 1.0, 3.0, 2.0, 4.0]], pitch=(1.0, 1.0))
    >>> found = hills_of(scan, 1.5)
    >>> found.heights.tolist(), found.rims.tolist(), found.labels.tolist()
    ([5.0, 4.0], [1.0, 1.0], [[0, 0, 1, 1, 1]])
    """
    found = ascent(scan, down=down)
    z = scan.z.reshape(-1)
    heights, saddles = z[found.summits], z[found.saddles]
    if down:
        heights, saddles = -heights, -saddles
    joined, rims = prune(heights, saddles, found.sides, least, found.stretches)
    stays = joined == np.arange(len(joined))
    if not scan.complete:
        stays &= ~_low_islands(found, joined, heights, -z if down else z, stays & np.isneginf(rims), least)
    number = np.cumsum(stays, dtype=np.int32) - 1
    n = int(np.count_nonzero(stays))
    # One table from basin to hill; a point that does not count, and a low island, belongs to hill n: none.
    table = np.full(len(joined) + 1, n, np.int32)
    table[:-1] = np.where(stays[joined], number[joined], n)
    labels = table.take(found.basins).reshape(scan.shape)
    places = np.stack(np.divmod(found.summits[stays].astype(np.int64), scan.shape[1]), axis=1)
    points = np.zeros(n + 1, np.int64)
    for top in range(0, scan.shape[0], BLOCK):
        _add(points, labels[top : top + BLOCK].reshape(-1))
    points = points[:n]
    open_, coverage = _open(labels, scan, n)
    hills = Hills(places, frozen(heights[stays]), frozen(rims[stays]), points, open_, labels, coverage)
    for array in (hills.places, hills.points, hills.open, hills.labels):
        array.flags.writeable = False
    return hills


def prune(
    heights: FloatArray,
    saddles: FloatArray,
    sides: IntArray,
    least: float,
    stretches: NDArray[np.int64] | None = None,
) -> tuple[IntArray, FloatArray]:
    """Join every basin that rises less than `least` over its highest saddle with the basin beyond, if that is higher.

    Parameters
    ----------
    heights : ndarray, shape (n,)
        Summit of each basin; of equal ones the later is the higher.
    saddles : ndarray, shape (k,)
        Heights of the saddles.
    sides : ndarray of int, shape (2, k)
        The basins that meet at each saddle.
    least : float
        Pruning height.
    stretches : ndarray of int, shape (m + 1, 2), optional
        Numbers of the first basin and of the first saddle of each stretch of the map, and of what would come after the
        last. It changes nothing but the time.

    Returns
    -------
    joined : ndarray of int32, shape (n,)
        The basin that each basin has become part of; itself if it stays.
    rims : ndarray, shape (n,)
        Height of the highest saddle of those that stay to another that stays; minus infinity if there is none.

    Notes
    -----
    In every round all basins fall at once whose highest saddle is high enough and leads to a higher summit. There is
    always one as long as any basin must fall: if the highest saddle of such a basin leads to a lower summit, that
    one must fall too, and so on down.

    As the order does not matter, each stretch is first pruned by itself, in the cache: a basin whose saddles all lie in
    it can be judged there. What is left then, mostly along the seams and what stays, is pruned as a whole.
    """
    n = len(heights)
    joined, rims = np.arange(n, dtype=np.int32), np.full(n, -np.inf)
    place = np.empty(n, np.int32)

    def settle(names: IntArray, saddles: FloatArray, sides: IntArray, seen: BoolArray | None) -> _Saddles:
        place[names] = np.arange(names.size, dtype=np.int32)
        onto, found, rest = _fall(heights[names], _Saddles(saddles, *place[sides]), least, seen)
        joined[names] = names[onto]
        rims[names] = np.maximum(rims[names], found)
        return _Saddles(rest.heights, names[rest.a], names[rest.b])

    if stretches is not None and len(stretches) > 2:
        beyond = _seen_elsewhere(n, sides, stretches)
        left = []
        for (first, start), (last, end) in itertools.pairwise(stretches.tolist()):
            names = _with_strangers(first, last, sides[:, start:end])
            own = (names >= first) & (names < last) & ~beyond[names]
            left.append(settle(names, saddles[start:end], sides[:, start:end], own))
        saddles = np.concatenate([rest.heights for rest in left])
        sides = np.stack([np.concatenate([rest.a for rest in left]), np.concatenate([rest.b for rest in left])])
    named = np.zeros(n, bool)
    named[sides] = True
    settle(np.flatnonzero(named).astype(np.int32), saddles, sides, None)
    return joined[joined], rims


@dataclass(frozen=True, slots=True, eq=False)
class _Saddles:
    """Heights of saddles and the basins on their two sides."""

    heights: FloatArray
    a: IntArray
    b: IntArray

    def at(self, places: NDArray[np.int64]) -> _Saddles:
        # looked up by place: several times faster than by truth values
        return _Saddles(self.heights[places], self.a[places], self.b[places])


def _seen_elsewhere(n: int, sides: IntArray, stretches: NDArray[np.int64]) -> BoolArray:
    """The basins with a saddle in a stretch that is not their own."""
    found = np.zeros(n, bool)
    for (first, start), (last, end) in itertools.pairwise(stretches.tolist()):
        part = sides[:, start:end]
        found[part[(part < first) | (part >= last)]] = True
    return found


def _with_strangers(first: int, last: int, sides: IntArray) -> IntArray:
    """The basins `first` to `last` (not included) and all others that these saddles name, in order."""
    strangers = np.unique(sides[(sides < first) | (sides >= last)])
    before = int(np.searchsorted(strangers, first))
    return np.concatenate([strangers[:before], np.arange(first, last, dtype=np.int32), strangers[before:]])


def _fall(
    heights: FloatArray, saddles: _Saddles, least: float, known: BoolArray | None
) -> tuple[IntArray, FloatArray, _Saddles]:
    """Round by round, what each basin becomes part of, the rims found, and the saddles that have not told all.

    Only basins that are `known`, whose saddles are all here, fall; None: all are, and the rims are complete.
    """
    n = len(heights)
    itself = np.arange(n, dtype=np.int32)
    joined, rims = itself, np.full(n, -np.inf)
    while True:
        best = np.full(n, -np.inf)
        np.maximum.at(best, saddles.a, saddles.heights)
        np.maximum.at(best, saddles.b, saddles.heights)
        low = heights - best < least
        onto = _ways_up(heights, best, low if known is None else low & known, saddles, known)
        done = np.array_equal(onto, itself)
        if done and known is None:
            return joined, np.maximum(rims, best), saddles
        if not done:
            onto = _ends(onto)
            joined = onto[joined]
        # A basin that is not low never becomes so: what joins it came over its saddles, no saddle of it rises. Saddles
        # between two such basins have told all they can but the rims.
        unsettled = low if known is None else low | ~known
        active = unsettled[saddles.a] | unsettled[saddles.b]
        settled = saddles.at(np.flatnonzero(~active))
        for end in (settled.a, settled.b):
            np.maximum.at(rims, end, settled.heights)
        saddles = _Saddles(saddles.heights, onto[saddles.a], onto[saddles.b])
        active &= saddles.a != saddles.b
        saddles = saddles.at(np.flatnonzero(active))
        if done:
            return joined, rims, saddles


def _ways_up(
    heights: FloatArray, best: FloatArray, low: BoolArray, saddles: _Saddles, known: BoolArray | None
) -> IntArray:
    """For each low basin whose highest saddle leads to a higher summit that summit; all others stay themselves.

    Where several basins meet at one saddle the falling one goes to the highest of the others, so that it does not
    depend on how the map lies. It waits until they have become what a flood would have made of them by then.
    """
    ends: tuple[list[IntArray], list[IntArray]] = [], []
    for here, there in ((saddles.a, saddles.b), (saddles.b, saddles.a)):
        way = np.flatnonzero((saddles.heights == best[here]) & low[here])
        ends[0].append(here[way])
        ends[1].append(there[way])
    falling, beyond = np.concatenate(ends[0]), np.concatenate(ends[1])
    onto = np.arange(len(heights), dtype=np.int32)
    onto[falling] = beyond
    torn = np.zeros(len(heights), bool)
    torn[falling[onto[falling] != beyond]] = True
    onto[falling] = falling
    up = (heights[beyond] > heights[falling]) | ((heights[beyond] == heights[falling]) & (beyond > falling))
    alone = np.flatnonzero(up & ~torn[falling])
    onto[falling[alone]] = beyond[alone]
    several = np.flatnonzero(torn[falling])
    if several.size:
        falling, beyond, up = falling[several], beyond[several], up[several]
        changing = low[beyond] & (best[beyond] > best[falling])
        if known is not None:
            changing |= ~known[beyond]
        torn[falling[changing]] = False
        ready = np.flatnonzero(up & torn[falling])
        falling, beyond = falling[ready], beyond[ready]
        order = np.lexsort((beyond, heights[beyond]))
        onto[falling[order]] = beyond[order]  # the highest is written last
    return onto


def volumes(hills: Hills, scan: HeightMap, *, down: bool = False) -> FloatArray:
    """Volume of each hill above its rim, cubic metres.

    The sum of what its points rise over the height of its highest saddle, times the area of a point: of a dale what it
    holds before it runs over. Not a number for a hill without a rim.

    Parameters
    ----------
    hills : Hills
        As found on `scan`.
    scan : HeightMap
        The map.
    down : bool, default False
        Whether they are dales.

    Returns
    -------
    ndarray, shape (n,)
        Over the points that count; divide by `Hills.coverage` for what lost points took.
    """
    n = len(hills)
    rims = np.append(np.where(np.isneginf(hills.rims), np.nan, hills.rims), np.inf)  # nothing rises over no hill
    total = np.zeros(n + 1)
    complete = scan.complete
    for top in range(0, scan.shape[0], BLOCK):
        labels = hills.labels[top : top + BLOCK].reshape(-1)
        z = scan.z[top : top + BLOCK].reshape(-1)
        if not complete:
            inside = np.flatnonzero(labels < n)
            labels, z = labels[inside], z[inside]
        over = rims.take(labels)
        np.subtract(*((-z, over) if down else (z, over)), out=over)
        np.maximum(over, 0.0, out=over)
        _add(total, labels, over)
    return np.asarray(total[:n] * scan.pitch[0] * scan.pitch[1])


def _add(into: FloatArray | NDArray[np.int64], labels: IntArray, weights: FloatArray | None = None) -> None:
    """Add the points of each label, or their weights: only the labels that occur are gone through."""
    if labels.size:
        first = int(labels.min())
        found = np.bincount(labels - first, weights)
        into[first : first + found.size] += found


def _ends(onto: IntArray) -> IntArray:
    while True:
        further = onto[onto]
        if np.array_equal(further, onto):
            return onto
        onto = further


def _low_islands(
    found: Ascent, joined: IntArray, heights: FloatArray, z: FloatArray, alone: BoolArray, least: float
) -> BoolArray:
    """Which of the basins left `alone` among points that do not count span less than the pruning height."""
    if not alone.any():
        return alone
    table = np.full(len(joined) + 1, len(joined), np.int32)  # the end stands for all others
    table[:-1][alone[joined]] = joined[alone[joined]]
    island = table.take(found.basins)
    inside = np.flatnonzero(island < len(joined))
    lowest = np.full(len(joined), np.inf)
    np.minimum.at(lowest, island[inside], z[inside])
    return np.asarray(alone & (heights - lowest < least))


def _open(labels: IntArray, scan: HeightMap, n: int) -> tuple[BoolArray, float]:
    marked = np.zeros(n + 1, bool)
    for line in (labels[0], labels[-1], labels[:, 0], labels[:, -1]):
        marked[line] = True
    if scan.complete:
        return marked[:n], 1.0
    left_out = ~scan.used
    openings = _openings(left_out)
    marked[labels[_beside(openings)]] = True
    small = int(np.count_nonzero(left_out)) - int(np.count_nonzero(openings))
    points = left_out.size - int(np.count_nonzero(left_out))
    return marked[:n], points / max(points + small, 1)


def _openings(left_out: BoolArray) -> BoolArray:
    """The points in runs of three or more along a row or a column."""
    found = np.zeros_like(left_out)
    for into, from_ in ((found, left_out), (found.T, left_out.T)):
        run = from_[:, :-2] & from_[:, 1:-1] & from_[:, 2:]
        for shift in range(3):
            into[:, shift : shift + run.shape[1]] |= run
    return found


def _beside(left_out: BoolArray) -> BoolArray:
    """These points and their eight neighbours."""
    wide = left_out.copy()
    wide[:, 1:] |= left_out[:, :-1]
    wide[:, :-1] |= left_out[:, 1:]
    high = wide.copy()
    high[1:] |= wide[:-1]
    high[:-1] |= wide[1:]
    return high
