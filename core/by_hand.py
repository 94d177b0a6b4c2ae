"""Measured by hand: the height and distance between two places, and the readings of a region, of several maps alike.

Both are looks at a part. A region has its own band of wavelengths (up to its side), so that its readings never stand
beside those of whole scans: every one of them carries the note that says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from core.errors import MapError
from core.heightmap import HeightMap
from core.measures import Reading, readings
from core.sections import Point, height_at
from core.units import format_length

REGION = ("Sq", "Sa", "Sz", "Sp", "Sv", "Sdq")
SMALLEST = 8  # points of a side: fewer make no texture


@dataclass(frozen=True, slots=True)
class Between:
    """From one place to another.

    Attributes
    ----------
    distance : float
        In the plane of the map, metres.
    first, second : float or None
        Heights, metres; None outside the map or where a point is missing.
    rise : float or None
        Second minus first, metres.
    slope : float or None
        Rise over distance, as a pure number.
    """

    distance: float
    first: float | None
    second: float | None
    rise: float | None
    slope: float | None


@dataclass(frozen=True, slots=True)
class Region:
    """A rectangle of a map, read.

    Attributes
    ----------
    size : (float, float)
        Height and width in whole points, metres.
    readings : mapping of str to Reading
        Of the heights as treated in the whole scan; none where the rectangle holds too few points.
    note : str
        What they are, or why there are none.
    """

    size: tuple[float, float]
    readings: dict[str, Reading]
    note: str


def between(scan: HeightMap, start: Point, end: Point) -> Between:
    """Height difference and distance of two places.

    Parameters
    ----------
    scan : HeightMap
        The treated map.
    start, end : (float, float)
        Metres right of and below the centre; each takes the height of the pixel it lies in.

    Examples
    --------
    >>> step = HeightMap([[0.0, 3e-9]], (1e-6, 1e-6))
    >>> found = between(step, (-0.5e-6, 0.0), (0.5e-6, 0.0))
    >>> found.distance, found.rise, round(found.slope, 6)
    (1e-06, 3e-09, 0.003)
    """
    first, second = height_at(scan, *start), height_at(scan, *end)
    distance = math.hypot(end[0] - start[0], end[1] - start[1])
    rise = None if first is None or second is None else second - first
    return Between(distance, first, second, rise, None if rise is None or distance == 0 else rise / distance)


def cut(scan: HeightMap, corner: Point, opposite: Point) -> HeightMap:
    """The rectangle between two corners as a map of its own: every point whose middle lies in it.

    Raises
    ------
    MapError
        If it holds no point of the map.

    Examples
    --------
    >>> cut(HeightMap([[1.0, 2.0, 3.0]], (1.0, 1.0)), (-0.2, -1.0), (9.0, 1.0)).z.tolist()
    [[2.0, 3.0]]
    """
    spans = []
    for axis, ends in ((0, (corner[1], opposite[1])), (1, (corner[0], opposite[0]))):
        count, step = scan.shape[axis], scan.pitch[axis]
        places = [end / step + (count - 1) / 2 for end in ends]
        first, last = max(0, math.ceil(min(places) - 1e-9)), min(count, math.floor(max(places) + 1e-9) + 1)
        if first >= last:
            raise MapError("The region holds no point of the map", where=scan.name)
        spans.append(slice(first, last))
    part = spans[0], spans[1]
    return scan.with_(z=scan.z[part].copy(), mask=None if scan.mask is None else scan.mask[part])


def region(scan: HeightMap, corner: Point, opposite: Point, symbols: Sequence[str] = REGION) -> Region:
    """The readings of a rectangle of a treated map, about its own mean; nothing is levelled anew.

    Parameters
    ----------
    scan : HeightMap
        The treated map.
    corner, opposite : (float, float)
        Metres right of and below the centre.
    symbols : sequence of str, optional
        Readings of the catalogue.

    Examples
    --------
    >>> import numpy as np
    >>> z = 1e-9 * np.random.default_rng(1).standard_normal((64, 64))
    >>> found = region(HeightMap(z, (1e-8, 1e-8)), (-1e-7, -1e-7), (1e-7, 1e-7))
    >>> found.size, found.note
    ((2e-07, 2e-07), 'Of a region of 200 nm × 200 nm only; not to be set beside readings of whole scans.')
    """
    try:
        part = cut(scan, corner, opposite)
    except MapError as error:
        return Region((0.0, 0.0), {}, f"{error.what}.")
    if min(part.shape) < SMALLEST:
        return Region(part.size, {}, f"The region is {part.shape[0]} × {part.shape[1]} points: too few to be read.")
    high, wide = (format_length(side) for side in part.size)
    note = f"Of a region of {wide} × {high} only; not to be set beside readings of whole scans."
    found = readings(part, symbols)
    return Region(
        part.size,
        {symbol: replace(one, note=" ".join(filter(None, (note, one.note)))) for symbol, one in found.items()},
        note,
    )
