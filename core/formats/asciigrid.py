"""ASCII grid of geographic systems (ESRI): a few keywords, then heights row by row from the top.

The format states no units. Its general practice is metres for both cell size and heights, and that is what is taken;
the map says so under ``assumed``.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from core.errors import DamagedFile
from core.formats.channel import RawChannel, check_is_map
from core.formats.guard import check_points
from core.formats.table import text_of
from core.heightmap import FloatArray

NAME = "ascii grid"
SUFFIXES = (".asc", ".grd")
WRITES = ()

_KEYS = frozenset({
    "ncols", "nrows", "xllcorner", "yllcorner", "xllcenter", "yllcenter", "cellsize", "dx", "dy", "nodata_value",
})  # fmt: skip


def sniff(head: bytes, _path: Path) -> bool:
    """Whether the text starts with one of the two keywords for its shape."""
    return head.lstrip(b"\xef\xbb\xbf \t\r\n").lower().startswith((b"ncols", b"nrows"))


def read(path: Path) -> list[RawChannel]:
    """The one channel of an ASCII grid, in metres.

    Raises
    ------
    DamagedFile
        If a keyword is missing or the number of heights is not that of the keywords.
    """
    lines = text_of(path).split("\n")
    header, start = _header(lines, path)
    rows, columns = (int(_needed(header, key, path)) for key in ("nrows", "ncols"))
    points = check_points(rows, columns, str(path))
    check_is_map((rows, columns), str(path))
    dx = header["dx"] if "dx" in header else _needed(header, "cellsize", path)
    dy = header.get("dy", dx)
    heights = _heights(lines[start:], points, path).reshape(rows, columns)
    missing = header.get("nodata_value", -9999.0)  # the value the format falls back on
    heights[heights == missing] = np.nan
    corner = {key: str(header[key]) for key in sorted(header) if key.startswith(("xll", "yll"))}
    note = {"assumed": "cell size and heights in metres, as is general practice for this format"}
    return [RawChannel("height", heights, pitch=(dy, dx), unit="m", metadata=corner | note)]


def _header(lines: list[str], path: Path) -> tuple[dict[str, float], int]:
    """Keywords with their numbers, and the line where the heights begin."""
    header: dict[str, float] = {}
    for number, line in enumerate(lines):
        words = line.lstrip("\ufeff").split()
        if not words:
            continue
        if words[0].lower() not in _KEYS:
            return header, number
        try:
            header[words[0].lower()] = float(words[1])
        except (IndexError, ValueError):
            raise DamagedFile(
                f"The keyword {words[0]} has no number", where=f"{path}, line {number + 1}", fix="Export it again."
            ) from None
    return header, len(lines)


def _needed(header: dict[str, float], key: str, path: Path) -> float:
    value = header.get(key, 0.0)
    if not 0 < value < float("inf"):
        raise DamagedFile(f"The grid does not say its {key}", where=str(path), fix="Export the grid again.")
    return value


def _heights(lines: list[str], points: int, path: Path) -> FloatArray:
    """All numbers in order: lines need not end where rows do."""
    found = 0
    parts = []
    for line in lines:
        tokens = line.split()
        parts.append(np.fromiter(map(float, tokens), np.float64, len(tokens)))
        found += len(tokens)
        if found > points:
            break
    if found != points:
        more = "more than " if found > points else ""
        raise DamagedFile(
            f"The grid promises {points} heights and {more}{min(found, points)} are there",
            where=str(path),
            fix="The file may be cut short: copy or export it again.",
        )
    return np.concatenate(parts)
