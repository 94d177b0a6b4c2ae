"""What one tile shows: a frozen record that the window hands over whenever something changed."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Literal

from core.heightmap import HeightMap

Status = Literal["waiting", "ready", "refused", "stale"]
Range = tuple[float, float]
Line = tuple[float, float, float, float]
"""A section: x0, y0, x1, y1 in metres from the centre of each map, x to the right, y down."""

Area = tuple[float, float, float, float]
"""A part of a map: x and y of its middle, width and height, metres from the map's centre, x to the right, y down."""


@dataclass(frozen=True, eq=False)
class TileState:
    """One scan, or one specimen by its typical spot, as its tile shows it.

    Attributes
    ----------
    key : str
        Names the tile; a tile of the same key is kept when the states change.
    title, subtitle : str
        Name, and what to add in a quieter voice.
    colour : str
        Of the specimen, ``#RRGGBB``.
    rank : int or None
        Place in the standing.
    scan : HeightMap or None
        The treated map.
    own_range : (float, float) or None
        Height range when the scale is not shared, metres. Default: what `core.scale.own_limits` says.
    reading, detail : str
        The ranking reading, and others in a quieter voice.
    chips : tuple of (str, str)
        Text and level (``"note"``, ``"amber"``, ``"red"``) of short remarks.
    status : {"waiting", "ready", "refused", "stale"}
        Being read; up to date; could not be read; shown while a newer one is being worked out.
    message, fix : str
        Why it was refused, and what to do.
    spots : tuple of str
        Names of all scans of the specimen; with more than one the tile offers to walk through them.
    """

    key: str
    title: str
    subtitle: str = ""
    colour: str = "#4477AA"
    rank: int | None = None
    scan: HeightMap | None = None
    own_range: Range | None = None
    reading: str = ""
    detail: str = ""
    chips: tuple[tuple[str, str], ...] = ()
    status: Status = "ready"
    message: str = ""
    fix: str = ""
    spots: tuple[str, ...] = ()

    def shows_same_as(self, other: TileState) -> bool:
        """Whether a tile would look the same: maps are compared by identity, never point by point."""
        pairs = ((getattr(self, field.name), getattr(other, field.name)) for field in fields(self))
        return all(a is b or (not isinstance(a, HeightMap) and a == b) for a, b in pairs)
