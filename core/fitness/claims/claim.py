"""A claim: what a vendor states about a surface, as one record, and its canonical text."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from core.fitness.claims.grades import default_cutoffs, default_shortest
from core.trust.interval import WIDE
from core.units import EXPONENTS, display_unit, format_length, format_number

FLATNESS: dict[str, str] = {"PV": "FLTt", "PVr": "PVr", "PV99": "PV99", "MZ": "FLTt(MZ)", "RMS": "FLTq"}
"""Quantities of form: as they are written in a claim, and the reading that measures them."""

AREAL = ("Sq", "Sa", "Sz", "Sp", "Sv")
"""Areal texture that can be claimed."""

PROFILE = ("Rq", "Ra", "Rz", "Rt", "Rp", "Rv")
"""Profile texture that can be claimed."""

GROWING = ("Sq", "Sa", "Rq", "Ra")
"""Texture whose expectation only grows with the band: by Parseval's theorem for RMS, and in proportion to it for the
mean of Gaussian heights. A part of the band gives a lower bound of these and of no other."""

LimitUnit = Literal["m", "lambda", "lambda/", "fringe"]
Removed = Literal["", "power", "bow"]


@dataclass(frozen=True, slots=True)
class Limit:
    """An upper limit as it was stated.

    Attributes
    ----------
    value : float
        Metres, a multiple of the wavelength, the divisor of the wavelength, or a number of fringes.
    unit : {"m", "lambda", "lambda/", "fringe"}
        Which of these. One fringe is half a wavelength of height.
    """

    value: float
    unit: LimitUnit = "m"

    def metres(self, wavelength: float | None) -> float | None:
        """The limit in metres; None where it needs a wavelength and none is stated.

        >>> Limit(20, "lambda/").metres(632.8e-9), Limit(2, "fringe").metres(546.1e-9), Limit(1, "lambda").metres(None)
        (3.164e-08, 5.461e-07, None)
        """
        if self.unit == "m":
            return self.value
        if wavelength is None:
            return None
        if self.unit == "lambda/":
            return wavelength / self.value
        return self.value * wavelength / (2 if self.unit == "fringe" else 1)

    @property
    def text(self) -> str:
        """Such as ``"lambda/20"``, ``"0.5nm"``."""
        if self.unit == "m":
            return length_text(self.value)
        number = plain_number(self.value)
        if self.unit == "lambda/":
            return f"lambda/{number}"
        return f"{number} lambda" if self.unit == "lambda" else f"{number} fringes"


@dataclass(frozen=True, slots=True)
class Aperture:
    """The part of a face that a claim of form speaks about.

    Attributes
    ----------
    height, width : float
        Sides, metres; equal for a disc.
    round : bool
        Whether it is a disc.
    """

    height: float
    width: float
    round: bool = False

    @property
    def text(self) -> str:
        """Such as ``"25mm"``, ``"Ø25mm"``, ``"30mm x 9mm"``."""
        if self.round:
            return f"Ø{length_text(self.width)}"
        if self.height == self.width:
            return length_text(self.width)
        return f"{length_text(self.height)} x {length_text(self.width)}"


@dataclass(frozen=True, slots=True)
class Claim:
    """What is claimed: an upper limit on one quantity, and the conditions under which it is meant.

    Attributes
    ----------
    quantity : str
        Of form: ``"PV"``, ``"PVr"``, ``"PV99"``, ``"MZ"`` (minimum zone), ``"RMS"``; of texture: a symbol such as
        ``"Sq"`` or ``"Ra"``.
    stated : Limit
        As stated.
    wavelength : float or None
        Test wavelength, metres.
    aperture : Aperture or None
        For form.
    band : (float or None, float or None) or None
        Shortest and longest wavelength, metres, for texture; None where none is stated.
    wavefront : bool
        Whether the limit is on the reflected wavefront, which departs by twice the surface (normal incidence).
    removed : {"", "power", "bow"}
        What is taken off beside the plane: power (the best-fit paraboloid of revolution; what is left is called
        irregularity), or bow (a surface of degree 2).
    grade : str
        The grade that was written in place of a limit, such as ``"ISO 1302 N3"``; its text is the claim's text.
    """

    quantity: str
    stated: Limit
    wavelength: float | None = None
    aperture: Aperture | None = None
    band: tuple[float | None, float | None] | None = None
    wavefront: bool = False
    removed: Removed = ""
    grade: str = ""

    @property
    def of_form(self) -> bool:
        """Whether it is about form and not about texture."""
        return self.quantity in FLATNESS

    @property
    def limit(self) -> float | None:
        """Largest allowed value of the surface, metres; None where the wavelength is not stated."""
        metres = self.stated.metres(self.wavelength)
        return metres if metres is None or not self.wavefront else metres / 2

    @property
    def wavelengths(self) -> tuple[float | None, float | None] | None:
        """The band that is meant, metres: as stated, for profiles completed by the default cut-offs; or None."""
        if self.quantity not in PROFILE:
            return self.band
        if self.band is None:
            return default_cutoffs(self.limit) if self.quantity == "Ra" and self.limit is not None else None
        short, long = self.band
        return (default_shortest(long), long) if short is None and long is not None else self.band

    @property
    def text(self) -> str:
        """Canonical text: `parse` gives the same claim back.

        >>> Claim("PV", Limit(20, "lambda/"), wavelength=632.8e-9, aperture=Aperture(25e-3, 25e-3)).text
        'PV <= lambda/20 @ 632.8nm over 25mm'
        """
        if self.grade:
            return self.grade
        words = [self.quantity, "<=", self.stated.text]
        if self.wavelength is not None:
            words += ["@", length_text(self.wavelength)]
        if self.aperture is not None:
            words += ["over", self.aperture.text]
        if self.band is not None:
            short, long = (None if end is None else length_text(end) for end in self.band)
            words += ["in", f"{short or ''}..{long or ''}"]
        if self.wavefront:
            words.append("wavefront")
        if self.removed:
            words += [self.removed, "removed"]
        return " ".join(words)

    @property
    def limit_text(self) -> str:
        """The limit for people: ``"λ/20 (31.6 nm at 632.8 nm)"``."""
        stated = self.stated.text.replace("lambda", "λ")
        limit = self.limit
        if self.stated.unit == "m":
            told = format_length(self.stated.value)
            return f"{told} of wavefront ({format_length(limit or 0.0)} of surface)" if self.wavefront else told
        if limit is None or self.wavelength is None:
            return stated
        surface = " of surface" if self.wavefront else ""
        told = f"{format_length(limit)}{surface} at {format_length(self.wavelength, digits=4)}"
        return f"{stated}{' of wavefront' if self.wavefront else ''} ({told})"


def length_text(metres: float) -> str:
    """A length that reads back to the last bit: ``"632.8nm"``.

    >>> length_text(632.8e-9), length_text(0.025), length_text(1e-10)
    ('632.8nm', '25mm', '0.1nm')
    """
    unit = display_unit(metres)
    exact = Decimal(repr(float(metres))).scaleb(-EXPONENTS[unit])
    return f"{_decimal(exact)}{unit.replace('µ', 'u')}"


def plain_number(value: float) -> str:
    """A number that reads back to the last bit, without an exponent.

    >>> plain_number(20.0), plain_number(0.25)
    ('20', '0.25')
    """
    return _decimal(Decimal(repr(float(value))))


def _decimal(exact: Decimal) -> str:
    text = f"{exact:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def number_text(metres: float, low: float | None = None, high: float | None = None) -> str:
    """A value with its interval for sentences; one that is too wide or too lopsided for ± by its ends.

    >>> number_text(37e-9, 35e-9, 39e-9), number_text(30e-12, 16e-12, 56e-12), number_text(4.1e-10)
    ('37 ± 2 nm', '30 (16 to 56) pm', '0.41 nm')
    """
    if low is None or high is None:
        return format_length(metres)
    unit = display_unit(metres)
    size = float(f"1e{EXPONENTS[unit]}")
    value = format_number(metres / size)
    if low <= 0 or math.log(high / low) / 2 > WIDE:
        return f"{value} ({format_number(low / size, digits=2)} to {format_number(high / size, digits=2)}) {unit}"
    return f"{value} ± {format_number((high - low) / 2 / size, digits=2)} {unit}"
