"""Lengths at the edges of the program: text to metres and back. Inside, everything is metres."""

from __future__ import annotations

import math
import re
from decimal import Decimal

from core.errors import QuantityError

EXPONENTS: dict[str, int] = {
    "m": 0,
    "mm": -3,
    "um": -6,
    "µm": -6,  # micro sign
    "μm": -6,  # Greek mu
    "nm": -9,
    "Å": -10,  # letter A with ring
    "Å": -10,  # angstrom sign
    "A": -10,
    "pm": -12,
}
"""Power of ten of a metre, by the ways the unit is written."""

METRES: dict[str, float] = {unit: float(f"1e{exponent}") for unit, exponent in EXPONENTS.items()}
"""Metres in one unit."""

_WORDS = {
    "metre": "m", "meter": "m", "metres": "m", "meters": "m",
    "millimetre": "mm", "millimeter": "mm", "millimetres": "mm", "millimeters": "mm",
    "micrometre": "um", "micrometer": "um", "micrometres": "um", "micrometers": "um",
    "micron": "um", "microns": "um",
    "nanometre": "nm", "nanometer": "nm", "nanometres": "nm", "nanometers": "nm",
    "angstrom": "A", "angstroms": "A", "ångström": "A",
    "picometre": "pm", "picometer": "pm", "picometres": "pm", "picometers": "pm",
}  # fmt: skip

_NUMBER = r"[-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?"
_LENGTH = re.compile(rf"\s*({_NUMBER})\s*([^\d\s.,x×*]+)\s*")
_BETWEEN = re.compile(r"\s*[x×*]\s*")


def is_length_unit(unit: str) -> bool:
    """Whether `unit` names a length.

    >>> is_length_unit("nm"), is_length_unit("Micrometres"), is_length_unit("V")
    (True, True, False)
    """
    return _canonical(unit) in EXPONENTS


def metres_per(unit: str) -> float:
    """Metres in one `unit`.

    Raises
    ------
    QuantityError
        If `unit` is no length.

    Examples
    --------
    >>> metres_per("nm")
    1e-09
    """
    return float(f"1e{_exponent(unit)}")


def parse_length(text: str) -> float:
    """Metres of a length written with its unit; a decimal comma is understood.

    Parameters
    ----------
    text : str
        Such as ``"9.8nm"``, ``"2,5 µm"`` or ``"1e-8 m"``.

    Returns
    -------
    float
        The length in metres.

    Raises
    ------
    QuantityError
        If the text is no finite number with a unit of length.

    Examples
    --------
    >>> parse_length("2,5 µm")
    2.5e-06
    """
    match = _LENGTH.fullmatch(text)
    if match is None:
        raise QuantityError(f"“{text}” is not a length", fix="Write a number with its unit, such as 9.8nm.")
    # The decimal point is shifted before the number becomes binary, so that 12 nm is 1.2e-8 m to the last bit.
    try:
        value = float(Decimal(match[1].replace(",", ".")).scaleb(_exponent(match[2])))
    except ArithmeticError:  # an exponent beyond what decimal numbers hold
        value = math.inf
    if not math.isfinite(value):
        raise QuantityError(f"“{text}” is not a finite length", fix="Write a number such as 9.8nm.")
    return value


def parse_pixel(pixel: str | float | tuple[float, float]) -> tuple[float, float]:
    """Pitch ``(dy, dx)`` in metres from what a user may say.

    Parameters
    ----------
    pixel : str, float or (float, float)
        ``"9.8nm"`` for square pixels, ``"10nmx12nm"`` for 10 nm from row to row and 12 nm along the row (down × across,
        the order of every shape and pitch in this program), a number of metres, or a pair ``(dy, dx)`` in metres.

    Returns
    -------
    (float, float)
        Pitch down and across, metres, both positive.

    Raises
    ------
    QuantityError
        If there is no positive finite pitch in it.

    Examples
    --------
    >>> parse_pixel("10nmx12nm")
    (1e-08, 1.2e-08)
    """
    if isinstance(pixel, str):
        parts = [parse_length(part) for part in _BETWEEN.split(pixel.strip())]
    elif isinstance(pixel, tuple | list):
        parts = [float(part) for part in pixel]
    else:
        parts = [float(pixel)]
    if len(parts) == 1:
        parts *= 2
    if len(parts) != 2 or not all(math.isfinite(part) and part > 0 for part in parts):
        raise QuantityError(
            f"“{pixel}” is not a pixel size",
            fix="Write 9.8nm for square pixels, or 10nmx12nm for 10 nm down and 12 nm across.",
        )
    return parts[0], parts[1]


def display_unit(metres: float) -> str:
    """The unit in which a length of this size is read most easily: 1 to 999 of it.

    >>> display_unit(4.2e-8), display_unit(-2e-6), display_unit(0.0), display_unit(4e-11)
    ('nm', 'µm', 'nm', 'pm')
    """
    size = abs(metres)
    if size == 0 or not math.isfinite(size):
        return "nm"
    for unit in ("m", "mm", "µm", "nm"):
        if size >= metres_per(unit) * (1 - 1e-9):
            return unit
    return "pm" if size < 0.095e-9 else "nm"


def percent(share: float, places: int = 0) -> str:
    """A share in per cent, with the space that SI asks for between number and sign (SI Brochure, 9th ed., 5.4.7).

    >>> percent(0.144), percent(0.0009, 2)
    ('14 %', '0.09 %')
    """
    return f"{share * 100:.{places}f} %"


def format_length(metres: float, unit: str | None = None, *, digits: int = 3) -> str:
    """A length as text with `digits` significant digits and a unit.

    Examples
    --------
    >>> format_length(4.1234e-8), format_length(5e-6), format_length(1.2e-10, "nm"), format_length(0.0)
    ('41.2 nm', '5 µm', '0.12 nm', '0 nm')
    """
    unit = unit or display_unit(metres)
    return f"{format_number(metres / metres_per(unit), digits=digits)} {unit}"


def format_number(value: float, *, digits: int = 3) -> str:
    """A number with `digits` significant digits, without an exponent where it can be helped.

    >>> format_number(0.041234), format_number(12345.0), format_number(0.0), format_number(5.0)
    ('0.0412', '12345', '0', '5')
    """
    if not math.isfinite(value):
        return "–"
    if value == 0:
        return "0"
    exponent = math.floor(math.log10(abs(value)))
    if exponent < -4 or exponent > 6:
        return f"{value:.{digits - 1}e}"
    places = max(0, digits - 1 - exponent)
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _exponent(unit: str) -> int:
    try:
        return EXPONENTS[_canonical(unit)]
    except KeyError:
        raise QuantityError(f"“{unit}” is not a unit of length", fix="Use one of m, mm, um, nm, A or pm.") from None


def _canonical(unit: str) -> str:
    text = unit.strip().rstrip(".")
    return _WORDS.get(text.lower(), text)
