"""The tools: what each draws, how it is used, and how it is called."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ToolName = Literal["", "rectangle", "polygon", "brush", "points", "region"]
"""Empty: the mouse moves the view."""


@dataclass(frozen=True, slots=True)
class Tool:
    """One tool.

    Attributes
    ----------
    text : str
        On its button.
    hint : str
        How it is used, one sentence.
    masks : bool
        Whether it masks the scan it is drawn on; the others only measure, in all tiles alike.
    """

    text: str
    hint: str
    masks: bool


TOOLS: dict[ToolName, Tool] = {
    "rectangle": Tool("Rectangle", "Drag from corner to corner over what does not belong to the surface.", True),
    "polygon": Tool("Polygon", "Click the corners; a double click or Enter closes it, Esc gives it up.", True),
    "brush": Tool("Brush", "Drag over what does not belong to the surface.", True),
    "points": Tool("Two places", "Drag from one place to the other: their height and distance, in all tiles.", False),
    "region": Tool("Region", "Drag a rectangle: its readings, in all tiles.", False),
}
KEYBOARD = "By keyboard: arrows move the cross-hair of a tile, Space sets a place, Enter ends it."
