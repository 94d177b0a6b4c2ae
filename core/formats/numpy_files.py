"""NumPy's own files: ``.npy`` with one array, ``.npz`` with several. Nothing in them is ever unpickled."""

from __future__ import annotations

import io
import json
import math
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray

from core.errors import DamagedFile, NoHeights
from core.formats.channel import RawChannel, is_numeric
from core.formats.declared import declared
from core.formats.guard import MOST_POINTS, check_expansion, check_points, check_present
from core.formats.lattice import even_step
from core.formats.metadata import tolerant
from core.heightmap import HeightMap

NAME = "NumPy"
SUFFIXES = (".npy", ".npz")
WRITES = (".npy", ".npz")

_MOST_MEMBERS = 1000
_LONGEST_HEADER = 2**16  # bytes; NumPy itself trusts no header above ten thousand


def sniff(head: bytes, path: Path) -> bool:
    """Whether the file is an array, or an archive of arrays."""
    if head.startswith(b"\x93NUMPY"):
        return True
    if not head.startswith(b"PK\x03\x04") or not zipfile.is_zipfile(path):
        return False
    with zipfile.ZipFile(path) as archive:
        return any(name.endswith(".npy") for name in archive.namelist())


def read(path: Path) -> list[RawChannel]:
    """The two-dimensional arrays of a file.

    An array alone says neither pitch nor unit. An archive may: ``pitch`` or ``pixel`` as (dy, dx) or one number,
    ``dx`` and ``dy``, all in metres or as text with a unit; ``x`` and ``y`` as coordinates; ``unit`` of the heights.

    Raises
    ------
    NoHeights
        If there is no two-dimensional array of real numbers.
    DamagedFile
        If an array is cut short, holds Python objects, or would unpack without bound.
    """
    with path.open("rb") as file:
        if file.read(6) == b"\x93NUMPY":
            file.seek(0)
            return [RawChannel("", _two_dimensional(_array(file, path.stat().st_size, path), path))]
    return _archive(path)


def write(scan: HeightMap, path: Path) -> None:
    """Write heights in metres; an archive also holds pitch, unit and metadata."""
    if path.suffix.lower() == ".npy":
        with path.open("wb") as file:
            np.lib.format.write_array(file, scan.z, allow_pickle=False)
        return
    said = {key: value if isinstance(value, int | float) else str(value) for key, value in scan.metadata.items()}
    with path.open("wb") as file:
        np.savez_compressed(
            file,
            allow_pickle=False,
            z=scan.z,
            pitch=np.array(scan.pitch),
            unit=np.array("m"),
            metadata=np.array(json.dumps(said)),
        )


def _archive(path: Path) -> list[RawChannel]:
    arrays: dict[str, NDArray[Any]] = {}
    with zipfile.ZipFile(path) as archive:
        members = archive.infolist()
        if len(members) > _MOST_MEMBERS:
            raise DamagedFile(f"The archive has {len(members)} members", where=str(path), fix="Keep scans apart.")
        total = sum(member.file_size for member in members)
        if total > 8 * MOST_POINTS:
            raise DamagedFile(f"The archive unpacks to {total} bytes", where=str(path), fix="Keep scans apart.")
        for member in members:
            if member.filename.endswith(".npy"):
                check_expansion(member.file_size, member.compress_size, str(path))
                with archive.open(member) as file:
                    arrays[member.filename.removesuffix(".npy")] = _array(file, member.file_size, path)
    return _channels(arrays, path)


def _channels(arrays: Mapping[str, NDArray[Any]], path: Path) -> list[RawChannel]:
    maps = {name: array for name, array in arrays.items() if array.ndim == 2 and is_numeric(array.dtype)}
    if not maps:
        _two_dimensional(next(iter(arrays.values()), np.empty(0)), path)
        raise NoHeights("The archive holds no two-dimensional array", where=str(path), fix="Store the heights as z.")
    said = declared([(name, _plain(array)) for name, array in arrays.items() if array.size <= 2], bare_metres=True)
    extra = _metadata(arrays.get("metadata"))
    facts = {key: value for key, value in said.metadata.items() if key != "metadata"} | extra
    channels = []
    for name, array in maps.items():
        pitch = said.pitch((array.shape[0], array.shape[1]))
        channels.append(
            RawChannel(
                name,
                array,
                pitch=pitch,
                unit=said.unit,
                metadata=facts,
                spacing=None if pitch else _axes(arrays, array.shape),
            )
        )
    return channels


def _axes(arrays: Mapping[str, NDArray[Any]], shape: tuple[int, ...]) -> tuple[float, float] | None:
    """Steps of coordinate arrays x and y; numbers alone have no unit."""
    steps = []
    for axis, count in zip("yx", shape, strict=True):
        positions = arrays.get(axis)
        if positions is None or positions.shape != (count,) or not is_numeric(positions.dtype):
            return None
        step = even_step(positions)
        if step is None:
            return None
        steps.append(step)
    return steps[0], steps[1]


def _metadata(array: NDArray[Any] | None) -> dict[str, Any]:
    """What `write` stored as JSON: numbers stay numbers."""
    if array is None or array.dtype.kind != "U" or array.size != 1:
        return {}
    try:
        said = json.loads(str(array.reshape(-1)[0]))
    except ValueError:
        return {}
    return tolerant(said.items()) if isinstance(said, dict) else {}


def _plain(array: NDArray[Any]) -> object:
    flat = array.reshape(-1).tolist()
    return flat[0] if len(flat) == 1 else tuple(flat)


def _array(file: BinaryIO | Any, size: int, path: Path) -> NDArray[Any]:
    """One array, its declared shape checked against the bytes that are there before any memory is taken."""
    version = npy.read_magic(file)
    width = {(1, 0): 2, (2, 0): 4}.get(version, 0)  # bytes that say how long the header is
    counted = file.read(width)
    head = io.BytesIO(counted + file.read(min(int.from_bytes(counted, "little"), _LONGEST_HEADER)))
    if version == (1, 0):
        shape, fortran, dtype = npy.read_array_header_1_0(head)
    elif version == (2, 0):
        shape, fortran, dtype = npy.read_array_header_2_0(head)
    else:
        raise DamagedFile(f"The array has the unknown version {version}", where=str(path), fix="Save it again.")
    if dtype.hasobject:
        raise DamagedFile(
            "The array holds Python objects, which are never unpacked", where=str(path), fix="Save it as float64."
        )
    wanted = math.prod(shape) * dtype.itemsize
    check_present(wanted, size, str(path))
    if len(shape) == 2 and wanted:
        check_points(shape[0], shape[1], str(path))
    data = file.read(wanted)
    check_present(wanted, len(data), str(path))
    array = np.frombuffer(data, dtype=dtype) if wanted else np.empty(0, dtype)
    return array.reshape(shape[::-1]).T if fortran else array.reshape(shape)


def _two_dimensional(array: NDArray[Any], path: Path) -> NDArray[Any]:
    if array.ndim != 2 or not is_numeric(array.dtype):
        raise NoHeights(
            f"The array is no height map: shape {array.shape}, type {array.dtype}",
            where=str(path),
            fix="Store the heights as a two-dimensional array of floats.",
        )
    return array
