"""How far, as a treatment says it: in pixels (“2 px”) or as a length (“40 nm”)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Self

from core.errors import QuantityError, TreatmentError
from core.units import display_unit, metres_per, parse_length

_PIXELS = re.compile(r"\s*(\d+(?:[.,]\d*)?|[.,]\d+)\s*px\s*", re.ASCII)


@dataclass(frozen=True, slots=True)
class Extent:
    """A distance on a map that is not negative.

    Attributes
    ----------
    amount : float
        Pixels, or metres.
    in_pixels : bool
        Which of the two.
    """

    amount: float
    in_pixels: bool

    @classmethod
    def parse(cls, text: object, what: str) -> Self:
        """The extent that a treatment's parameter states.

        Parameters
        ----------
        text : str
            ``"2 px"`` or a length with its unit, ``"40 nm"``.
        what : str
            Name of the parameter, for the message.

        Raises
        ------
        TreatmentError
            If it is neither, or negative.

        Examples
        --------
        >>> Extent.parse("2 px", "grow"), Extent.parse("40 nm", "grow").pixels(1e-8)
        (Extent(amount=2.0, in_pixels=True), 4.0)
        """
        fix = "Write pixels, such as 2 px, or a length, such as 40 nm."
        if not isinstance(text, str):
            raise TreatmentError(f"“{what}” needs pixels or a length, not {text!r}", fix=fix)
        match = _PIXELS.fullmatch(text)
        try:
            amount = float(match[1].replace(",", ".")) if match else parse_length(text)
        except QuantityError as error:
            raise TreatmentError(f"“{what}”: {error.what}", fix=fix) from error
        if not 0 <= amount < math.inf:
            raise TreatmentError(f"“{what}” cannot be negative or endless: “{text}”", fix=fix)
        return cls(amount, match is not None)

    def pixels(self, pitch: float) -> float:
        """The extent in pixels along an axis whose points lie `pitch` metres apart."""
        return self.amount if self.in_pixels else self.amount / pitch


def exact_length(metres: float) -> str:
    """A length as it stands in a treatment: 12 digits, in the unit it reads best in.

    >>> exact_length(1.28e-6)
    '1.28 µm'
    """
    unit = display_unit(metres)
    return f"{metres / metres_per(unit):.12g} {unit}"
