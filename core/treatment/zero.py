"""Where height 0 lies: for display and height ranges, no reading changes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from core.errors import TreatmentError
from core.heightmap import Entry, FloatArray, HeightMap, frozen
from core.selection import quantile
from core.treatment import check
from core.treatment.step import Step
from core.units import format_length

_WORDS = {"mean": "mean", "median": "median", "lowest": "lowest point"}


@dataclass(frozen=True, kw_only=True)
class Zero(Step):
    """Shift all heights so that 0 lies at a stated place among the points that count.

    Parameters
    ----------
    at : {"mean", "median", "lowest", "percentile"}, default "mean"
        The place.
    percent : float, optional
        Share of points below 0, for a percentile; 0 to 100, linear interpolation.

    Raises
    ------
    TreatmentError
        If a value is not one of these.

    Notes
    -----
    Figure in the history: ``shift_m``, the height that became 0.

    Examples
    --------
    >>> Zero(at="lowest").apply(HeightMap([[3e-9, 5e-9]], pitch=(1e-8, 1e-8))).z.tolist()
    [[0.0, 2e-09]]
    """

    do: ClassVar[str] = "zero"

    at: str = "mean"
    percent: float | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        check.one_of(self.do, "at", self.at, (*_WORDS, "percentile"))
        if self.at == "percentile":
            object.__setattr__(self, "percent", check.number(self.do, "percent", self.percent, 0, 100))
        else:
            check.unused(self.do, "percent", self.percent, 'at = "percentile"')

    def apply(self, scan: HeightMap) -> HeightMap:
        """The shifted map.

        Raises
        ------
        TreatmentError
            If no point counts.
        """
        heights = scan.heights()
        if heights.size == 0:
            raise TreatmentError("No point of this map counts, so 0 has no place", fix="Mask less.")
        shift = self._place(heights)
        entry = Entry(self.parameters(), f"shift by {format_length(shift)}", {"shift_m": shift})
        return scan.logged(entry, z=frozen(scan.z - shift))

    def describe(self) -> str:
        """Such as ``"zero at mean"``."""
        return f"zero at {_WORDS[self.at]}" if self.percent is None else f"zero at {self.percent:g} % of heights"

    def _place(self, heights: FloatArray) -> float:
        if self.at == "mean":
            return float(np.mean(heights))
        if self.at == "lowest":
            return float(np.min(heights))
        return quantile(heights, 0.5 if self.percent is None else self.percent / 100)
