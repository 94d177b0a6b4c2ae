"""The record of one doubt: what was seen, how bad, where, what it may be confused with, what settles it, what to do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

Level = Literal["note", "amber", "red"]


@dataclass(frozen=True, slots=True)
class Place:
    """A rectangle on the raw map where a doubt can be seen, in points; rows count from the top line as shown.

    Attributes
    ----------
    top, left : int
        First row and column.
    bottom, right : int
        Behind the last row and column.
    """

    top: int
    left: int
    bottom: int
    right: int


@dataclass(frozen=True, slots=True)
class Doubt:
    """One reason not to trust a scan or a comparison.

    Attributes
    ----------
    code : str
        Stable short name, such as ``"missing"``.
    level : {"note", "amber", "red"}
        How much it matters.
    message : str
        What was seen, with its figures.
    advice : str
        What to do at the microscope.
    figures : mapping of str to float
        The numbers in the message, SI.
    place : Place, optional
        Where on the raw map; None when it concerns the whole of it.
    confused_with : str
        What one map cannot tell it from; empty when nothing else looks like it.
    settled_by : str
        The second scan that would settle it; empty when the map itself does.
    cure : mapping, optional
        The treatment step that masks or models it, as a table of the TOML, to be offered and never done by itself.
    """

    code: str
    level: Level
    message: str
    advice: str
    figures: Mapping[str, float] = field(default_factory=dict)
    place: Place | None = None
    confused_with: str = ""
    settled_by: str = ""
    cure: Mapping[str, Any] | None = None
