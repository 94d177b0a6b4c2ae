"""A file is an attack until read: limits before memory is taken, and one kind of error for every way to be broken."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from core.errors import DamagedFile, FileProblem, LowreliefError

MOST_POINTS = 2**28
"""Points of the largest channel that is read: 16384 × 16384, 2 GiB as float64."""

MOST_EXPANSION = 1100
"""Bytes that one stored byte may become: deflate cannot do better than 1032."""

FREE_BYTES = 16 * 2**20
"""Below this size a fill value or a constant map may expand as it likes."""

MOST_TEXT = 2**32
"""Bytes of the longest text that is read: 16384 × 16384 points of 16 characters."""


def check_points(rows: int, columns: int, where: str) -> int:
    """Number of points of a declared shape, once it is known to be sane.

    Raises
    ------
    DamagedFile
        If a side is not positive or there are more points than `MOST_POINTS`.
    """
    if rows <= 0 or columns <= 0:
        raise DamagedFile(f"The file declares {rows} × {columns} points", where=where, fix="Export the scan again.")
    if rows * columns > MOST_POINTS:
        raise DamagedFile(
            f"The file declares {rows} × {columns} points, more than the {MOST_POINTS} that can be read",
            where=where,
            fix="Crop the scan at the instrument.",
        )
    return rows * columns


def check_present(wanted: int, present: int, where: str) -> None:
    """Refuse uncompressed data that is not all there.

    Raises
    ------
    DamagedFile
        If fewer than `wanted` bytes are `present`.
    """
    if wanted > present:
        raise DamagedFile(
            f"The file is cut short: its header promises {wanted} bytes of heights and {present} are there",
            where=where,
            fix="Copy or export the file again.",
        )


def check_expansion(wanted: int, stored: int, where: str) -> None:
    """Refuse compressed data that would grow without bound.

    Raises
    ------
    DamagedFile
        If `stored` bytes cannot honestly hold `wanted` bytes.
    """
    if wanted > FREE_BYTES and wanted > MOST_EXPANSION * stored:
        raise DamagedFile(
            f"The file promises {wanted} bytes and stores {stored}; no honest file is packed that tightly",
            where=where,
            fix="Export the scan again, without compression.",
        )


def text_size(path: Path) -> None:
    """Refuse a text too long to be a scan.

    Raises
    ------
    FileProblem
        If the file is longer than `MOST_TEXT`.
    """
    if path.stat().st_size > MOST_TEXT:
        raise FileProblem(
            "This text is too long to be read", where=str(path), fix="Export the scan in a binary format, such as X3P."
        )


@contextmanager
def breakage(path: Path, kind: str) -> Iterator[None]:
    """Turn whatever a parser throws at a broken file into a `DamagedFile` that names the file.

    Libraries meet hostile bytes with errors of every class, and new ones with each release; a list of classes would
    have holes. Errors of this package pass unchanged. Numbers beyond what a float holds become missing points without
    a word on the terminal.
    """
    try:
        with np.errstate(over="ignore", invalid="ignore"):
            yield
    except LowreliefError:
        raise
    except MemoryError as error:
        raise DamagedFile(
            "There is not enough memory to read this file",
            where=str(path),
            fix="Close other programs or crop the scan.",
        ) from error
    except Exception as error:
        reason = (str(error).strip() or type(error).__name__).splitlines()[0][:200].rstrip(".")
        raise DamagedFile(
            f"The file starts like {kind} and then breaks its rules: {reason}",
            where=str(path),
            fix="Copy or export the file again.",
        ) from error
