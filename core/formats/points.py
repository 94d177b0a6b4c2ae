"""Text with one point a line: columns x, y, z on a lattice, in any order, with holes."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from core.errors import NoHeights
from core.formats.channel import RawChannel, check_is_map
from core.formats.declared import Declared, clean_unit
from core.formats.lattice import Lattice, to_lattice
from core.formats.table import Table, cells
from core.units import format_length, is_length_unit, metres_per

DIALECT = "points"

_X = frozenset({"x", "pos x", "x pos", "position x", "x position", "coordinate x", "x coordinate", "px"})
_Y = frozenset({"y", "pos y", "y pos", "position y", "y position", "coordinate y", "y coordinate", "py"})
_OTHER_UNITS = frozenset({"v", "mv", "deg", "°", "rad", "mrad", "urad", "µrad", "n", "nn", "a", "na", "pa", "hz"})
_BRACKETS = re.compile(r"(?P<name>.+?)\s*[(\[](?P<unit>[^()\[\]]*)[)\]]")
_TAIL = re.compile(r"(?P<name>.+?)[\s_/]+(?P<unit>[^\s_/]+)")


@dataclass(frozen=True, slots=True)
class Column:
    """Name and unit of a column, as the line above it says."""

    name: str
    unit: str | None = None

    @property
    def is_x(self) -> bool:
        """Whether it holds the position across."""
        return _plain(self.name) in _X

    @property
    def is_y(self) -> bool:
        """Whether it holds the position down."""
        return _plain(self.name) in _Y


def column_of(text: str) -> Column:
    """Name and unit of one heading.

    >>> column_of("x_mm"), column_of("Height (nm)"), column_of("z")
    (Column(name='x', unit='mm'), Column(name='Height', unit='nm'), Column(name='z', unit=None))
    """
    text = text.strip().strip("\"'").strip()
    match = _BRACKETS.fullmatch(text)
    if match:
        return Column(match["name"].strip(), clean_unit(match["unit"]))
    match = _TAIL.fullmatch(text)
    if match and (is_length_unit(match["unit"]) or match["unit"].lower() in _OTHER_UNITS):
        return Column(match["name"].strip(), match["unit"])
    return Column(text)


def headings(table: Table) -> list[Column]:
    """The columns as the remarks name them, the lowest line that names them all winning; empty where none does.

    A unit that this line leaves out is taken from another line that names the same columns.
    """
    width = table.values.shape[1]
    lines = [columns for remark in reversed(table.remarks) if (columns := _named(remark, table.delimiter, width))]
    if not lines:
        return []
    found = lines[0]
    for others in lines[1:]:
        if [column.name.lower() for column in others] == [column.name.lower() for column in found]:
            found = [Column(one.name, one.unit or other.unit) for one, other in zip(found, others, strict=True)]
    return found


def is_profile(columns: Sequence[Column]) -> bool:
    """Whether the headings name one position only: heights along a line."""
    positions = sum(column.is_x or column.is_y for column in columns)
    return len(columns) >= 2 and (positions == 1 or (positions == 2 and len(columns) == 2))


def has_points(columns: Sequence[Column]) -> bool:
    """Whether the headings name both positions and something measured there."""
    return any(c.is_x for c in columns) and any(c.is_y for c in columns) and len(columns) >= 3


def from_table(table: Table, columns: Sequence[Column], said: Declared, path: Path) -> list[RawChannel]:
    """The channels of a table of points.

    Raises
    ------
    NoHeights
        If the points are no lattice, or all on one line.
    """
    across = next(k for k, column in enumerate(columns) if column.is_x)
    down = next(k for k, column in enumerate(columns) if column.is_y)
    per_x, per_y = (_metres(columns[k].unit or said.lateral, path) for k in (across, down))
    channels = []
    for k, column in enumerate(columns):
        if k in (across, down):
            continue
        heights = table.values[:, k].copy()
        if said.missing is not None:
            heights[heights == said.missing] = float("nan")
        lattice = to_lattice(table.values[:, across], table.values[:, down], heights, str(path))
        check_is_map(lattice.z.shape, str(path))
        channels.append(_channel(lattice, column, said, per_y, per_x))
    return channels


def _channel(lattice: Lattice, column: Column, said: Declared, per_y: float | None, per_x: float | None) -> RawChannel:
    dy, dx = lattice.spacing
    pitch = (dy * per_y, dx * per_x) if per_y and per_x else said.pitch(lattice.z.shape)
    note = {}
    if per_x and lattice.jitter > 1e-6 * dx:
        note["lattice"] = f"points lie up to {format_length(lattice.jitter * per_x)} beside a regular lattice"
    return RawChannel(
        column.name,
        lattice.z,
        pitch=pitch,
        unit=column.unit or said.unit,
        metadata=said.metadata | note,
        spacing=None if pitch else lattice.spacing,
        coordinates=True,
        dialect=DIALECT,
    )


def _metres(unit: str | None, path: Path) -> float | None:
    if unit is not None and not is_length_unit(unit):
        raise NoHeights(
            f"The positions are in “{unit}”, which is no length", where=str(path), fix="Export them as lengths."
        )
    return None if unit is None else metres_per(unit)


def _named(remark: str, delimiter: str | None, width: int) -> list[Column]:
    """The headings in one remark, if it has one for each column and none is a number."""
    ways = [re.sub(r"\s+(?=[(\[])", "", remark)] if delimiter is None else [remark]
    for way in ways:
        for separator in (delimiter, ",", ";", "\t", None):
            names = [name for name in cells(way, separator) if name] if separator is None else cells(way, separator)
            if len(names) == width and all(re.match(r"[^\W\d]", name) for name in names):
                return [column_of(name) for name in names]
    return []


def _plain(name: str) -> str:
    return re.sub(r"[\s_\-]+", " ", name).strip().lower()
