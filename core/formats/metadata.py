"""What is known about how a scan was made: the keys whose values the program computes with, brought to SI."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Iterable, Mapping
from typing import Any

from core.errors import QuantityError
from core.units import parse_length

LENGTHS = frozenset({"probe_radius", "z_range", "noise_floor"})
"""Keys that hold a length: metres inside."""

RATES = frozenset({"line_rate", "sample_rate"})
"""Keys that hold a frequency: hertz inside."""

DIRECTIONS = ("trace", "retrace")

ROLES = ("candidate", "reference")
"""What a scan is on the bench for: a reference (a scan of size zero, a freshly cleaved crystal) shows the noise."""

_FREQUENCY = re.compile(r"\s*(\d+(?:[.,]\d*)?(?:[eE][-+]?\d+)?)\s*(Hz|kHz|mHz|/s|lines/s)?\s*", re.IGNORECASE)
_HERTZ = {"hz": 1.0, "khz": 1e3, "mhz": 1e-3, "/s": 1.0, "lines/s": 1.0, "": 1.0}  # no line is scanned at a megahertz


def parse_rate(text: str | float) -> float:
    """Hertz of a line rate.

    Raises
    ------
    QuantityError
        If it is no positive finite frequency.

    Examples
    --------
    >>> parse_rate("1 Hz"), parse_rate("0,5 Hz"), parse_rate(2)
    (1.0, 0.5, 2.0)
    """
    match = _FREQUENCY.fullmatch(str(text))
    rate = float(match[1].replace(",", ".")) * _HERTZ[(match[2] or "").lower()] if match else math.nan
    if not (0 < rate < math.inf):
        raise QuantityError(f"“{text}” is not a rate", fix='Write a number with its unit, such as "1 Hz".')
    return rate


def value_of(key: str, value: object) -> Any:
    """The value of one key as it stands in `HeightMap.metadata`: SI numbers for known keys, else text or number.

    Raises
    ------
    QuantityError
        If a known key has a value that cannot be understood.

    Examples
    --------
    >>> value_of("probe_radius", "8 nm"), value_of("spot", 3), value_of("cleaned", True)
    (8e-09, '3', 'true')
    """
    if key in LENGTHS:
        return _length(key, value)
    if key in RATES:
        return parse_rate(value if isinstance(value, str | float | int) else str(value))
    if key == "direction":
        return _direction(value)
    if key == "role":
        return _role(value)
    return _plain(value)


def tolerant(pairs: Iterable[tuple[str, object]]) -> dict[str, Any]:
    """The same for what a foreign file says: a value that cannot be understood stays as the text it is."""
    taken: dict[str, Any] = {}
    for name, value in pairs:
        key = key_of(name)
        try:
            taken[key] = value_of(key, value)
        except QuantityError:
            taken[key] = _plain(value)
    return taken


def key_of(name: str) -> str:
    """One way of writing a key: lower case, words joined by underscores.

    >>> key_of("Line rate"), key_of("probe-radius")
    ('line_rate', 'probe_radius')
    """
    return re.sub(r"[\s_\-]+", "_", name.strip().lower()).strip("_")


def as_text(key: str, value: object) -> str:
    """A value with its unit, so that `value_of` reads the same back.

    >>> as_text("probe_radius", 8e-9), as_text("operator", "A. B.")
    ('8e-09 m', 'A. B.')
    """
    unit = " m" if key in LENGTHS else " Hz" if key in RATES else ""
    return f"{value!r}{unit}" if unit and isinstance(value, int | float) else _plain(value)


def flat(table: Mapping[str, object], before: str = "") -> dict[str, object]:
    """Nested tables as one level, the names joined by full stops.

    >>> flat({"probe": {"type": "tapping"}})
    {'probe.type': 'tapping'}
    """
    level: dict[str, object] = {}
    for key, value in table.items():
        name = f"{before}{key}"
        if isinstance(value, Mapping):
            level |= flat(value, f"{name}.")
        else:
            level[name] = value
    return level


def _length(key: str, value: object) -> float:
    length = (
        float(value) if isinstance(value, int | float) and not isinstance(value, bool) else parse_length(str(value))
    )
    if not (0 < length < math.inf):
        raise QuantityError(f"“{value}” is no size for {key}", fix='Write a number with its unit, such as "8 nm".')
    return length


def _direction(value: object) -> str:
    direction = str(value).strip().lower()
    if direction not in DIRECTIONS:
        raise QuantityError(f"“{value}” is no scan direction", fix='Write "trace" or "retrace".')
    return direction


def _role(value: object) -> str:
    role = str(value).strip().lower()
    if role not in ROLES:
        raise QuantityError(f"“{value}” is no role of a scan", fix='Write "reference" for a scan that shows the noise.')
    return role


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, datetime.datetime | datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return ", ".join(_plain(item) for item in value)
    return str(value)
