"""Reach: which lengths a claim speaks about, and which of them the scans hold."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from core.fitness.claims.claim import Aperture, Claim
from core.heightmap import BoolArray, HeightMap

Cover = Literal["whole", "part", "none"]

FINE_PIXELS = 3
"""Pixels in the shortest wave that a scan is trusted with here (methods measured for this program: at 3 pixels textures
of one kind and two pixel sizes differ by 3 %)."""

LONG_SHARE = 1 / 4
"""Longest wave that a scan holds often enough, as a share of its side."""

FULL_SIDE = 0.99
"""Share of the aperture's side from which on a scan counts as covering it."""

FULL_AREA = 0.9
"""Share of the aperture's points that must count."""


@dataclass(frozen=True, slots=True)
class Reach:
    """Two intervals on one logarithmic axis of lengths, to be drawn one above the other.

    Attributes
    ----------
    claim : (float or None, float or None)
        Lengths that the claim speaks about, metres: its band, or for form all up to the aperture. None is an open end.
    scan : (float, float)
        Lengths that the scans hold, metres: from the coarsest pixel to the smallest side.
    cover : {"whole", "part", "none"}
        How much of the claim the scans reach: all that is needed to support it, a part that could contradict it, or
        nothing of it.
    """

    claim: tuple[float | None, float | None]
    scan: tuple[float, float]
    cover: Cover

    @property
    def axis(self) -> tuple[float, float]:
        """Whole decades, metres, that hold both intervals.

        >>> low, high = Reach((None, 25e-3), (1e-8, 1e-5), "part").axis
        >>> round(math.log10(low)), round(math.log10(high))
        (-8, -1)
        """
        ends = [end for end in (*self.claim, *self.scan) if end is not None and 0 < end < math.inf]
        low, high = math.floor(math.log10(min(ends)) + 1e-9), math.ceil(math.log10(max(ends)) - 1e-9)
        return float(f"1e{low}"), float(f"1e{max(high, low + 1)}")


def reach_of(claim: Claim, scans: Sequence[HeightMap]) -> Reach:
    """What the scans of one specimen reach of a claim.

    Parameters
    ----------
    claim : Claim
    scans : sequence of HeightMap
        At least one; those of the specimen.

    Notes
    -----
    Form is covered by a map as large as the aperture, at least 90 % of whose points count; anything smaller, or an
    aperture that is not stated, is a part. Texture is covered where the band lies between 3 pixels and a quarter of the
    side; it is reached in part where the band only overlaps with what lies between 3 pixels and the side.
    """
    pixel = max(max(scan.pitch) for scan in scans)
    side = min(min(scan.size) for scan in scans)
    if claim.of_form:
        side = max(min(extent(scan)) for scan in scans)
        longest = None if claim.aperture is None else max(claim.aperture.height, claim.aperture.width)
        whole = claim.aperture is not None and any(covers(scan, claim.aperture) for scan in scans)
        return Reach((None, longest), (pixel, side), "whole" if whole else "part")
    if claim.wavelengths is None:
        return Reach((None, None), (pixel, side), "none")
    short, long = claim.wavelengths
    low, high = FINE_PIXELS * pixel * (1 - 1e-9), side
    if (long is not None and long <= low) or (short is not None and short >= high):
        return Reach(claim.wavelengths, (pixel, side), "none")
    whole = short is not None and short >= low and long is not None and long <= LONG_SHARE * side * (1 + 1e-9)
    return Reach(claim.wavelengths, (pixel, side), "whole" if whole else "part")


def extent(scan: HeightMap) -> tuple[float, float]:
    """Height and width of the smallest rectangle that holds all points that count, metres."""
    if scan.complete:
        return scan.size
    rows, columns = (np.flatnonzero(scan.used.any(axis=axis)) for axis in (1, 0))
    if rows.size == 0:
        return 0.0, 0.0
    return float((rows[-1] - rows[0] + 1) * scan.pitch[0]), float((columns[-1] - columns[0] + 1) * scan.pitch[1])


def covers(scan: HeightMap, aperture: Aperture) -> bool:
    """Whether a map holds the whole aperture and enough of its points count."""
    high, wide = oriented(aperture, scan)
    sides = extent(scan)
    if sides[0] < FULL_SIDE * high or sides[1] < FULL_SIDE * wide:
        return False
    inside = window(scan, aperture)
    return float(np.count_nonzero(scan.used & inside)) >= FULL_AREA * float(np.count_nonzero(inside))


def cropped(scan: HeightMap, aperture: Aperture) -> HeightMap:
    """The map with everything outside the aperture, laid on the middle of the points that count, masked."""
    inside = window(scan, aperture)
    return scan if inside.all() else scan.with_(mask=~(scan.used & inside))


def window(scan: HeightMap, aperture: Aperture) -> BoolArray:
    """True inside the aperture; shape of the map."""
    high, wide = oriented(aperture, scan)
    (top, height), (left, width) = (_span(scan.used, axis) for axis in (0, 1))
    dy, dx = scan.pitch
    y = (np.arange(scan.shape[0]) - (top + (height - 1) / 2)) * dy
    x = (np.arange(scan.shape[1]) - (left + (width - 1) / 2)) * dx
    if aperture.round:
        return np.asarray((2 * y[:, None] / high) ** 2 + (2 * x[None, :] / wide) ** 2 <= 1 + 1e-9)
    return np.asarray((np.abs(y) <= high / 2 * (1 + 1e-9))[:, None] & (np.abs(x) <= wide / 2 * (1 + 1e-9))[None, :])


def oriented(aperture: Aperture, scan: HeightMap) -> tuple[float, float]:
    """Height and width of the aperture, its longer side along the longer side of the map."""
    sides = sorted((aperture.height, aperture.width))
    high, wide = scan.size
    return (sides[1], sides[0]) if high > wide else (sides[0], sides[1])


def _span(used: BoolArray, axis: int) -> tuple[int, int]:
    """First row or column in which a point counts, and their number."""
    there = np.flatnonzero(used.any(axis=1 - axis))
    return (int(there[0]), int(there[-1] - there[0] + 1)) if there.size else (0, 0)
