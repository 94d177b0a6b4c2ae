"""Small damage to valid files: the same seed gives the same bytes for ever.

Three kinds of damage, because each finds what the others cannot: bytes (flipped, overwritten by lengths that lie, cut,
doubled, spliced with another file), words (a number in a text becomes a nasty one), and the inside of archives, where
the checksums of the container are made right again so that the damage reaches the reader.
"""

from __future__ import annotations

import hashlib
import io
import random
import re
import struct
import warnings
import zipfile
import zlib
from collections.abc import Callable, Sequence

LONGEST = 2**17
"""Bytes of a mutated file: small ones are read fast, and whatever they promise beyond that is a lie."""

_NUMBER = re.compile(rb"[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?")
_WORD = re.compile(rb"[A-Za-z_]{2,20}")
_WHOLE = (
    *(2**k + d for k in (0, 7, 8, 15, 16, 24, 31, 32, 47, 53, 63, 64) for d in (-1, 0, 1)),
    -1, -2, 3, 100, 1000, 65_521, 10**6, 16_385, 2**28 + 1,
)  # fmt: skip
NASTY_NUMBERS = (
    *(str(value).encode() for value in _WHOLE),
    b"nan", b"-nan", b"inf", b"-inf", b"1e300", b"-1e300", b"1e-300", b"5e-324", b"1e309",
    b"0", b"-0.0", b"0x10", b"1_0",
    b"-1e-9", b"1,5", b"", b"9" * 400, b"1e" + b"9" * 40, "٣".encode(),
)  # fmt: skip
NASTY_WORDS = (
    b"\xff\xfe", b"\x00", "é漢".encode(), b"\xed\xb2\x80", b"../../../etc/passwd", b"C:\\x", b"=1+1",
    b"<!ENTITY a 'b'>", b"&a;",
    b"%s%n", b"null", b"true", b"{}", b"[]", b"[[[[[[[[", b'"', b"'''", b"\r", b"\n\n", b"\t",
    b"A" * 5000, b"m", b"nm", b"V", b"#",
)  # fmt: skip

Random = random.Random


def mutated(rng: Random, seeds: Sequence[bytes]) -> bytes:
    """One of the seeds, damaged in one to a few places."""
    data = rng.choice(seeds)
    if data.startswith(b"PK\x03\x04") and rng.random() < 0.75:
        return _inside_archive(rng, data)
    data = _damaged(rng, data, seeds)
    return _right_checks(data) if data.startswith(b"\x89PNG") and rng.random() < 0.9 else data


def _damaged(rng: Random, data: bytes, seeds: Sequence[bytes]) -> bytes:
    text = b"\0" not in data[:2000]
    for _ in range(1 + min(rng.getrandbits(3).bit_length(), rng.getrandbits(3).bit_length())):
        if rng.random() < 0.08:
            data = _spliced(rng, data, rng.choice(seeds))
        else:
            data = rng.choice(_ON_TEXT if text and rng.random() < 0.7 else _ON_BYTES)(rng, data)
    return data[:LONGEST]


def _place(rng: Random, data: bytes) -> int:
    """Anywhere, but half of the time near the start, where the promises stand."""
    near = min(len(data), 512) if rng.random() < 0.5 else len(data)
    return rng.randrange(near) if near else 0


def _bit(rng: Random, data: bytes) -> bytes:
    at = _place(rng, data)
    return data[:at] + bytes(byte ^ (1 << rng.randrange(8)) for byte in data[at : at + 1]) + data[at + 1 :]


def _byte(rng: Random, data: bytes) -> bytes:
    at = _place(rng, data)
    return data[:at] + bytes([rng.choice((0, 1, 2, 4, 7, 127, 128, 254, 255, rng.randrange(256)))]) + data[at + 1 :]


def _length(rng: Random, data: bytes) -> bytes:
    """A number of one to eight bytes becomes one that lies at the edge of something, or a little off what it was."""
    width, order = rng.choice((1, 2, 4, 8)), rng.choice(("<", ">"))
    at = _place(rng, data) // rng.choice((1, 2, width)) * rng.choice((1, 2, width))
    there = data[at : at + width]
    if len(there) < width:
        return data
    sign = {1: "B", 2: "H", 4: "I", 8: "Q"}[width]
    was = struct.unpack(order + sign, there)[0]
    value = rng.choice((*_WHOLE, was + 1, was - 1, was * 2, was + 8, was // 2, len(data), len(data) - at))
    return data[:at] + struct.pack(order + sign, value % 256**width) + data[at + width :]


def _cut(rng: Random, data: bytes) -> bytes:
    return data[: rng.randrange(len(data))] if data else data


def _gone(rng: Random, data: bytes) -> bytes:
    at, size = _place(rng, data), rng.choice((1, 2, 4, 8, 16, rng.randrange(1, 200)))
    return data[:at] + data[at + size :]


def _doubled(rng: Random, data: bytes) -> bytes:
    at, size = _place(rng, data), rng.choice((1, 2, 4, 8, 16, rng.randrange(1, 200)))
    return data[: at + size] + data[at : at + size] * rng.choice((1, 1, 2, 50)) + data[at + size :]


def _added(rng: Random, data: bytes) -> bytes:
    at = _place(rng, data)
    return data[:at] + rng.randbytes(rng.choice((1, 2, 4, 8, rng.randrange(1, 64)))) + data[at:]


def _blanked(rng: Random, data: bytes) -> bytes:
    at, size = _place(rng, data), rng.choice((2, 4, 8, 16, 64))
    return data[:at] + rng.choice((b"\0", b"\xff")) * size + data[at + size :]


def _moved(rng: Random, data: bytes) -> bytes:
    """Two stretches change places."""
    a, b = sorted((_place(rng, data), _place(rng, data)))
    size = min(rng.choice((4, 8, 16, 100)), b - a)
    return data[:a] + data[b : b + size] + data[a + size : b] + data[a : a + size] + data[b + size :]


def _number(rng: Random, data: bytes) -> bytes:
    return _replaced(rng, data, _NUMBER, NASTY_NUMBERS)


def _word(rng: Random, data: bytes) -> bytes:
    return _replaced(rng, data, _WORD, NASTY_WORDS)


def _other_word(rng: Random, data: bytes) -> bytes:
    """A word or number becomes another one of the same text."""
    shape = rng.choice((_NUMBER, _WORD))
    there = [match[0] for match in shape.finditer(data[:8000])]
    return _replaced(rng, data, rng.choice((_NUMBER, _WORD)), there or NASTY_WORDS)


def _line(rng: Random, data: bytes) -> bytes:
    """A line goes, comes twice, or moves."""
    lines = data.split(b"\n")
    one = lines.pop(rng.randrange(len(lines)))
    for _ in range(rng.choice((0, 1, 2))):
        lines.insert(rng.randrange(len(lines) + 1), one)
    return b"\n".join(lines)


def _replaced(rng: Random, data: bytes, shape: re.Pattern[bytes], by: Sequence[bytes]) -> bytes:
    found = list(shape.finditer(data, 0, rng.choice((400, 8000))))
    if not found:
        return data
    match = rng.choice(found)
    return data[: match.start()] + rng.choice(by) + data[match.end() :]


def _spliced(rng: Random, data: bytes, other: bytes) -> bytes:
    return data[: _place(rng, data)] + other[_place(rng, other) :]


_ON_BYTES: tuple[Callable[[Random, bytes], bytes], ...] = (
    _bit, _bit, _byte, _byte, _length, _length, _length, _cut, _gone, _doubled, _added, _blanked, _moved,
)  # fmt: skip
_ON_TEXT: tuple[Callable[[Random, bytes], bytes], ...] = (_number, _number, _word, _word, _other_word, _line, _doubled)


def _inside_archive(rng: Random, data: bytes) -> bytes:
    """One member damaged, and the archive packed anew: its own checksums agree again."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        members = [(member.filename, archive.read(member)) for member in archive.infolist()]
    at = rng.randrange(len(members))
    name, content = members[at]
    change = rng.random()
    if change < 0.85:
        content = _damaged(rng, content, [content])
    elif change < 0.95:
        name = _damaged(rng, name.encode(), [name.encode()]).decode("latin-1")[:200] or "x"
    else:
        members.append((name, content))
    members[at] = (name, content)
    if rng.random() < 0.7:
        members = _right_md5(members)
    out = io.BytesIO()
    packed = zipfile.ZipFile(out, "w", rng.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)))
    with warnings.catch_warnings(action="ignore"), packed as archive:  # two members of one name are meant
        for name, content in members:
            archive.writestr(zipfile.ZipInfo(name.replace("\0", "0")), content)
    return out.getvalue()


def _right_md5(members: list[tuple[str, bytes]]) -> list[tuple[str, bytes]]:
    """The description of an X3P with the checksums that its damaged members have."""
    told = dict(members)
    main = told.get("main.xml")
    if main is None:
        return members
    for name, tag in (("bindata/data.bin", b"MD5ChecksumPointData"), ("bindata/valid.bin", b"MD5ChecksumValidPoints")):
        if name in told:
            digest = hashlib.md5(told[name], usedforsecurity=False).hexdigest().encode()
            main = re.sub(b"<" + tag + b">[^<]*<", b"<" + tag + b">" + digest + b"<", main)
    told["main.xml"] = main
    told["md5checksum.hex"] = hashlib.md5(main, usedforsecurity=False).hexdigest().encode() + b" *main.xml\n"
    return list(told.items())


def _right_checks(data: bytes) -> bytes:
    """A PNG whose chunks have the checksums that their bytes have."""
    out, at = [data[:8]], 8
    while at + 12 <= len(data):
        size = struct.unpack_from(">I", data, at)[0]
        if at + 12 + size > len(data):
            break
        body = data[at + 4 : at + 8 + size]
        out.append(data[at : at + 4] + body + struct.pack(">I", zlib.crc32(body)))
        at += 12 + size
    return b"".join(out) + data[at:]
