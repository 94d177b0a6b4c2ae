"""The record of a layout, and its TOML."""

from __future__ import annotations

import fnmatch
import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any, Self

import numpy as np

from core.errors import LayoutError
from core.formats.layouts.header import After, Said, said
from core.units import metres_per

SCHEMA = 1
TYPES = ("int8", "int16", "int32", "int64", "uint8", "uint16", "uint32", "uint64", "float32", "float64", "text")
MOST_BYTES = 2**18  # of a layout
WORDS: dict[str, tuple[str, ...]] = {
    "type": TYPES,
    "order": ("little", "big"),
    "first": ("top", "bottom"),
    "along": ("rows", "columns"),
    "decimal": (".", ","),
}
SAID = ("at", "columns", "rows", "gain", "zero", "across", "down", "width", "height")


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelLayout:
    """Where a further channel differs from the first.

    Attributes
    ----------
    name : str
        What the channel is called.
    at : int, After or "next"
        Where its numbers begin; "next" is directly behind those of the channel before.
    gain, zero : optional
        As in `Layout`; those of the layout by default.
    unit : str, optional
        As in `Layout`.
    direction : {"", "trace", "retrace"}
        Which way the lines were scanned.
    mirrored : bool
        Whether its lines are stored from right to left.
    """

    name: str
    at: Said = "next"
    gain: Said | None = None
    zero: Said | None = None
    unit: str | None = None
    direction: str = ""
    mirrored: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How one kind of file is laid out. Heights are (count − zero) · gain, in `unit`.

    Attributes
    ----------
    name : str
        What its user calls this kind of file.
    files : tuple of str
        Patterns of file names, such as ``"*.raw"``; capitals do not matter.
    starts : str
        Text with which such a file begins; empty if nothing is known of that.
    type : str
        Type of a number: ``int8`` to ``uint64``, ``float32``, ``float64``, or ``text`` for written numbers.
    order : {"little", "big"}
        Which byte of a number comes first.
    decimal : {".", ","}
        Decimal sign, of the type ``text``.
    at : int, After or "end"
        Where the numbers begin: a byte, the byte that the header says, or so that they end with the file.
        ``{ after = "DATA\\n" }`` with `place` true is the place behind that text itself.
    place : bool
        Whether the numbers begin directly behind the text of `at`, instead of at the byte that stands there.
    columns, rows : int or After
        Points along a line, and lines; ``rows = "rest"`` means as many as there are.
    first : {"top", "bottom"}
        Which line of the picture is stored first.
    along : {"rows", "columns"}
        Whether lines or columns of the picture are stored one after the other.
    mirrored : bool
        Whether lines are stored from right to left.
    gain, zero : number or After
        Height of one count in `unit`, and the count of height 0.
    unit : str
        Unit of the heights; empty to take it from behind the gain in the header.
    missing : tuple of float
        Counts that mean: nothing measured here.
    across, down : length or After, optional
        Distance of neighbouring points along a line, and of neighbouring lines; `down` is `across` by default.
    width, height : length or After, optional
        Size of the scan instead, cells included; `height` follows from square points by default.
    channel : str
        Name of the first channel.
    direction : {"", "trace", "retrace"}
        Of the first channel.
    channels : tuple of ChannelLayout
        Further ones.
    metadata : mapping of str to Said
        What else the header says: line_rate, probe, date ...

    Raises
    ------
    LayoutError
        If a value is not one of these.
    """

    name: str
    files: tuple[str, ...] = ()
    starts: str = ""
    type: str = "int16"
    order: str = "little"
    decimal: str = "."
    at: Said = 0
    place: bool = False
    columns: Said = 0
    rows: Said = "rest"
    first: str = "top"
    along: str = "rows"
    mirrored: bool = False
    gain: Said = 1.0
    zero: Said = 0.0
    unit: str = ""
    missing: tuple[float, ...] = ()
    across: Said | None = None
    down: Said | None = None
    width: Said | None = None
    height: Said | None = None
    channel: str = "height"
    direction: str = ""
    channels: tuple[ChannelLayout, ...] = ()
    metadata: Mapping[str, Said] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise LayoutError("A layout needs a name", fix='Write name = "what you call such files".')
        for key, known in WORDS.items():
            if getattr(self, key) not in known:
                raise LayoutError(
                    f"The layout does not know {key} = {getattr(self, key)!r}", fix=f"It knows: {', '.join(known)}."
                )
        if self.place and not isinstance(self.at, After):
            raise LayoutError("place needs a text to stand behind", fix='Write at = { after = "DATA" }.')
        if self.unit:
            metres_per(self.unit)

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a number in the file; float64 for text."""
        if self.type == "text":
            return np.dtype(np.float64)
        return np.dtype(self.type).newbyteorder("<" if self.order == "little" else ">")

    def fits(self, path: str | Path, head: bytes) -> bool:
        """Whether a file is of this kind, by its name and its first bytes. A layout that says neither fits nothing.

        >>> Layout(name="mine", files=("*.RAW",)).fits("scan 1.raw", b""), Layout(name="mine").fits("scan 1.raw", b"")
        (True, False)
        """
        named = self.fits_name(path)
        begins = head.startswith(self.starts.encode("latin-1", "replace"))
        return (named or not self.files) and begins and bool(self.files or self.starts)

    def fits_name(self, path: str | Path) -> bool:
        """Whether a file's name is one of those that the layout names."""
        name = Path(path).name.lower()
        return any(fnmatch.fnmatchcase(name, pattern.lower()) for pattern in self.files)

    def to_toml(self) -> str:
        """The layout as TOML text; what is as by default is left out."""
        lines = [f"schema = {SCHEMA}"]
        for one in fields(self):
            value = getattr(self, one.name)
            if one.name not in ("channels", "metadata") and (one.name == "name" or value != one.default):
                lines.append(f"{one.name} = {_toml(value)}")
        for channel in self.channels:
            lines += ["", "[[channels]]"]
            lines += [
                f"{one.name} = {_toml(getattr(channel, one.name))}"
                for one in fields(channel)
                if one.name == "name" or getattr(channel, one.name) != one.default
            ]
        if self.metadata:
            lines += ["", "[metadata]", *(f"{_key(key)} = {_toml(value)}" for key, value in self.metadata.items())]
        return "\n".join(lines) + "\n"

    @classmethod
    def from_toml(cls, text: str) -> Self:
        """The layout from TOML text.

        Raises
        ------
        LayoutError
            If it is no TOML, of another schema, or has an entry that does not exist; says which.

        Examples
        --------
        >>> layout = Layout.from_toml('schema = 1\\nname = "mine"\\ncolumns = { after = "Samples:" }\\nunit = "nm"')
        >>> Layout.from_toml(layout.to_toml()) == layout, layout.columns.after
        (True, 'Samples:')
        """
        try:
            tables = tomllib.loads(text)
        except (ValueError, RecursionError) as error:
            raise LayoutError(f"The layout is not valid TOML: {error}") from error
        if tables.pop("schema", None) != SCHEMA:
            raise LayoutError("The layout is of another schema", fix=f"Begin it with: schema = {SCHEMA}")
        values = _checked(cls, tables, "the layout")
        values["channels"] = tuple(
            ChannelLayout(**_checked(ChannelLayout, table, "a channel")) for table in tables.get("channels", [])
        )
        told = tables.get("metadata", {})
        if not isinstance(told, Mapping):
            raise LayoutError("metadata is no table", fix="Write [metadata] and its lines below.")
        values["metadata"] = {str(key): said(value, str(key)) for key, value in told.items()}
        return cls(**values)


def load_folder(folder: str | Path) -> tuple[list[Layout], list[tuple[Path, LayoutError]]]:
    """The layouts that are kept in a folder, by file name, and those that cannot be read, each with the reason."""
    found: list[Layout] = []
    broken: list[tuple[Path, LayoutError]] = []
    for file in sorted(Path(folder).glob("*.toml")):
        try:
            found.append(load(file))
        except LayoutError as error:
            broken.append((file, error))
    return found, broken


def load(file: str | Path) -> Layout:
    """The layout in a file.

    Raises
    ------
    LayoutError
        If the file cannot be read, or holds no layout.
    """
    path = Path(file)
    try:
        text = _begin(path).decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise LayoutError(f"The layout cannot be read: {error}", where=str(path)) from error
    if len(text) > MOST_BYTES:
        raise LayoutError("The file is too long for a layout", where=str(path))
    try:
        return Layout.from_toml(text)
    except LayoutError as error:
        raise LayoutError(error.what, where=str(path), fix=error.fix) from error


def _checked(cls: type[Layout] | type[ChannelLayout], table: object, what: str) -> dict[str, Any]:
    """The values of a table for the fields of a record, each of the right kind."""
    if not isinstance(table, Mapping):
        raise LayoutError(f"{what} is no table", fix="Write one line for each entry.")
    known = {one.name: one for one in fields(cls)}
    unknown = sorted(set(table) - set(known))
    if unknown:
        raise LayoutError(f"There is no entry “{unknown[0]}” in {what}", fix=f"It knows: {', '.join(known)}.")
    if "name" not in table:
        raise LayoutError(f"{what} has no name", fix='Write name = "…".')
    return {key: _value(key, value) for key, value in table.items() if key not in ("channels", "metadata")}


def _value(key: str, value: object) -> Any:
    if key in SAID:
        return said(value, key)
    if key in ("place", "mirrored"):
        if not isinstance(value, bool):
            raise LayoutError(f"{key} is true or false, not {value!r}")
        return value
    if key in ("files", "missing"):
        listed = value if isinstance(value, Sequence) and not isinstance(value, str) else [value]
        return tuple(map(str, listed)) if key == "files" else tuple(_numbers(listed))
    if not isinstance(value, str):
        raise LayoutError(f"{key} is a text, not {value!r}")
    return value


def _numbers(values: Sequence[object]) -> list[float]:
    numbers = [
        float(value)
        for value in values
        if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 2**1000
    ]
    if len(numbers) != len(values):
        raise LayoutError("missing lists numbers", fix="Write missing = [-32768].")
    return numbers


def _toml(value: object) -> str:
    if isinstance(value, After):
        inside = ", ".join(f"{key} = {_toml(item)}" for key, item in value.table().items())
        return f"{{ {inside} }}"
    if isinstance(value, tuple):
        return f"[{', '.join(_toml(item) for item in value)}]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return json.dumps(value)


def _key(name: str) -> str:
    return name if name.replace("_", "").replace("-", "").isalnum() and name.isascii() else _toml(name)


def _begin(path: Path) -> bytes:
    """As much of a file as a layout may have, and one byte more."""
    with path.open("rb") as file:
        return file.read(MOST_BYTES + 1)
