"""Text with a table of numbers: a matrix of heights, with or without coordinates around it, or a list of points."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from core.errors import DamagedFile, NoHeights
from core.formats import points
from core.formats.channel import RawChannel, check_is_map
from core.formats.declared import Declared, declared, is_reserved
from core.formats.lattice import even_step, to_lattice
from core.formats.metadata import as_text
from core.formats.table import Table, read_table
from core.heightmap import FloatArray, HeightMap
from core.units import metres_per

NAME = "text"
SUFFIXES = (".txt", ".csv", ".tsv", ".dat", ".xyz")
WRITES = (".txt", ".csv", ".tsv")

_DELIMITER = {".csv": ",", ".tsv": "\t", ".txt": "\t"}
_PAIR = re.compile(r"(?P<key>[^:=]{1,60}?)\s*[:=]\s*(?P<value>.*)")


def sniff(head: bytes, _path: Path) -> bool:
    """Whether the bytes are text: no NUL byte, unless a mark says that it is UTF-16."""
    return head.startswith((b"\xff\xfe", b"\xfe\xff")) or (bool(head.strip()) and b"\0" not in head)


def read(path: Path) -> list[RawChannel]:
    """The channels of a text file: one for a matrix, one for each measured column of a list of points.

    Raises
    ------
    NoHeights
        If there is no table, or the table is a profile or no lattice.
    DamagedFile
        If rows are of different length, a cell is no number, or the table is smaller than its header says.
    """
    table = read_table(path)
    said = declared(_pairs(table.remarks))
    columns = points.headings(table)
    if points.has_points(columns):
        return points.from_table(table, columns, said, path)
    _refuse_profile(table, columns, said, path)
    unnamed = _unnamed_points(table, said, path)
    if unnamed is not None:
        return points.from_table(unnamed, [points.Column(axis) for axis in "xyz"], said, path)
    return [_matrix(table.values, said, path)]


def write(scan: HeightMap, path: Path) -> None:
    """Write a matrix in metres under a header that says all that is needed to read it back, to the last bit."""
    delimiter = _DELIMITER[path.suffix.lower()]
    with path.open("w", encoding="utf-8", errors="replace", newline="\n") as file:
        file.writelines(f"# {line}\n" for line in _header(scan))
        for row in scan.z:
            file.write(delimiter.join(map(repr, row.tolist())) + "\n")


def _header(scan: HeightMap) -> list[str]:
    dy, dx = scan.pitch
    lines = [
        "height matrix, top line first",
        f"channel: {_one_line(scan.source.channel or 'height')}",
        f"rows: {scan.shape[0]}",
        f"columns: {scan.shape[1]}",
        f"pixel: {dy!r} m x {dx!r} m",
        "unit: m",
    ]
    others = ((_one_line(key), _one_line(as_text(key, value))) for key, value in scan.metadata.items())
    return lines + [f"{key}: {value}" for key, value in others if _PAIR.match(f"{key}:") and not is_reserved(key)]


def _one_line(value: object) -> str:
    return " ".join(str(value).split())


def _pairs(remarks: list[str]) -> list[tuple[str, object]]:
    matches = (_PAIR.fullmatch(remark) for remark in remarks)
    return [(match["key"].strip(), match["value"].strip()) for match in matches if match and match["value"].strip()]


def _refuse_profile(table: Table, columns: list[points.Column], said: Declared, path: Path) -> None:
    rows, width = table.values.shape
    along = width == 2 and rows > 3 and not said.has_pitch and even_step(table.values[:, 0]) is not None
    if points.is_profile(columns) or along:
        raise NoHeights(
            f"This is a profile, not a map: positions and values of {rows} points along one line",
            where=str(path),
            fix="Export the whole height map.",
        )
    check_is_map((rows, width), str(path))


def _unnamed_points(table: Table, said: Declared, path: Path) -> Table | None:
    """The table, if its three columns without headings can only be points; None if they are a narrow matrix.

    The suffix ``.xyz`` breaks the tie: then points that are no lattice are refused as such.
    """
    rows, width = table.values.shape
    if width != 3 or said.has_pitch or rows < 4:
        return None
    try:
        to_lattice(table.values[:, 0], table.values[:, 1], table.values[:, 2], str(path))
    except (NoHeights, DamagedFile):
        if path.suffix.lower() == ".xyz":
            raise
        return None
    return table


def _matrix(values: FloatArray, said: Declared, path: Path) -> RawChannel:
    spacing, unit = None, said.lateral
    if not said.has_pitch:
        spacing = _coordinates(values)
    if spacing is not None:
        values = values[1:, 1:]
    check_is_map(values.shape, str(path))
    _check_shape(values, said, path)
    if said.missing is not None:
        values = np.where(values == said.missing, np.nan, values)
    pitch = said.pitch(values.shape)
    if pitch is None and spacing is not None and unit is not None:
        pitch = (spacing[0] * metres_per(unit), spacing[1] * metres_per(unit))
    return RawChannel(
        said.name,
        values,
        pitch=pitch,
        unit=said.unit,
        metadata=said.metadata,
        spacing=None if pitch else spacing or said.spacing(values.shape),
        coordinates=spacing is not None,
        dialect="matrix",
    )


def _coordinates(values: FloatArray) -> tuple[float, float] | None:
    """Steps of the coordinates in first column and first row, if that is what stands there.

    The corner is 0 or empty and both edges are evenly spaced. A tilted plane through 0 has such edges too; it is told
    apart by its inside, which is the sum of its edges.
    """
    if min(values.shape) < 3 or not (values[0, 0] == 0 or np.isnan(values[0, 0])):
        return None
    down, across = even_step(values[1:, 0]), even_step(values[0, 1:])
    if down is None or across is None:
        return None
    inside = values[1:, 1:]
    plane = values[1:, :1] + values[:1, 1:]
    if values[0, 0] == 0 and np.nanmax(np.abs(inside - plane), initial=0.0) <= 1e-6 * max(down, across):
        return None
    return down, across


def _check_shape(values: FloatArray, said: Declared, path: Path) -> None:
    rows, columns = values.shape
    if said.rows not in (None, rows) or said.columns not in (None, columns):
        raise DamagedFile(
            f"The header says {said.rows or rows} × {said.columns or columns} points and {rows} × {columns} are there",
            where=str(path),
            fix="The file may be cut short: copy or export it again.",
        )
