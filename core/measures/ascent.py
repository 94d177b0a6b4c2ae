"""Where every point of a map leads uphill, and where two ways uphill part: the ground of hills and dales.

Points are ordered by (height, place): of two equally high points the one that comes later, row by row, is the higher.
So no plateau is ever ambiguous, however coarsely a map is quantised. Points that do not count lie at minus infinity.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from core.heightmap import BoolArray, FloatArray, HeightMap

IntArray = NDArray[np.int32]
ByteArray = NDArray[np.uint8]

BLOCK = 64
"""Rows handled at a time, so that all steps on them stay in the cache."""

RING = ((0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1))
"""The eight neighbours (down, right), clockwise as shown from the right one. The first four come later in the map."""

STRETCH = 1 << 19
"""Points, about, in a stretch of rows: few enough for what is known of its saddles to stay in the cache."""

LATER = 0b00001111
EARLIER = 0b11110000


@dataclass(frozen=True, slots=True, eq=False)
class Ascent:
    """The basins of steepest ascent of a map and the saddles between them.

    A *basin* is what leads to one summit when each point is left for the highest of its eight neighbours. A *saddle* is
    a point whose higher neighbours fall into two or more groups that do not touch: only there do basins meet for the
    first time when a flood sinks. Points are numbered row by row.

    Attributes
    ----------
    basins : ndarray of int32, shape (ny · nx,)
        Number of the basin at each point, in the order of `summits`; `len(summits)` where a point does not count.
    summits : ndarray of int32, shape (n,)
        The points without a higher neighbour.
    saddles : ndarray of int32, shape (k,)
        The points where basins meet; a point where three groups meet is there twice.
    sides : ndarray of int32, shape (2, k)
        The two basins that meet there: first that of the saddle itself.
    stretches : ndarray of int, shape (m + 1, 2)
        Where the stretches of rows begin that `saddles` are in order of: numbers of the first summit and of the first
        saddle of each, and of what would come after the last. Within a stretch saddles are in no order.
    """

    basins: IntArray
    summits: IntArray
    saddles: IntArray
    sides: IntArray
    stretches: NDArray[np.int64]


def ascent(scan: HeightMap, *, down: bool = False) -> Ascent:
    """Basins of steepest ascent and the saddles between them.

    Parameters
    ----------
    scan : HeightMap
        The map; missing and masked points belong to no basin.
    down : bool, default False
        Turn the map upside down first: summits are then the bottoms of its dales.

    Returns
    -------
    Ascent

    Examples
    --------
    >>> found = ascent(HeightMap([[3.0, 1.0, 2.0]], pitch=(1.0, 1.0)))
    >>> found.summits.tolist(), found.saddles.tolist(), found.basins.tolist()
    ([0, 2], [1], [0, 0, 1])
    """
    strips = _strips(scan, down)
    summits = np.concatenate(strips.summits)
    basins = _through_exits(strips, summits.size)
    points, sides, stretches = [], [], [(0, 0)]
    together = max(1, STRETCH // (BLOCK * scan.shape[1]))
    for first in range(0, len(strips.saddles), together):
        stretch = slice(first, first + together)
        meeting = _Meeting(
            np.concatenate(strips.saddles[stretch]),
            np.concatenate(strips.links[stretch]),
            np.concatenate(strips.steepest[stretch]),
        )
        met = _sides(meeting, basins, scan, down)
        points.append(met[0])
        sides.append(met[1])
        peaks = sum(map(len, strips.summits[stretch]))
        stretches.append((stretches[-1][0] + peaks, stretches[-1][1] + len(met[0])))
    return Ascent(basins, summits, np.concatenate(points), np.concatenate(sides, axis=1), np.array(stretches))


@dataclass(slots=True, eq=False)
class _Strips:
    """What the strips of a map, gone through one by one in the cache, leave to be put together.

    `basins` tells for each point where its ascent ends: at the summit of this number, or by −2 − k at the exit k, where
    it leads into the next strip; −1 where the point does not count. `targets` are the points that the exits lead to.
    `links` and `steepest` belong to the saddles: the bits of their higher neighbours, and the place in `RING` of the
    highest.
    """

    basins: IntArray
    summits: list[IntArray] = field(default_factory=list)
    saddles: list[IntArray] = field(default_factory=list)
    links: list[ByteArray] = field(default_factory=list)
    steepest: list[ByteArray] = field(default_factory=list)
    targets: list[IntArray] = field(default_factory=list)


def _strips(scan: HeightMap, down: bool) -> _Strips:
    ny, nx = scan.shape
    strips = _Strips(np.empty(ny * nx, np.int32))
    used = None if scan.complete else scan.used
    jumps = _jumps(nx)
    place = np.arange(min(BLOCK, ny) * nx, dtype=np.int32)
    number = np.empty_like(place)
    peaks = leaving = 0
    for top in range(0, ny, BLOCK):
        rows = slice(top, min(top + BLOCK, ny))
        start, size = np.int32(top * nx), (rows.stop - top) * nx
        band = _framed(scan, used, rows, down)
        highest = _highest(band).reshape(-1)
        uphill = jumps.take(highest)
        uphill += place[:size]
        link = _higher(band).reshape(-1)
        counts = None if used is None else used[rows].reshape(-1)
        if counts is not None:
            left_out = np.flatnonzero(~counts)
            uphill[left_out] = left_out  # they would lead out of the map
            number[left_out] = -1
        exits = np.flatnonzero((uphill < 0) | (uphill >= size)).astype(np.int32)
        strips.targets.append(uphill[exits] + start)
        uphill[exits] = exits
        summits = _places(link == 0, counts)
        number[summits] = np.arange(peaks, peaks + summits.size, dtype=np.int32)
        number[exits] = np.arange(-2 - leaving, -2 - leaving - exits.size, -1, dtype=np.int32)
        number.take(_followed(uphill), out=strips.basins[start : start + size], mode="clip")
        peaks, leaving = peaks + summits.size, leaving + exits.size
        strips.summits.append(summits + start)
        saddles = _places(SADDLE.take(link), counts)
        strips.saddles.append(saddles + start)
        strips.links.append(link[saddles])
        strips.steepest.append(STEEPEST.take(highest[saddles]))
    return strips


def _through_exits(strips: _Strips, none: int) -> IntArray:
    """The basin of each point, the ways through exits followed to their summits; `none` where it does not count."""
    basins = strips.basins
    reached = basins[np.concatenate(strips.targets)]
    while (onward := np.flatnonzero(reached < 0)).size:
        reached[onward] = reached[-2 - reached[onward]]
    table = np.concatenate([np.array([none], np.int32), reached])
    for start in range(0, basins.size, STRETCH):
        part = basins[start : start + STRETCH]
        open_ = np.flatnonzero(part < 0)
        part[open_] = table[-1 - part[open_]]
    return basins


def _framed(scan: HeightMap, used: BoolArray | None, rows: slice, down: bool) -> FloatArray:
    """These rows and one more on every side; minus infinity outside the map and where a point does not count."""
    ny, nx = scan.shape
    framed = np.full((rows.stop - rows.start + 2, nx + 2), -np.inf)
    there = slice(max(rows.start - 1, 0), min(rows.stop + 1, ny))
    inner = framed[there.start - rows.start + 1 : there.stop - rows.start + 1, 1:-1]
    (np.negative if down else np.positive)(scan.z[there], out=inner)
    if used is not None:
        inner[~used[there]] = -np.inf
    return framed


def _highest(band: FloatArray) -> ByteArray:
    """Where in its 3 × 3 neighbourhood the highest point lies: first along rows, then down columns, packed in a byte.

    Two bits for each of the three rows tell whether its middle beats its left point and its right point beats both;
    bit 6 whether the middle row beats the upper one and bit 7 whether the lower row beats both. Of equals the later
    one wins.
    """
    left, middle, right = band[:, :-2], band[:, 1:-1], band[:, 2:]
    best = np.maximum(left, middle)
    codes = (right >= best).view(np.uint8)
    codes <<= 1
    codes |= (middle >= left).view(np.uint8)
    np.maximum(best, right, out=best)
    packed = codes[2:] << 2
    packed |= codes[1:-1]
    packed <<= 2
    packed |= codes[:-2]
    upper, centre, lower = best[:-2], best[1:-1], best[2:]
    packed |= (centre >= upper).view(np.uint8) << 6
    packed |= (lower >= np.maximum(upper, centre)).view(np.uint8) << 7
    return np.asarray(packed)


def _step(packed: int) -> tuple[int, int]:
    """The way (down, right) to the highest point for one byte of `_highest`."""
    row = 2 if packed & 128 else 1 if packed & 64 else 0
    return row - 1, (-1, 0, 1, 1)[packed >> 2 * row & 3]


def _jumps(nx: int) -> IntArray:
    """The same as a step in point numbers, for all bytes."""
    return np.array([down * nx + right for down, right in map(_step, range(256))], np.int32)


def _higher(band: FloatArray) -> ByteArray:
    """Which of the eight neighbours are higher, one bit each in the order of `RING`.

    Each pair is compared once, for its earlier point: the later one sees the same answer reversed.
    """
    high, wide = band.shape[0] - 2, band.shape[1] - 2
    link = np.zeros((high, wide), np.uint8)
    for bit, (dy, dx) in enumerate(RING[:4]):
        first = max(0, -dx)  # the leftmost column that has this neighbour
        width = wide + 2 - abs(dx)
        later = band[dy : dy + high + 1, first + dx : first + dx + width]
        beats = (later >= band[: high + 1, first : first + width]).view(np.uint8)
        link |= beats[1:, 1 - first : 1 - first + wide] << bit  # seen from the earlier point
        link |= beats[1 - dy : 1 - dy + high, 1 - dx - first : 1 - dx - first + wide] << (bit + 4)  # and from the later
    link ^= EARLIER
    return link


def _places(which: BoolArray, counts: BoolArray | None) -> IntArray:
    if counts is not None:
        which &= counts
    return np.flatnonzero(which).astype(np.int32)


def _followed(uphill: IntArray) -> IntArray:
    """Where the way from each point ends: every round doubles how far all points see (pointer jumping)."""
    seen, further = uphill, np.empty_like(uphill)
    while True:
        np.take(seen, seen, out=further, mode="clip")  # clip: without it, take would buffer the output
        if np.array_equal(seen, further):
            return seen
        seen, further = further, seen


@dataclass(frozen=True, slots=True, eq=False)
class _Meeting:
    """Where basins may meet: the saddle points, which neighbours of each are higher, and which is the highest."""

    saddles: IntArray
    links: ByteArray
    steepest: ByteArray


def _sides(meeting: _Meeting, basins: IntArray, scan: HeightMap, down: bool) -> tuple[IntArray, IntArray]:
    """For each saddle its own basin and that beyond, once for each group of higher neighbours but its own.

    All points of a group lie in one piece above the saddle. The highest of them stands for it, so that the basin beyond
    does not depend on how the map lies. For its own group it is the saddle itself, so that two basins that are joined
    also touch.
    """
    saddles, links = meeting.saddles, meeting.links
    offsets = np.array([dy * scan.shape[1] + dx for dy, dx in RING], np.int32)
    points, pairs = [], []
    groups, own_group, own = GROUPS.take(links), GROUP[meeting.steepest, links], basins.take(saddles)
    for group in range(len(MEMBER)):
        there = np.flatnonzero((groups > group) & (own_group != group))
        saddle, one = saddles[there], own[there]
        other = basins.take(saddle + offsets.take(_highest_member(group, saddle, links[there], offsets, scan, down)))
        apart = np.flatnonzero(one != other)
        points.append(saddle[apart])
        pairs.append(np.stack([one[apart], other[apart]]))
    return np.concatenate(points), np.concatenate(pairs, axis=1)


def _highest_member(
    group: int, saddles: IntArray, links: ByteArray, offsets: IntArray, scan: HeightMap, down: bool
) -> ByteArray:
    """Place in `RING` of the highest member of a group of higher neighbours."""
    found: ByteArray = MEMBER[group].take(links)
    members: ByteArray = MEMBERS[group].take(links)
    several = np.flatnonzero(members & (members - 1))  # more than one bit
    if several.size == 0:
        return found
    z, saddle, members = scan.z.reshape(-1), saddles[several], members[several]
    best, place_of_best = np.full(several.size, -np.inf), found[several]
    for place in range(8):
        here = np.flatnonzero(members >> place & 1)
        height = z.take(saddle[here] + offsets[place])
        if down:
            height = -height
        higher = height > best[here]
        best[here[higher]] = height[higher]
        place_of_best[here[higher]] = place
    found[several] = place_of_best
    return found


def _groups(link: int) -> list[list[int]]:
    """The higher neighbours in groups; those that touch, also by a corner, are one group."""
    left = [k for k in range(8) if link >> k & 1]
    found = []
    while left:
        group = [left.pop(0)]
        for member in group:  # grows while it is gone through
            touching = [k for k in left if max(abs(RING[k][i] - RING[member][i]) for i in (0, 1)) <= 1]
            group += touching
            left = [k for k in left if k not in touching]
        found.append(group)
    return found


_ALL = [_groups(link) for link in range(256)]

GROUPS = np.array([len(groups) for groups in _ALL], np.uint8)
"""Number of groups of higher neighbours, by the bits of the link."""

SADDLE = GROUPS > 1
"""Whether a link makes a saddle."""

MEMBER = np.array(
    [[groups[k][0] if k < len(groups) else 0 for groups in _ALL] for k in range(int(GROUPS.max()))], np.uint8
)
"""The neighbour (place in `RING`) that stands for each group; row = group, column = link."""

MEMBERS = np.array(
    [
        [sum(1 << place for place in groups[k]) if k < len(groups) else 0 for groups in _ALL]
        for k in range(int(GROUPS.max()))
    ],
    np.uint8,
)
"""The neighbours in each group, a bit for each place in `RING`; row = group, column = link."""

GROUP = np.array(
    [[next((k for k, group in enumerate(groups) if place in group), 0) for groups in _ALL] for place in range(8)],
    np.uint8,
)
"""The group to which a neighbour belongs; row = its place in `RING`, column = link."""

STEEPEST = np.array([RING.index(_step(packed)) if _step(packed) in RING else 0 for packed in range(256)], np.uint8)
"""The place in `RING` of the highest neighbour for each byte of `_highest`; summits have none and read 0."""
