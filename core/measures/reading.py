"""A reading: one number with its unit, interval, clause and conditions."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Reading:
    """One number from one scan, or from the spots of one specimen.

    Attributes
    ----------
    symbol : str
        Such as ``"Sq"``.
    value : float or None
        In `unit`; None when it cannot be had, then `note` says why.
    unit : str
        SI: ``"m"``, or ``"1"`` for a pure number.
    clause : str
        Where the standard defines it.
    uncertainty : float or None
        Half the width of the 95 % interval, in `unit`; None when unknown.
    low, high : float or None
        Ends of the 95 % interval. On a logarithmic interval they are not symmetric about the value.
    n : int
        Number of independent spots behind the value; 0 for the reading of one scan.
    note : str
        Conditions, or why the value or its interval cannot be had.
    """

    symbol: str
    value: float | None
    unit: str
    clause: str
    uncertainty: float | None = None
    low: float | None = None
    high: float | None = None
    n: int = 0
    note: str = ""

    def __float__(self) -> float:
        return float("nan") if self.value is None else float(self.value)
