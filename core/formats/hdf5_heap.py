"""Texts of variable length in HDF5 files lie in global heaps; on a damaged one the HDF5 library loops for ever.

So the heaps are walked here first, by the sizes that the HDF5 file format specification 3.0 gives them (section III.E):
a collection starts with its signature, version and size; each object with index, reference count and size, padded to
eight bytes; index 0 is the free space up to the end, its own sixteen bytes included.
"""

from __future__ import annotations

import mmap
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from core.errors import DamagedFile

_START = b"GCOL\x01\0\0\0"  # signature, version and three zero bytes: no heights look like that by chance
_SIZE = struct.Struct("<Q")
_OBJECT = struct.Struct("<HHIQ")
_SMALLEST = 16
_LENGTHS_AT = {0: 14, 1: 14, 2: 10, 3: 10}  # where the superblock says how many bytes a length has, by its version


@contextmanager
def opened(path: Path) -> Iterator[Any]:
    """An HDF5 file for reading, its heaps checked before anything in it is looked at.

    Raises
    ------
    DamagedFile
        If the objects of a heap do not fit into it.
    """
    import h5py

    with h5py.File(path, "r", locking=False) as file:
        check_heaps(path)
        yield file


def text_of(data: Any) -> str:
    """The one text that a data set holds, of fixed or variable length, UTF-8.

    In place of a text of variable length stands its length, before where it lies; the HDF5 library takes that much
    memory, up to 4 GiB, before it looks further. So the length is looked at here.

    Raises
    ------
    ValueError
        If it is no text, or says that it is longer than the file.
    """
    import h5py

    kind = data.id.get_type() if isinstance(data, h5py.Dataset) and data.shape == () else None
    if not isinstance(kind, h5py.h5t.TypeStringID) or data.external or data.is_virtual:
        raise ValueError(f"“{data.name}” is no text")
    present = Path(data.file.filename).stat().st_size
    length = kind.get_size()
    if kind.is_variable_str():
        place = data.id.get_offset()
        if place is None:
            raise ValueError(f"“{data.name}” is nowhere in the file")
        with Path(data.file.filename).open("rb") as file:
            file.seek(place)
            length = int.from_bytes(file.read(4), "little")
    if length > present:
        raise ValueError(f"“{data.name}” says that it is longer than its file")
    value = data[()]
    return value.decode("utf-8") if isinstance(value, bytes) else str(value)


def check_heaps(path: Path) -> None:
    """Walk every global heap of an HDF5 file.

    Raises
    ------
    DamagedFile
        If the objects of a heap do not fit into it.
    """
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        if not _has_long_lengths(data):
            return
        start = data.find(_START)
        while start >= 0:
            if not _is_whole(data, start):
                raise DamagedFile(
                    "The texts in this HDF5 file are damaged",
                    where=f"{path}, byte {start}",
                    fix="Copy or export the file again.",
                )
            start = data.find(_START, start + len(_START))


def _has_long_lengths(data: mmap.mmap) -> bool:
    """Whether lengths have eight bytes, as in all but very old files; the walk knows no others."""
    base = max(data.find(b"\x89HDF\r\n\x1a\n"), 0)
    place = base + _LENGTHS_AT.get(data[base + 8], 0) if len(data) > base + 32 else 0
    return place > 0 and data[place] == 8


def _is_whole(data: mmap.mmap, start: int) -> bool:
    if start + _SMALLEST > len(data):
        return False
    end = start + int(_SIZE.unpack_from(data, start + 8)[0])
    if not start + _SMALLEST <= end <= len(data):
        return False
    place: int = start + _SMALLEST
    while place + _OBJECT.size <= end:
        index, _, _, size = map(int, _OBJECT.unpack_from(data, place))
        if index == 0:
            return place + size == end
        place += _OBJECT.size + (size + 7) // 8 * 8
    return place <= end
