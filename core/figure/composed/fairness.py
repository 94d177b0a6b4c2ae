"""The fairness meter: which share of the colours a map uses, and how much of it lies outside.

A map that fills the colours looks rough whatever its heights are, one that uses a sliver looks flat. Shared over all
panels that is what a reader shall see; on scales of their own it is not, so that every panel tells it.
"""

from __future__ import annotations

from dataclasses import dataclass

from core.heightmap import HeightMap
from core.scale import LOWER, UPPER, clipped, pooled_quantiles


@dataclass(frozen=True, slots=True)
class Fairness:
    """How a panel uses its colours.

    Attributes
    ----------
    scan, row : str
        Which panel.
    low, high : float
        Heights of the first and the last colour, metres.
    first, last : float
        Where its heights lie in the colours, 0 to 1: their 0.1 % and 99.9 % quantiles, cut at the ends.
    below, above : float
        Shares of the points that count outside the colours, 0 to 1.
    """

    scan: str
    row: str
    low: float
    high: float
    first: float
    last: float
    below: float
    above: float

    @property
    def used(self) -> float:
        """Share of the colours that the middle 99.8 % of the heights use, 0 to 1."""
        return self.last - self.first

    @property
    def clipped(self) -> float:
        """Share of the points outside the colours, 0 to 1."""
        return self.below + self.above

    @property
    def sentence(self) -> str:
        """In words.

        >>> Fairness("film", "shared", 0.0, 1e-8, 0.0, 0.12, 0.0, 0.0004).sentence
        'film (shared): uses 12 % of the colours, under 0.1 % outside.'
        """
        return f"{self.scan} ({self.row}): uses {percent(self.used)} of the colours, {percent(self.clipped)} outside."


def fairness(scan: HeightMap, row: str, low: float, high: float) -> Fairness:
    """The meter of one panel.

    Parameters
    ----------
    scan : HeightMap
        The treated map.
    row : str
        Name of the row.
    low, high : float
        Range of the colours, metres.

    Examples
    --------
    >>> import numpy as np
    >>> ramp = HeightMap(np.linspace(0.0, 1e-9, 1001)[None, :] * np.ones((2, 1)), (1e-8, 1e-8), name="ramp")
    >>> meter = fairness(ramp, "shared", 0.0, 4e-9)
    >>> round(meter.used, 2), meter.clipped
    (0.25, 0.0)
    """
    if scan.heights().size == 0:
        return Fairness(scan.name, row, low, high, 0.0, 0.0, 0.0, 0.0)
    first, last = (
        min(1.0, max(0.0, (height - low) / (high - low))) for height in pooled_quantiles([scan], (LOWER, UPPER))
    )
    return Fairness(scan.name, row, low, high, first, last, *clipped(scan, low, high))


def percent(share: float) -> str:
    """A share for people.

    >>> percent(0.0), percent(0.0002), percent(0.123), percent(0.97)
    ('0 %', 'under 0.1 %', '12 %', '97 %')
    """
    if share == 0:
        return "0 %"
    if share < 0.0005:
        return "under 0.1 %"
    return f"{100 * share:.1f} %" if share < 0.095 else f"{100 * share:.0f} %"
