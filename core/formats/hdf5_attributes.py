"""Where the bytes of an attribute stand in an HDF5 file, so that they can be looked at before the library follows them.

Read are object headers of version 1, which have no checksums (HDF5 file format specification 3.0, sections IV.A.1.a and
IV.A.2.m). Those of version 2 have them, and the library refuses what was damaged by chance.
"""

from __future__ import annotations

import mmap
import struct
from collections.abc import Iterator

_HEADER = struct.Struct("<BxH4xI4x")  # version, number of messages, size of the first block
_MESSAGE = struct.Struct("<HHB3x")  # type, size, flags
_BLOCK = struct.Struct("<QQ")
_ATTRIBUTE = struct.Struct("<BBHHH")  # version, flags, sizes of name, type and space
_IS_ATTRIBUTE, _GOES_ON = 0x0C, 0x10
_MOST_MESSAGES = 2**16


def has_plain_header(data: mmap.mmap, start: int) -> bool:
    """Whether an object header of version 1 starts at this byte."""
    return data[start : start + 1] == b"\x01"


def bytes_of(data: mmap.mmap, start: int, base: int, name: bytes) -> bytes | None:
    """The value of an attribute as it stands in the file; None if the header has none of this name.

    Parameters
    ----------
    data : mmap
        The file.
    start : int
        Byte at which the object's header starts.
    base : int
        Byte to which addresses in the file refer.
    name : bytes
        The attribute, UTF-8.
    """
    for version, body in _attributes(data, start, base):
        if len(body) < _ATTRIBUTE.size:
            continue
        _, _, *sizes = _ATTRIBUTE.unpack_from(body)
        place = _ATTRIBUTE.size + (version == 3)  # version 3 also says how the name is encoded
        if body[place : place + sizes[0]].rstrip(b"\0") == name:
            padded = [(size + 7) // 8 * 8 if version == 1 else size for size in sizes]
            return body[place + sum(padded) :]
    return None


def _attributes(data: mmap.mmap, start: int, base: int) -> Iterator[tuple[int, bytes]]:
    """Version and body of every attribute message of an object header."""
    _, _, size = _HEADER.unpack(data[start : start + _HEADER.size])
    blocks = [(start + _HEADER.size, size)]
    count = 0
    while blocks:
        place, left = blocks.pop(0)
        end = min(place + left, len(data))
        while place + _MESSAGE.size <= end and count < _MOST_MESSAGES:
            count += 1
            kind, length, _ = _MESSAGE.unpack_from(data, place)
            body = data[place + _MESSAGE.size : min(place + _MESSAGE.size + length, end)]
            place += _MESSAGE.size + length
            if kind == _IS_ATTRIBUTE and body:
                yield body[0], body
            elif kind == _GOES_ON and len(body) >= _BLOCK.size:
                address, more = _BLOCK.unpack_from(body)
                blocks.append((base + address, more))
