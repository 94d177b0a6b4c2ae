"""Files to height maps and back. One module for each open format; the reader is chosen by what is in the file.

Examples
--------
>>> import tempfile
>>> from pathlib import Path
>>> from core.heightmap import HeightMap
>>> scan = HeightMap([[0.0, 1e-9], [2e-9, 3e-9]], pitch=(1e-8, 1e-8), name="film")
>>> with tempfile.TemporaryDirectory() as folder:
...     write(scan, Path(folder) / "film.x3p")
...     again = read(Path(folder) / "film.x3p")[0]
>>> again.name, again.source.format, bool((again.z == scan.z).all())
('film', 'X3P', True)
"""

from __future__ import annotations

import hashlib
import os
import stat
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, cast

from core.atomic import atomic
from core.errors import DamagedFile, FileProblem, QuantityError, UnknownFormat
from core.formats import asciigrid, hdf5, numpy_files, sdf, text, tiff, x3p
from core.formats.channel import RawChannel
from core.formats.convert import Wish, to_maps
from core.formats.guard import breakage
from core.formats.layouts import Layout, read_channels
from core.formats.sidecar import read_sidecar, write_sidecar
from core.heightmap import HeightMap, Source
from core.units import metres_per, parse_pixel

__all__ = ["SUFFIXES", "Format", "formats", "read", "write"]


class _Format(Protocol):
    """What a format module offers; those with suffixes in ``WRITES`` also have ``write(scan, path)``."""

    NAME: str
    SUFFIXES: tuple[str, ...]
    WRITES: tuple[str, ...]

    def sniff(self, head: bytes, path: Path) -> bool: ...

    def read(self, path: Path) -> list[RawChannel]: ...


class _Writer(Protocol):
    def write(self, scan: HeightMap, path: Path) -> None: ...


# Binary formats first, they are known by their first bytes; then text, the more particular form first.
_READERS = cast(tuple[_Format, ...], (x3p, hdf5, numpy_files, tiff, sdf, asciigrid, text))
_WRITERS = {suffix: cast(_Writer, module) for module in _READERS for suffix in module.WRITES}

SUFFIXES: tuple[str, ...] = tuple(dict.fromkeys(suffix for module in _READERS for suffix in module.SUFFIXES))
"""Suffixes, in lower case, of files that may be scans: what a dropped folder is searched for."""

_HEAD = 4096
_PICTURES = {
    b"\x89PNG\r\n\x1a\n": "a PNG picture",
    b"\xff\xd8\xff": "a JPEG picture",
    b"GIF8": "a GIF picture",
    b"BM": "a bitmap picture",
    b"%PDF": "a PDF document",
}


@dataclass(frozen=True, slots=True)
class Format:
    """One format that can be read.

    Attributes
    ----------
    name : str
        As in `Source.format`.
    suffixes : tuple of str
        How such files usually end.
    writes : tuple of str
        Suffixes that `write` understands; empty where the format is only read.
    """

    name: str
    suffixes: tuple[str, ...]
    writes: tuple[str, ...]


def formats() -> list[Format]:
    """All formats that can be read.

    >>> [form.name for form in formats() if ".npy" in form.suffixes]
    ['NumPy']
    """
    return [Format(module.NAME, module.SUFFIXES, module.WRITES) for module in _READERS]


def read(
    path: str | os.PathLike[str],
    *,
    pixel: str | float | tuple[float, float] | None = None,
    unit: str | None = None,
    channel: str | None = None,
    layouts: Sequence[Layout] = (),
) -> list[HeightMap]:
    """The height maps in a file, the main one first.

    The reader is chosen by the content of the file; the suffix only breaks ties between forms of text. A layout that a
    user made for such files is asked first. What the file
    does not say may stand in a sidecar ``FILE.toml`` beside it. `pixel`, `unit` and `channel` win over the sidecar, the
    sidecar wins over the file.

    Parameters
    ----------
    path : path
        The file. It is never written to.
    pixel : str, float or (float, float), optional
        Pixel size: text such as ``"9.8nm"`` or ``"10nmx12nm"`` (down × across), metres, or ``(dy, dx)`` in metres.
    unit : str, optional
        Unit of the heights, such as ``"nm"``.
    channel : str, optional
        The channel to take first. By default a channel that is called height or the like, else the first whose unit
        is a length, else the first whose unit is not said.
    layouts : sequence of Layout, optional
        How files of no open standard are laid out; the first that fits by name and beginning reads the file.

    Returns
    -------
    list of HeightMap
        Every channel that is heights; at least one. ``source.channels`` names all channels of the file.

    Raises
    ------
    FileProblem
        If the file is not there, is no plain file, or cannot be opened.
    UnknownFormat
        If no reader knows it.
    DamagedFile
        If it, or its sidecar, breaks the rules of its format or is cut short.
    NoHeights
        If there is no map in it: a profile, prose, colours, volts, or nothing measured.
    PixelMissing, UnitMissing
        If nobody says the pixel size or the unit.
    QuantityError
        If `pixel` or `unit` cannot be understood.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "film.csv"
    ...     _ = file.write_text("0,1,2\\n1,2,5\\n")
    ...     scan = read(file, pixel="10nm", unit="nm")[0]
    >>> scan.shape, scan.pitch, float(scan.z.max())
    ((2, 3), (1e-08, 1e-08), 5e-09)
    """
    wish = _wish(pixel, unit, channel)
    file = Path(path)
    sha256, head = _opened(file)
    layout = next((one for one in layouts if one.fits(file, head)), None)
    reader = _ByLayout(layout) if layout is not None else _reader(file, head)
    sidecar = read_sidecar(file)
    with breakage(file, f"a file of the format {reader.NAME}"):
        channels = reader.read(file)
    dialect = next((found.dialect for found in channels if found.dialect), "")
    source = Source(
        file=os.fspath(path),
        sha256=sha256,
        format=f"{reader.NAME}, {dialect}" if dialect else reader.NAME,
        channels=tuple(found.name for found in channels),
    )
    with breakage(file, f"a file of the format {reader.NAME}"):
        return to_maps(file, channels, wish, sidecar, source)


def sha256_of(path: str | os.PathLike[str]) -> str:
    """The hash of a file's bytes, as `Source.sha256` of its maps has it.

    Raises
    ------
    FileProblem
        If the file is not there, is no plain file, is empty, or cannot be opened.
    """
    return _opened(Path(path))[0]


class _ByLayout:
    """Reads one file as its user describes it."""

    NAME = "layout"

    def __init__(self, layout: Layout) -> None:
        self._layout = layout

    def read(self, path: Path) -> list[RawChannel]:
        """All channels of the file."""
        return read_channels(path, self._layout)


def write(scan: HeightMap, path: str | os.PathLike[str], *, sidecar: bool = False) -> None:
    """Write a map in the open format that the suffix names; an existing file is replaced whole.

    Heights and pitch come back to the last bit, missing points as missing. A mask and the history are not written: they
    belong to the treatment, not to the scan. ``.npy`` has no room for the pitch; a sidecar keeps it.

    Parameters
    ----------
    scan : HeightMap
        The map.
    path : path
        Where to; ``.x3p``, ``.sdf``, ``.h5``, ``.hdf5``, ``.nxs``, ``.npy``, ``.npz``, ``.tif``, ``.tiff``, ``.txt``,
        ``.csv`` or ``.tsv``.
    sidecar : bool, optional
        Whether to write ``FILE.toml`` beside it with pixel, unit and what else is known. Only when the user asks.

    Raises
    ------
    UnknownFormat
        If no writer knows the suffix.
    FileProblem
        If the file cannot be written.
    """
    file = Path(path)
    writer = _WRITERS.get(file.suffix.lower())
    if writer is None:
        known = ", ".join(_WRITERS)
        raise UnknownFormat(
            f"No format to write is called “{file.suffix}”", where=str(file), fix=f"Use one of {known}."
        )
    with atomic(file) as temporary:
        writer.write(scan, temporary)
    if sidecar:
        write_sidecar(scan, file)


def _wish(pixel: str | float | tuple[float, float] | None, unit: str | None, channel: str | None) -> Wish:
    if unit is not None:
        try:
            metres_per(unit)
        except QuantityError as error:
            raise QuantityError(error.what, where="unit of the heights", fix=error.fix) from error
    return Wish(None if pixel is None else parse_pixel(pixel), unit, channel)


def _opened(file: Path) -> tuple[str, bytes]:
    """Hash and first bytes of a plain file that is not empty."""
    try:
        _check_plain(file)
        with file.open("rb") as stream:
            head = stream.read(_HEAD)
            stream.seek(0)
            sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
    except FileNotFoundError as error:
        raise FileProblem("There is no such file", where=str(file), fix="Check name and folder.") from error
    except FileProblem:
        raise
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise FileProblem(
            f"The file cannot be opened: {reason}", where=repr(str(file)), fix="Check its name and permissions."
        ) from error
    if not head:
        raise FileProblem("The file is empty", where=str(file), fix="Copy or export it again.")
    return sha256, head


def _check_plain(file: Path) -> None:
    """Refuse folders, and pipes and devices, which may never end."""
    mode = file.stat().st_mode
    if not stat.S_ISREG(mode):
        what = "a folder" if stat.S_ISDIR(mode) else "a device or pipe"
        raise FileProblem(f"This is {what}, not a file", where=str(file), fix="Choose the scan file itself.")


def _reader(file: Path, head: bytes) -> _Format:
    for mark, what in _PICTURES.items():
        if head.startswith(mark):
            raise UnknownFormat(
                f"This is {what}: colours, not heights", where=str(file), fix="Export the height data instead."
            )
    if head.startswith(b"PK\x03\x04") and not zipfile.is_zipfile(file):
        raise DamagedFile("The archive is cut short", where=str(file), fix="Copy or export the file again.")
    with breakage(file, "a known format"):
        for reader in _READERS:
            if reader.sniff(head, file):
                return reader
    raise UnknownFormat(
        "No reader knows this file",
        where=str(file),
        fix="Export the scan in an open format: X3P, SDF, HDF5 (NeXus), TIFF, NumPy or text.",
    )
