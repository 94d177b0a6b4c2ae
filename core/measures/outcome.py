"""What the function behind a reading gives back: a number, or the reason why there is none."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Outcome:
    """One number in SI, or none.

    Attributes
    ----------
    value : float or None
        In the unit of the quantity.
    note : str
        Conditions, or why there is no value.
    """

    value: float | None
    note: str = ""
