"""X3P, ISO 25178-72: a zip archive of an XML description and the points, as XML list or binary.

SizeX is the number of columns. Every axis value is the stored number × Increment + Offset. Incremental x and y axes are
not stored point by point; absolute ones are. Missing points are empty list entries, cleared bits of a validity file
(lowest bit first), NaN or ±inf.
"""

from __future__ import annotations

import hashlib
import math
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element

import numpy as np
from numpy.typing import NDArray

from core.errors import DamagedFile, NoHeights
from core.formats.channel import RawChannel, check_is_map
from core.formats.guard import check_expansion, check_points
from core.formats.lattice import even_step
from core.heightmap import FloatArray, HeightMap

NAME = "X3P"
SUFFIXES = (".x3p",)
WRITES = (".x3p",)

_MAIN = "main.xml"
_CHECKSUM = "md5checksum.hex"
_POINTS = "bindata/data.bin"
_VALID = "bindata/valid.bin"
_TYPES = {"I": "<i2", "L": "<i4", "F": "<f4", "D": "<f8"}
_MOST_XML = 2**26
_NAMESPACE = "http://www.opengps.eu/2008/ISO5436_2"
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the same map gives the same bytes


@dataclass(frozen=True, slots=True)
class _Axis:
    absolute: bool
    dtype: np.dtype[Any]
    increment: float
    offset: float
    in_metres: bool  # an incremental axis without its increment counts, it does not measure

    def values(self, stored: NDArray[Any]) -> FloatArray:
        """Lengths in metres of stored numbers."""
        lengths = stored.astype(np.float64)
        if self.increment != 1.0:
            lengths *= self.increment
        if self.offset != 0.0:
            lengths += self.offset
        return lengths


def sniff(head: bytes, path: Path) -> bool:
    """Whether the file is a zip archive with a main.xml in it."""
    if not head.startswith(b"PK\x03\x04") or not zipfile.is_zipfile(path):
        return False
    with zipfile.ZipFile(path) as archive:
        return any(_plain(name) == _MAIN for name in archive.namelist())


def read(path: Path) -> list[RawChannel]:
    """The one channel of an X3P file.

    Raises
    ------
    NoHeights
        If it holds a profile, a cloud of points or several layers.
    DamagedFile
        If sizes, checksums or the XML are wrong.
    """
    with zipfile.ZipFile(path) as archive:
        xml = _member(archive, _MAIN, _MOST_XML, path)
        root = _parsed(xml)
        _check_main(archive, root, xml, path)
        rows, columns = _shape(root, path)
        points = check_points(rows, columns, str(path))
        check_is_map((rows, columns), str(path))
        axes = {name: _axis(_need(root, f"Record1/Axes/C{name}", path), name, path) for name in "XYZ"}
        stored = _stored(archive, root, axes, points, path)
    z = axes["Z"].values(stored["Z"]).reshape(rows, columns)
    steps = (
        _step(axes["Y"], stored.get("Y"), (rows, columns), 0, path),
        _step(axes["X"], stored.get("X"), (rows, columns), 1, path),
    )
    pitch = steps if axes["Y"].in_metres and axes["X"].in_metres else None
    unit = "m" if axes["Z"].in_metres else None
    hint = "" if pitch else "an incremental axis states no increment"
    return [RawChannel("height", z, pitch=pitch, unit=unit, metadata=_metadata(root), hint=hint)]


def write(scan: HeightMap, path: Path) -> None:
    """Write heights as binary float64 in metres; missing points are NaN and cleared bits of a validity file."""
    points = scan.z.astype("<f8").tobytes()
    valid = np.packbits(scan.valid.reshape(-1), bitorder="little").tobytes() if scan.missing else b""
    main = _description(scan, points, valid).encode("utf-8")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=4) as archive:
        _put(archive, _MAIN, main)
        _put(archive, _POINTS, points)
        if valid:
            _put(archive, _VALID, valid)
        _put(archive, _CHECKSUM, f"{_md5(main)} *{_MAIN}\n".encode())


# Reading: the archive and its XML


def _member(archive: zipfile.ZipFile, name: str, most: int, path: Path) -> bytes:
    """The bytes of one member, never more than `most`."""
    found = [member for member in archive.infolist() if _plain(member.filename) == _plain(name)]
    if not found:
        raise DamagedFile(f"The archive has no {name}", where=str(path), fix="Copy or export the file again.")
    member = found[0]
    if member.file_size > most:
        raise DamagedFile(
            f"{name} unpacks to {member.file_size} bytes where at most {most} make sense",
            where=str(path),
            fix="Export the file again.",
        )
    check_expansion(member.file_size, member.compress_size, str(path))
    with archive.open(member) as file:
        return file.read(most)


def _plain(name: str) -> str:
    return name.replace("\\", "/").removeprefix("./").lstrip("/").lower()


def _parsed(xml: bytes) -> Element:
    """The description without namespaces."""
    from defusedxml.ElementTree import fromstring

    root: Element = fromstring(xml, forbid_dtd=True)
    for element in root.iter():
        if isinstance(element.tag, str):
            element.tag = element.tag.rpartition("}")[2]
    return root


def _text(root: Element, place: str) -> str:
    return (root.findtext(place) or "").strip()


def _need(root: Element, place: str, path: Path) -> Element:
    element = root.find(place)
    if element is None:
        raise DamagedFile(f"The description has no {place}", where=f"{path}, {_MAIN}", fix="Export the file again.")
    return element


def _check_main(archive: zipfile.ZipFile, root: Element, xml: bytes, path: Path) -> None:
    name = _text(root, "Record4/ChecksumFile")
    if name and any(_plain(member) == _plain(name) for member in archive.namelist()):
        words = _member(archive, name, 4096, path).decode("latin-1").split()
        _check_md5(words[0] if words else "", xml, _MAIN, path)


def _check_md5(said: str, data: bytes, name: str, path: Path) -> None:
    """Compare a checksum, in either case; an empty one says nothing."""
    if said and said.lower() != _md5(data):
        raise DamagedFile(
            f"The checksum of {name} does not agree with its bytes", where=str(path), fix="Copy or export it again."
        )


def _md5(data: bytes) -> str:
    return hashlib.md5(data, usedforsecurity=False).hexdigest()


def _shape(root: Element, path: Path) -> tuple[int, int]:
    kind = _text(root, "Record1/FeatureType").upper()
    if kind == "PRF":
        raise NoHeights("This is a profile, not a map", where=str(path), fix="Export the whole height map.")
    if root.find("Record3/MatrixDimension") is None:
        raise NoHeights(
            "This is a list of points, not a map in rows and columns", where=str(path), fix="Export it as a matrix."
        )
    sizes = [_text(root, f"Record3/MatrixDimension/Size{axis}") for axis in "XYZ"]
    if not all(size.isdigit() and len(size) < 12 for size in sizes):
        raise DamagedFile(f"MatrixDimension says {sizes}", where=f"{path}, {_MAIN}", fix="Export the file again.")
    columns, rows, layers = map(int, sizes)
    if layers != 1:
        raise NoHeights(f"The file holds {layers} layers, not one map", where=str(path), fix="Export one layer.")
    return rows, columns


def _axis(element: Element, name: str, path: Path) -> _Axis:
    kind = _text(element, "DataType").upper() or "D"
    listed = _text(element, "AxisType").upper() == "A"
    in_metres = listed or bool(_text(element, "Increment"))
    try:
        increment = float(_text(element, "Increment") or 1.0)
        offset = float(_text(element, "Offset") or 0.0)
        dtype = np.dtype(_TYPES[kind])
    except (KeyError, ValueError) as error:
        raise DamagedFile(
            f"The {name} axis is described wrongly: {error}", where=f"{path}, {_MAIN}", fix="Export the file again."
        ) from error
    if not (math.isfinite(increment) and increment != 0 and math.isfinite(offset)):
        raise DamagedFile(
            f"The {name} axis has increment {increment} and offset {offset}", where=str(path), fix="Export it again."
        )
    return _Axis(listed or name == "Z", dtype, increment, offset, in_metres)  # heights always stand in the list


# Reading: the points


def _stored(
    archive: zipfile.ZipFile, root: Element, axes: dict[str, _Axis], points: int, path: Path
) -> dict[str, NDArray[Any]]:
    """The stored numbers of every axis that stands in the list, flat, missing points NaN in Z."""
    if root.find("Record3/DataLink") is not None:
        return _binary(archive, _need(root, "Record3/DataLink", path), axes, points, path)
    return _listed(_need(root, "Record3/DataList", path), axes, points, path)


def _binary(
    archive: zipfile.ZipFile, link: Element, axes: dict[str, _Axis], points: int, path: Path
) -> dict[str, NDArray[Any]]:
    record = np.dtype([(name, axis.dtype) for name, axis in axes.items() if axis.absolute])
    name = _text(link, "PointDataLink")
    data = _member(archive, name, points * record.itemsize, path)
    if len(data) != points * record.itemsize:
        raise DamagedFile(
            f"{name} has {len(data)} bytes and the sizes promise {points * record.itemsize}",
            where=str(path),
            fix="Copy or export the file again.",
        )
    _check_md5(_text(link, "MD5ChecksumPointData"), data, name, path)
    table = np.frombuffer(data, record)
    stored: dict[str, NDArray[Any]] = {axis: table[axis] for axis in record.names or ()}
    valid_name = _text(link, "ValidPointsLink")
    if valid_name:
        valid = _member(archive, valid_name, points // 8 + 1024, path)
        if len(valid) * 8 < points:
            raise DamagedFile(f"{valid_name} is too short", where=str(path), fix="Copy or export the file again.")
        _check_md5(_text(link, "MD5ChecksumValidPoints"), valid, valid_name, path)
        bits = np.unpackbits(np.frombuffer(valid, np.uint8), count=points, bitorder="little").astype(bool)
        stored["Z"] = np.where(bits, stored["Z"].astype(np.float64), np.nan)
    return stored


def _listed(data: Element, axes: dict[str, _Axis], points: int, path: Path) -> dict[str, NDArray[Any]]:
    texts = [datum.text or "" for datum in data.iter("Datum")]
    if len(texts) != points:
        raise DamagedFile(
            f"The list has {len(texts)} points and the sizes promise {points}", where=str(path), fix="Export it again."
        )
    cells = [text.replace(",", ";").split(";") if text.strip() else [] for text in texts]
    width = max(map(len, cells))
    names = "XYZ" if width == 3 else "".join(name for name, axis in axes.items() if axis.absolute)
    if any(cell and len(cell) != len(names) for cell in cells):
        raise DamagedFile(f"The points of the list need {len(names)} numbers", where=str(path), fix="Export it again.")
    return {
        name: np.fromiter((float(cell[k]) if cell else math.nan for cell in cells), np.float64, points)
        for k, name in enumerate(names)
    }


def _step(axis: _Axis, stored: NDArray[Any] | None, shape: tuple[int, int], along: int, path: Path) -> float:
    """Distance of neighbouring rows or columns, metres."""
    if not axis.absolute or stored is None:
        return abs(axis.increment)
    positions = axis.values(stored).reshape(shape)
    if along == 1:
        positions = positions.T
    lines = np.array([_middle(line) for line in positions])
    step = even_step(lines)
    spread = np.nanmax(np.abs(positions - lines[:, None]), initial=0.0)
    if step is None or spread > 0.25 * step:
        raise NoHeights(
            "The points do not lie on a regular lattice", where=str(path), fix="Export the map with even steps."
        )
    return step


def _middle(line: FloatArray) -> float:
    known = line[np.isfinite(line)]
    return float(known.mean()) if known.size else math.nan


def _metadata(root: Element) -> dict[str, Any]:
    """What Record2 says about instrument and date."""
    places = {
        "date": "Date",
        "operator": "Creator",
        "manufacturer": "Instrument/Manufacturer",
        "instrument": "Instrument/Model",
        "serial": "Instrument/Serial",
        "calibration_date": "CalibrationDate",
        "probing": "ProbingSystem/Type",
        "probe": "ProbingSystem/Identification",
        "comment": "Comment",
    }
    return {key: said for key, place in places.items() if (said := _text(root, f"Record2/{place}"))}


# Writing


def _description(scan: HeightMap, points: bytes, valid: bytes) -> str:
    rows, columns = scan.shape
    dy, dx = scan.pitch
    validity = (
        f"      <ValidPointsLink>{_VALID}</ValidPointsLink>\n"
        f"      <MD5ChecksumValidPoints>{_md5(valid)}</MD5ChecksumValidPoints>\n"
        if valid
        else ""
    )
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<p:ISO5436_2 xmlns:p="{_NAMESPACE}">
  <Record1>
    <Revision>ISO5436 - 2000</Revision>
    <FeatureType>SUR</FeatureType>
    <Axes>
      <CX><AxisType>I</AxisType><DataType>D</DataType><Increment>{dx!r}</Increment><Offset>0.0</Offset></CX>
      <CY><AxisType>I</AxisType><DataType>D</DataType><Increment>{dy!r}</Increment><Offset>0.0</Offset></CY>
      <CZ><AxisType>A</AxisType><DataType>D</DataType></CZ>
    </Axes>
  </Record1>
  <Record3>
    <MatrixDimension><SizeX>{columns}</SizeX><SizeY>{rows}</SizeY><SizeZ>1</SizeZ></MatrixDimension>
    <DataLink>
      <PointDataLink>{_POINTS}</PointDataLink>
      <MD5ChecksumPointData>{_md5(points)}</MD5ChecksumPointData>
{validity}    </DataLink>
  </Record3>
  <Record4>
    <ChecksumFile>{_CHECKSUM}</ChecksumFile>
  </Record4>
</p:ISO5436_2>
"""


def _put(archive: zipfile.ZipFile, name: str, data: bytes) -> None:
    member = zipfile.ZipInfo(name, _EPOCH)
    member.compress_type = zipfile.ZIP_DEFLATED
    member.external_attr = 0o644 << 16
    archive.writestr(member, data)
