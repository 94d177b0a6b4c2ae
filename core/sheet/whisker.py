"""Dots with whiskers: the intervals of the standing on one axis, as numbers for a small drawing.

The axis is logarithmic where all ends are positive, because roughness scatters by factors; otherwise linear.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from core.measures.reading import Reading
from core.sheet.words import ends, has_interval, signed
from core.units import format_number

WIDTH, MARGIN = 170.0, 8.0


@dataclass(frozen=True, slots=True)
class Whisker:
    """One dot with its whisker; places in drawing units from the left. None where there is no value or no interval."""

    dot: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Axis:
    """The axis that all dots share.

    Attributes
    ----------
    low, high : float
        Its ends, SI.
    logarithmic : bool
        Whether equal distances are equal factors.
    """

    low: float
    high: float
    logarithmic: bool

    @classmethod
    def over(cls, readings: Sequence[Reading]) -> Axis:
        """The axis that holds all values and intervals, with a little room at both ends."""
        points = [point for reading in readings for point in _points(reading)]
        if not points:
            return cls(0.0, 1.0, False)
        low, high = min(points), max(points)
        if low > 0:
            room = max((high / low) ** 0.05, 1.02)
            return cls(low / room, high * room, True)
        room = max((high - low) * 0.05, abs(high) * 0.02, 1e-30)
        return cls(low - room, high + room, False)

    def place(self, value: float) -> float:
        """Where a value stands, in drawing units."""
        if self.logarithmic:
            share = math.log(value / self.low) / math.log(self.high / self.low)
        else:
            share = (value - self.low) / (self.high - self.low)
        return round(MARGIN + share * (WIDTH - 2 * MARGIN), 2)

    def whisker(self, reading: Reading) -> Whisker:
        """The dot of a reading and the ends of its interval."""
        points = _points(reading)
        if not points:
            return Whisker(None, None, None)
        dot = self.place(points[0])
        return (
            Whisker(dot, self.place(points[1]), self.place(points[2])) if len(points) == 3 else Whisker(dot, None, None)
        )

    def ticks(self, factor: float) -> list[tuple[float, str]]:
        """Places and numbers of a few round values, in the unit whose SI size is `factor`."""
        low, high = self.low / factor, self.high / factor
        if self.logarithmic:
            powers = range(math.floor(math.log10(low)) - 1, math.ceil(math.log10(high)) + 1)
            for steps in ((1,), (1, 3), (1, 2, 5), tuple(range(1, 10))):
                found = [step * 10.0**power for power in powers for step in steps if low <= step * 10.0**power <= high]
                if len(found) >= 2:
                    break
            found = found or [low, high]
        else:
            found = [0.0] if low <= 0 <= high else []
            found += [low, high]
        # Four numbers have room; of more, evenly spread ones are kept.
        stride = math.ceil(len(found) / 4)
        return [(self.place(value * factor), signed(format_number(value, digits=2))) for value in found[::stride]]


def _points(reading: Reading) -> list[float]:
    """Value alone, or value and both ends; nothing without a value."""
    if reading.value is None or not math.isfinite(reading.value):
        return []
    return [reading.value, *ends(reading)] if has_interval(reading) else [reading.value]
