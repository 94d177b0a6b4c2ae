"""The sidecar: ``scan.npy.toml`` beside ``scan.npy`` says what the file does not."""

from __future__ import annotations

import json
import math
import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from core.atomic import atomic
from core.errors import DamagedFile, QuantityError
from core.formats import metadata
from core.heightmap import HeightMap
from core.units import metres_per, parse_pixel

_MOST_BYTES = 2**20
_LARGEST_BARE_PIXEL = 1e-3


@dataclass(frozen=True, slots=True)
class Sidecar:
    """What a sidecar says.

    Attributes
    ----------
    pixel : (float, float) or None
        Pitch ``(dy, dx)``, metres.
    unit : str or None
        Unit of the heights.
    channel : str or None
        The channel to take.
    metadata : mapping
        Every key of it, known ones in SI numbers (lengths in metres, rates in hertz), the others as text.
    """

    pixel: tuple[float, float] | None = None
    unit: str | None = None
    channel: str | None = None
    metadata: Mapping[str, Any] = field(default_factory=dict)


def beside(path: str | os.PathLike[str]) -> Path:
    """Where the sidecar of a file stands, whether it is there or not.

    >>> beside("scans/film.npy").name
    'film.npy.toml'
    """
    file = Path(path)
    return file.with_name(f"{file.name}.toml")


def is_sidecar(path: str | os.PathLike[str]) -> bool:
    """Whether a file stands beside a scan as its sidecar.

    >>> is_sidecar("no such scan.npy.toml")
    False
    """
    file = Path(path)
    return file.suffix == ".toml" and file.with_suffix("").is_file()


def read_sidecar(path: str | os.PathLike[str]) -> Sidecar:
    """The sidecar of the scan file `path`; an empty one where there is none.

    Raises
    ------
    DamagedFile
        If there is a sidecar that is no TOML, or a known key in it cannot be understood. Names the sidecar.
    """
    file = beside(path)
    if not file.is_file():
        return Sidecar()
    table = metadata.flat(_toml(file))
    said: dict[str, Any] = {}
    for name, value in table.items():
        key = metadata.key_of(name)
        try:
            said[key] = _value(key, value)
        except QuantityError as error:
            raise DamagedFile(error.what, where=f"{file}, key {name}", fix=error.fix) from error
    return Sidecar(pixel=said.get("pixel"), unit=said.get("unit"), channel=said.get("channel"), metadata=said)


def write_sidecar(scan: HeightMap, path: str | os.PathLike[str]) -> Path:
    """Write the sidecar of a file that was written in metres, and say where it stands.

    Call this only when the user asked for a sidecar.

    Parameters
    ----------
    scan : HeightMap
        The map that was written.
    path : path
        The scan file; the sidecar gets its name with ``.toml`` behind it.

    Returns
    -------
    pathlib.Path
        The sidecar.
    """
    dy, dx = scan.pitch
    said = {"pixel": f"{dy!r} m x {dx!r} m", "unit": "m"}
    others = {key: value for key, value in scan.metadata.items() if key not in ("pixel", "unit")}
    if scan.source.channel:
        others["channel"] = scan.source.channel
    lines = [f"{_quoted(key)} = {_literal(value)}\n" for key, value in (said | others).items()]
    file = beside(path)
    with atomic(file) as temporary:
        temporary.write_text("".join(lines), encoding="utf-8", errors="replace")
    return file


def _toml(file: Path) -> dict[str, object]:
    try:
        with file.open("rb") as stream:
            text = stream.read(_MOST_BYTES + 1)
        table = tomllib.loads(text.decode("utf-8-sig")) if len(text) <= _MOST_BYTES else None
    except (ValueError, OSError, RecursionError) as error:  # numbers of thousands of digits are a plain ValueError
        raise DamagedFile(
            f"The sidecar is not valid TOML: {error}", where=str(file), fix='Write lines such as pixel = "9.8nm".'
        ) from error
    if table is None:
        raise DamagedFile("The sidecar is too long", where=str(file), fix="Keep it to a few lines.")
    return table


def _value(key: str, value: object) -> Any:
    if key == "pixel":
        return _pixel(value)
    if key == "unit":
        metres_per(str(value))
        return str(value)
    return metadata.value_of(key, value)


def _pixel(value: object) -> tuple[float, float]:
    """Text as everywhere; bare numbers are metres, and a number that cannot be metres is a forgotten unit."""
    if isinstance(value, str):
        return parse_pixel(value)
    sides = [side for side in (value if isinstance(value, list) else [value]) if isinstance(side, int | float)]
    if len(sides) not in (1, 2) or not all(0 < side <= _LARGEST_BARE_PIXEL for side in sides):
        raise QuantityError(f"“{value}” is not a pixel size in metres", fix='Write it with its unit: pixel = "9.8nm".')
    return parse_pixel((float(sides[0]), float(sides[-1])))


def _literal(value: object) -> str:
    """A TOML value: numbers that read back to the last bit, else text."""
    if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
        return repr(float(value))
    return _quoted(str(value))


def _quoted(text: str) -> str:
    """A TOML string. JSON strings are TOML strings, but for the DEL sign that TOML forbids bare."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
