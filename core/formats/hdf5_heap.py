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
from core.formats.hdf5_attributes import bytes_of, has_plain_header

_START = b"GCOL\x01\0\0\0"  # signature, version and three zero bytes: no heights look like that by chance
_SIZE = struct.Struct("<Q")
_OBJECT = struct.Struct("<HHIQ")
_POINTER = struct.Struct("<IQI")  # of a text of variable length: length, heap, number in it
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

    In place of a text of variable length stands a pointer: its length, the address of its heap and its number there.
    The HDF5 library takes memory for that length, up to 4 GiB, before it looks further, and takes for a heap what is
    at that address. So the pointer is followed here first.

    Raises
    ------
    ValueError
        If it is no text, or its pointer leads to none.
    """
    import h5py

    kind = data.id.get_type() if isinstance(data, h5py.Dataset) and data.shape == () else None
    if not isinstance(kind, h5py.h5t.TypeStringID) or data.external or data.is_virtual:
        raise ValueError(f"“{data.name}” is no text")
    if kind.is_variable_str() and not _leads_to_text(data):
        raise ValueError(f"“{data.name}” leads to no text")
    value = data[()]
    return value.decode("utf-8") if isinstance(value, bytes) else str(value)


def _leads_to_text(data: Any) -> bool:
    """Whether the pointer of a data set leads to an object of a whole heap that holds as much as it says."""
    place = data.id.get_offset()
    if place is None or data.id.get_storage_size() != _POINTER.size:
        return False
    with _mapped(data) as raw:
        return _all_lead(raw, raw[place : place + _POINTER.size], data.file.userblock_size)


def attribute_leads_to_text(item: Any, name: str, count: int) -> bool:
    """The same for an attribute of `count` texts of variable length.

    In an object header of version 2 its checksum has to do.
    """
    import h5py

    base = item.file.userblock_size
    start = base + h5py.h5o.get_info(item.id).addr
    with _mapped(item) as raw:
        if not has_plain_header(raw, start):
            return True
        pointers = bytes_of(raw, start, base, name.encode("utf-8", "surrogateescape")) or b""
        wanted = count * _POINTER.size
        return len(pointers) >= wanted and _all_lead(raw, pointers[:wanted], base)


@contextmanager
def _mapped(item: Any) -> Iterator[mmap.mmap]:
    """The file that an item is in."""
    with (
        Path(item.file.filename).open("rb") as file,
        mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as raw,
    ):
        yield raw


def _all_lead(raw: mmap.mmap, pointers: bytes, base: int) -> bool:
    """Whether each pointer leads to an object of a whole heap that holds as much as it says."""
    return all(
        length == 0
        or (
            raw[base + address : base + address + 5] == _START[:5]
            and length <= _objects(raw, base + address).get(index, -1)
        )
        for length, address, index in _POINTER.iter_unpack(pointers)
    )


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
    return bool(_objects(data, start))


def _objects(data: mmap.mmap, start: int) -> dict[int, int]:
    """Sizes of the objects of a heap by their numbers; empty if they do not fit into it."""
    if start + _SMALLEST > len(data):
        return {}
    end = start + int(_SIZE.unpack_from(data, start + 8)[0])
    if not start + _SMALLEST <= end <= len(data):
        return {}
    place: int = start + _SMALLEST
    sizes: dict[int, int] = {0: 0}
    while place + _OBJECT.size <= end:
        index, _, _, size = map(int, _OBJECT.unpack_from(data, place))
        if index == 0:
            return sizes if place + size == end else {}
        sizes[index] = size
        place += _OBJECT.size + (size + 7) // 8 * 8
    return sizes if place <= end else {}
