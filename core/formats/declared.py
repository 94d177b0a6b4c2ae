"""What key-value pairs in a file declare: text headers, attributes, JSON descriptions, extra arrays.

Plain keys only, as people write them: ``pixel: 9.8 nm``, ``Width: 5 µm``, ``Value units: nm``, ``dx = 1e-8 m``. A size
is that of the whole scan and covers its cells, so the pitch is the width by the number of columns.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from core.errors import QuantityError
from core.formats.metadata import tolerant
from core.units import is_length_unit, metres_per, parse_length, parse_pixel

_STEP_WORDS = ("pixel", "pixel size", "pitch", "spacing", "step", "sampling", "increment")
_SIZE_WORDS = ("size", "range", "length", "scan size", "scan range", "scan length", "extent")


def _about(axis: str, words: Iterable[str]) -> frozenset[str]:
    return frozenset(itertools.chain.from_iterable((f"{axis} {word}", f"{word} {axis}") for word in words))


_KEYS: dict[str, frozenset[str]] = {
    "pixel": frozenset({*_STEP_WORDS, "pixels size", "cell size", "cellsize"}),
    "dy": _about("y", _STEP_WORDS) | {"dy", "pixel height"},
    "dx": _about("x", _STEP_WORDS) | {"dx", "pixel width"},
    "size": frozenset({"size", "scan size", "scan area", "field", "field size"}),
    "height": _about("y", _SIZE_WORDS) | {"height", "scan height"},
    "width": _about("x", _SIZE_WORDS) | {"width", "scan width"},
    "unit": frozenset(
        f"{of}{word}" for of in ("", "z ", "height ", "heights ", "value ", "data ") for word in ("unit", "units")
    ),
    "xy unit": frozenset(
        f"{of} {word}" for of in ("xy", "x", "y", "lateral", "pixel", "pitch") for word in ("unit", "units")
    ),
    "rows": frozenset({"rows", "lines", "ny", "number of rows", "number of lines", "scan lines"}),
    "columns": frozenset({"columns", "cols", "nx", "number of columns", "points per line"}),
    "name": frozenset({"channel", "channel name", "long name", "signal"}),
    "missing": frozenset({"missing", "missing value", "nodata", "nodata value", "no data", "fillvalue", "fill value"}),
}
_ROLE = {word: role for role, words in _KEYS.items() for word in words}
_STEP_ROLES = ("pixel", "dx", "dy")
_LENGTH_ROLES = (*_STEP_ROLES, "size", "width", "height")
_UNIT_IN_KEY = re.compile(r"^(?P<key>.*?)\s*[(\[](?P<unit>[^()\[\]]+)[)\]]$")
_TWO_NUMBERS = re.compile(r"\s*([-+.\deE]+)\s*[x×*]\s*([-+.\deE]+)\s*([^\d\s.,x×*]+)\s*")
_NO_UNIT = frozenset({"", "1", "none", "px", "pixel", "pixels", "a.u.", "arb", "-"})


@dataclass(slots=True)
class Declared:
    """What the pairs of one file or channel say.

    Attributes
    ----------
    unit : str or None
        Of the heights.
    lateral : str or None
        Of pixel size, scan size and coordinates, where it is said apart.
    name : str
        Of the channel.
    missing : float or None
        The number that stands for a missing point.
    rows, columns : int or None
        Shape, where it is declared.
    metadata : dict
        All other pairs.
    """

    unit: str | None = None
    lateral: str | None = None
    name: str = ""
    missing: float | None = None
    rows: int | None = None
    columns: int | None = None
    metadata: dict[str, Any] = field(default_factory=dict)
    _lengths: dict[str, tuple[float, ...]] = field(default_factory=dict)
    _bare: dict[str, tuple[float, ...]] = field(default_factory=dict)

    @property
    def has_pitch(self) -> bool:
        """Whether pixel or scan size is said, with or without a unit."""
        said = self._lengths.keys() | self._bare.keys()
        return bool(said & {"pixel", "size"}) or {"dx", "dy"} <= said or {"width", "height"} <= said

    def pitch(self, shape: tuple[int, int]) -> tuple[float, float] | None:
        """Pitch ``(dy, dx)`` in metres of a channel of this shape, if it is said."""
        return _pitch(self._lengths, shape)

    def spacing(self, shape: tuple[int, int]) -> tuple[float, float] | None:
        """The same as bare numbers whose unit is not said."""
        return _pitch(self._bare, shape)


def declared(pairs: Iterable[tuple[str, object]], *, bare_metres: bool = False) -> Declared:
    """Sort what is said into pitch, unit, shape and the rest.

    Parameters
    ----------
    pairs : iterable of (str, object)
        Keys as written, values as text, numbers or short arrays.
    bare_metres : bool, optional
        Whether a pixel size without a unit is in metres: the convention of arrays and attributes in this program,
        never that of a text.

    Examples
    --------
    >>> said = declared([("Width", "5 µm"), ("Height (nm)", "2500"), ("Value units", "nm"), ("Operator", "A. B.")])
    >>> said.pitch((250, 500)), said.unit, said.metadata
    ((1e-08, 1e-08), 'nm', {'operator': 'A. B.'})
    """
    said = Declared()
    rest: list[tuple[str, object]] = []
    numbers: dict[str, tuple[float, ...]] = {}
    for name, value in pairs:
        role, unit = _role(name)
        if role in _LENGTH_ROLES:
            lengths = _lengths(value, unit)
            bare = _numbers(value) if lengths is None else None
            if lengths is not None:
                said._lengths.setdefault(role, lengths)
            elif bare is not None:
                numbers.setdefault(role, bare)
            else:
                rest.append((name, value))
        elif role == "xy unit" and is_length_unit(clean_unit(value) or ""):
            said.lateral = clean_unit(value)
        elif not (role and _take(said, role, value)):
            rest.append((name, value))
    for role, sides in numbers.items():
        unit = said.lateral or ("m" if bare_metres and role in _STEP_ROLES else None)
        if unit is None:
            said._bare.setdefault(role, sides)
        else:
            said._lengths.setdefault(role, tuple(side * metres_per(unit) for side in sides))
    said.metadata = tolerant(rest)
    return said


def is_reserved(key: str) -> bool:
    """Whether a key has a meaning here, so that it must not be written as mere metadata.

    >>> is_reserved("Value units"), is_reserved("operator")
    (True, False)
    """
    return bool(_role(key)[0])


def clean_unit(text: object) -> str | None:
    """A unit as it may stand in a file: without brackets; None for what says nothing.

    >>> clean_unit(" [nm] "), clean_unit("a.u.")
    ('nm', None)
    """
    unit = str(text).strip().strip("[]()").strip()
    return None if unit.lower() in _NO_UNIT else unit


def _role(name: str) -> tuple[str, str | None]:
    match = _UNIT_IN_KEY.match(name.strip())
    key, unit = (match["key"], match["unit"].strip()) if match else (name, None)
    words = re.sub(r"[\s_\-]+", " ", key).strip().lower()
    if words.endswith((" m", " nm", " um", " µm", " mm")) and words.rsplit(" ", 1)[0] in _ROLE:
        words, unit = words.rsplit(" ", 1)
    return _ROLE.get(words, ""), unit


def _take(said: Declared, role: str, value: object) -> bool:
    """Note a value that is no length; False where it makes no sense for its key."""
    if role == "unit":
        said.unit = said.unit or clean_unit(value)
        return True
    if role == "name" and isinstance(value, str):
        said.name = said.name or value.strip()
        return True
    numbers = _numbers(value)
    if numbers is None or len(numbers) != 1:
        return False
    if role == "missing":
        said.missing = numbers[0]
        return True
    if role in ("rows", "columns") and numbers[0] == int(numbers[0]):
        setattr(said, role, int(numbers[0]))
        return True
    return False


def _lengths(value: object, unit: str | None) -> tuple[float, ...] | None:
    """One or two positive lengths in metres, if the value or its key says a unit."""
    if unit is not None and is_length_unit(unit):
        numbers = _numbers(value)
        if numbers is not None:
            return tuple(number * metres_per(unit) for number in numbers)
    if not isinstance(value, str):
        return None
    shared = _TWO_NUMBERS.fullmatch(value)  # “10 x 12 nm”: the unit is said once for both
    text = f"{shared[1]}{shared[3]}x{shared[2]}{shared[3]}" if shared else value
    try:
        return parse_pixel(text) if re.search(r"[x×*]", text) else (_positive(parse_length(text)),)
    except QuantityError:
        return None


def _numbers(value: object) -> tuple[float, ...] | None:
    """One or two finite numbers without a unit."""
    parts: list[Any] = re.split(r"\s*[x×*]\s*", value.strip()) if isinstance(value, str) else np.ravel([value]).tolist()
    try:
        numbers = tuple(float(part) for part in parts)
    except (TypeError, ValueError):
        return None
    return numbers if 1 <= len(numbers) <= 2 and all(math.isfinite(number) for number in numbers) else None


def _positive(length: float) -> float:
    if length <= 0:
        raise QuantityError(f"{length} m is no size")
    return length


def _pitch(sides: dict[str, tuple[float, ...]], shape: tuple[int, int]) -> tuple[float, float] | None:
    rows, columns = shape
    dy = _one(sides.get("dy")) or _share(sides.get("height"), rows)
    dx = _one(sides.get("dx")) or _share(sides.get("width"), columns)
    if "pixel" in sides:
        pixel = sides["pixel"]
        dy, dx = dy or pixel[0], dx or pixel[-1]
    elif "size" in sides and not (dy and dx):
        size = sides["size"]
        found = (size[0] / rows, size[0] / columns) if len(set(size)) == 1 else _square(size, shape)
        dy, dx = (dy or found[0], dx or found[1]) if found else (dy, dx)
    return (dy, dx) if dy and dx and dy > 0 and dx > 0 else None


def _square(size: tuple[float, ...], shape: tuple[int, int]) -> tuple[float, float] | None:
    """“5 µm x 4 µm” may be width first or height first: taken only where one order alone gives square pixels."""
    first, second = (size[0] / shape[0], size[1] / shape[1]), (size[1] / shape[0], size[0] / shape[1])
    square = [pair for pair in (first, second) if math.isclose(*pair, rel_tol=0.01)]
    return square[0] if len(square) == 1 else None


def _one(sides: tuple[float, ...] | None) -> float | None:
    return abs(sides[0]) if sides else None


def _share(sides: tuple[float, ...] | None, count: int) -> float | None:
    return sides[0] / count if sides else None
