"""Size and pitch of a map without its heights: all that a step needs that looks at the whole bench."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol


class Lattice(Protocol):
    """What has rows, columns and pitch: a height map, or a frame."""

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""

    @property
    def pitch(self) -> tuple[float, float]:
        """Distance of neighbouring points down and across, metres."""

    @property
    def size(self) -> tuple[float, float]:
        """Height and width, metres."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A lattice without heights.

    Attributes
    ----------
    shape : (int, int)
        Rows and columns.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    """

    shape: tuple[int, int]
    pitch: tuple[float, float]

    @property
    def size(self) -> tuple[float, float]:
        """Height and width, metres: rows × dy, columns × dx."""
        return self.shape[0] * self.pitch[0], self.shape[1] * self.pitch[1]
