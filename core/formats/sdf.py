"""Surface data files, ISO 25178-71: a header, heights as counts of ``Zscale`` metres, a trailer; as text or binary.

Sizes of the binary header and the type numbers are those of the standard; that the smallest number of a signed integer
type and the largest float stand for a missing point is common practice of such files (from memory). Binary files are
little-endian; one whose header makes sense only the other way round, and then fits its length to the byte or but for a
trailer, is read that way, which its metadata say.
"""

from __future__ import annotations

import math
import re
import struct
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from core.errors import DamagedFile, MapError
from core.formats.channel import RawChannel, check_is_map
from core.formats.guard import check_points, check_present, text_size
from core.formats.metadata import tolerant
from core.heightmap import FloatArray, HeightMap

NAME = "SDF"
SUFFIXES = (".sdf",)
WRITES = (".sdf",)

_TEXT = re.compile(rb"\s*a(ISO|BCR)-\d\.\d")
_BINARY = re.compile(rb"b(ISO|BCR)-\d\.\d")
# Version, maker, dates, points and profiles, four scales, compression, data type, check type; packed, little-endian.
_HEADERS = {order: struct.Struct(f"{order}8s10s12s12sHHddddbbb") for order in "<>"}
_TYPES = {0: "u1", 1: "u2", 2: "u4", 3: "f4", 4: "i1", 5: "i2", 6: "i4", 7: "f8"}
_LONGEST_STEP = 1.0  # metres from point to point: beyond it, or below its inverse in picometres, no header makes sense
_MOST = 2**16 - 1
_BAD = frozenset({b"BAD", b"NAN", b"NA", b"---"})


@dataclass(slots=True)
class _Header:
    points: int
    profiles: int
    x_scale: float
    y_scale: float
    z_scale: float
    data_type: int = 7
    compression: int = 0
    metadata: dict[str, Any] = field(default_factory=dict)

    def check(self, path: Path) -> int:
        """Number of points of a header that makes sense."""
        for name, scale in (("Xscale", self.x_scale), ("Yscale", self.y_scale), ("Zscale", self.z_scale)):
            if not (math.isfinite(scale) and scale > 0):
                raise DamagedFile(f"{name} is {scale}, not a length", where=str(path), fix="Export the file again.")
        if self.compression:
            raise DamagedFile(
                "The heights are compressed in a way the standard leaves open", where=str(path), fix="Export without."
            )
        if self.data_type not in _TYPES:
            raise DamagedFile(f"DataType {self.data_type} is unknown", where=str(path), fix="Export the file again.")
        number = check_points(self.profiles, self.points, str(path))
        check_is_map((self.profiles, self.points), str(path))
        return number

    def channel(self, counts: NDArray[Any]) -> RawChannel:
        """The heights in metres."""
        heights = np.array(counts, dtype=np.float64).reshape(self.profiles, self.points)
        heights *= self.z_scale
        return RawChannel("height", heights, pitch=(self.y_scale, self.x_scale), unit="m", metadata=self.metadata)


def sniff(head: bytes, _path: Path) -> bool:
    """Whether the file starts with the version mark of either form."""
    return bool(_TEXT.match(head) or _BINARY.match(head))


def read(path: Path) -> list[RawChannel]:
    """The one channel of a surface data file.

    Raises
    ------
    DamagedFile
        If a scale, a type or a section is wrong or the heights are cut short.
    NoHeights
        If there is a single profile in it.
    """
    text_size(path)
    raw = path.read_bytes()
    return [_read_binary(raw, path) if _BINARY.match(raw) else _read_text(raw, path)]


def write(scan: HeightMap, path: Path) -> None:
    """Write binary float64 in metres, missing points as the largest float. The same map gives the same bytes.

    Raises
    ------
    MapError
        If the map has more rows or columns than the header can say.
    """
    rows, columns = scan.shape
    if max(rows, columns) > _MOST:
        raise MapError(
            f"An SDF file holds at most {_MOST} rows and columns, not {rows} × {columns}", fix="Write X3P or HDF5."
        )
    heights = np.where(np.isnan(scan.z), np.finfo(np.float64).max, scan.z).astype("<f8")
    dy, dx = scan.pitch
    date = b"010120000000"  # the format has no empty date, and the scan's own may be unknown
    head = _HEADERS["<"].pack(b"bISO-1.0", b"lowrelief ", date, date, columns, rows, dx, dy, 1.0, -1.0, 0, 7, 0)
    path.write_bytes(head + heights.tobytes())


def _read_binary(raw: bytes, path: Path) -> RawChannel:
    check_present(_HEADERS["<"].size, len(raw), str(path))
    order: Literal["<", ">"] = ">" if _fits(raw, ">") and not _fits(raw, "<") else "<"
    packed_header = _HEADERS[order]
    version, maker, created, modified, points, profiles, x, y, z, resolution, packed, kind, _ = (
        packed_header.unpack_from(raw)
    )
    pairs = (("version", version), ("manufacturer", maker), ("date", created), ("modified", modified))
    said = [(key, text) for key, value in pairs if (text := value.decode("latin-1").strip("\0 "))]
    if math.isfinite(resolution) and resolution > 0:
        said.append(("z_resolution", repr(resolution)))
    if order == ">":
        said.append(("byte_order", "big-endian, against the standard; the header makes sense only so"))
    header = _Header(points, profiles, x, y, z, kind, packed, tolerant(said))
    number = header.check(path)
    dtype = np.dtype(_TYPES[kind]).newbyteorder(order)
    check_present(number * dtype.itemsize, len(raw) - packed_header.size, str(path))
    return header.channel(_without_bad(np.frombuffer(raw, dtype, number, packed_header.size)))


def _fits(raw: bytes, order: Literal["<", ">"]) -> bool:
    """Whether the header makes sense in this byte order and promises no more than is there."""
    head = _HEADERS[order]
    *_, points, profiles, x, y, z, _, _, kind, _ = head.unpack_from(raw)
    steps = all(math.isfinite(step) and 1e-12 / _LONGEST_STEP < step < _LONGEST_STEP for step in (x, y))
    size = np.dtype(_TYPES[kind]).itemsize if kind in _TYPES else 0
    whole = 0 < points * profiles * size <= len(raw) - head.size
    return whole and steps and math.isfinite(z) and 0 < z <= _LONGEST_STEP


def _without_bad(counts: NDArray[Any]) -> FloatArray:
    values = counts.astype(np.float64)
    if counts.dtype.kind == "i":
        values[counts == np.iinfo(counts.dtype).min] = np.nan
    elif counts.dtype.kind == "f":
        values[np.abs(counts) >= np.finfo(counts.dtype).max] = np.nan
    return values


def _read_text(raw: bytes, path: Path) -> RawChannel:
    """Header, heights and trailer, each closed by a line that starts with an asterisk."""
    sections = re.split(rb"(?m)^[ \t]*\*[^\r\n]*(?:\r?\n|\r|\Z)", raw, maxsplit=2)
    if len(sections) < 2:
        raise DamagedFile("The header is not closed by *", where=str(path), fix="Copy or export the file again.")
    header = _text_header(sections[0], path)
    number = header.check(path)
    if len(sections) < 3:
        raise DamagedFile("The heights are not closed by *", where=str(path), fix="The file may be cut short.")
    words = sections[1].replace(b",", b" ").replace(b";", b" ").split()
    if len(words) != number:
        raise DamagedFile(
            f"The header promises {number} heights and {len(words)} are there",
            where=str(path),
            fix="The file may be cut short: copy or export it again.",
        )
    try:
        counts = np.fromiter(map(float, words), np.float64, number)
    except ValueError:
        counts = np.fromiter((math.nan if word.upper() in _BAD else float(word) for word in words), np.float64, number)
    return header.channel(counts)


def _text_header(section: bytes, path: Path) -> _Header:
    lines = [line for line in section.decode("latin-1").splitlines() if line.strip()]
    pairs = [line.split("=", 1) for line in lines[1:] if "=" in line]
    said = {key.strip().lower(): value.strip() for key, value in pairs}

    def number(key: str, otherwise: float | None = None) -> float:
        try:
            value = float(said[key]) if key in said or otherwise is None else otherwise
        except (KeyError, ValueError):
            raise DamagedFile(f"The header has no number for {key}", where=str(path), fix="Export it again.") from None
        if not math.isfinite(value):
            raise DamagedFile(f"The header gives {value} for {key}", where=str(path), fix="Export it again.")
        return value

    names = {"manufacid": "manufacturer", "createdate": "date", "moddate": "modified", "zresolution": "z_resolution"}
    facts = [("version", lines[0].strip()), *((names[key], said[key]) for key in names if said.get(key))]
    return _Header(
        int(number("numpoints")),
        int(number("numprofiles")),
        number("xscale"),
        number("yscale"),
        number("zscale"),
        int(number("datatype", 7)),
        int(number("compression", 0)),
        tolerant(facts),
    )
