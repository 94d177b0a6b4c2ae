"""What the catalogue says of one reading."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from core.measures.outcome import Outcome
from core.measures.surface import Surface


@dataclass(frozen=True, slots=True)
class Quantity:
    """One entry of the catalogue: what a symbol means and how it is computed.

    Attributes
    ----------
    symbol, name : str
        Such as ``"Sq"``, ``"root mean square height"``.
    unit : str
        SI: ``"m"``, or ``"1"`` for a pure number.
    clause : str
        Where the standard defines it.
    meaning : str
        What it says about a surface, in plain words.
    formula : str
        One line of text.
    misleads : str
        When not to trust it.
    positive : bool
        Whether it is positive by nature: then it scatters by factors and the logarithm is its scale.
    function : callable
        From a `Surface` to an `Outcome`.
    period : float or None
        For directions: values that differ by it are the same (180 for the lay). Such readings have no order, so nothing
        is ranked by them, and their mean is taken around the circle.
    """

    symbol: str
    name: str
    unit: str
    clause: str
    meaning: str
    formula: str
    misleads: str
    positive: bool
    function: Callable[[Surface], Outcome] = field(repr=False)
    period: float | None = None
