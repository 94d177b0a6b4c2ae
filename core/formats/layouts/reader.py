"""A file read by a layout. Sizes are checked against the bytes that are there before any memory is taken."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from core.errors import DamagedFile
from core.formats.channel import RawChannel
from core.formats.guard import check_points, check_present, text_size
from core.formats.layouts.header import MOST_HEADER, After, Header, Said
from core.formats.layouts.layout import ChannelLayout, Layout
from core.formats.metadata import tolerant
from core.units import is_length_unit

_BETWEEN = re.compile(r"[\s;|]+")


def read_channels(path: str | Path, layout: Layout) -> list[RawChannel]:
    """All channels of a file, as its layout says.

    Raises
    ------
    DamagedFile
        If the header does not say what the layout looks for, or the file is too short for it.
    """
    path = Path(path)
    with path.open("rb") as file:
        header = Header(file.read(MOST_HEADER), str(path))
    block = _Block(path, layout, header)
    first = ChannelLayout(name=layout.channel, at=layout.at, direction=layout.direction, mirrored=layout.mirrored)
    found, end = [], 0
    for number, channel in enumerate((first, *layout.channels)):
        start = end if number and channel.at == "next" else block.start(channel.at, place=layout.place and number == 0)
        counts, end = block.counts(start)
        found.append(_channel(counts, channel, layout, header))
    return found


def preview(path: str | Path, layout: Layout) -> NDArray[np.float64]:
    """The first channel as it will lie in the picture, in the layout's unit: for the form in which one is made."""
    raw = read_channels(path, layout)[0]
    return np.asarray(raw.z, dtype=np.float64)


class _Block:
    """The numbers of one channel, where they stand and how many there are."""

    def __init__(self, path: Path, layout: Layout, header: Header) -> None:
        self._path, self._layout, self._header = path, layout, header
        self._present = path.stat().st_size
        self._columns = header.whole(layout.columns, "columns")

    def start(self, at: Said, *, place: bool) -> int:
        """The byte at which the numbers begin."""
        if at == "end":
            rows = self._header.whole(self._layout.rows, "rows")
            size = check_points(rows, self._columns, str(self._path)) * self._layout.dtype.itemsize
            check_present(size, self._present, str(self._path))
            return self._present - size
        if place and isinstance(at, After):
            return self._header.place_after(at, "the place of the heights")
        return self._header.whole(at, "at")

    def counts(self, start: int) -> tuple[NDArray[Any], int]:
        """The numbers as lines in the order of the file, and the byte behind them."""
        if self._layout.type == "text":
            return self._text(start), self._present
        size = self._layout.dtype.itemsize
        rows = self._rows((self._present - start) // size)
        wanted = check_points(rows, self._columns, str(self._path))
        check_present(start + wanted * size, self._present, str(self._path))
        counts = np.fromfile(self._path, self._layout.dtype, wanted, offset=start)
        return counts.reshape(rows, self._columns), start + wanted * size

    def _text(self, start: int) -> NDArray[np.float64]:
        text_size(self._path)
        text = self._path.read_bytes()[start:].decode("latin-1")
        text = text.replace(",", "." if self._layout.decimal == "," else " ")
        words = _BETWEEN.split(text.strip())
        rows = self._rows(len(words))
        wanted = check_points(rows, self._columns, str(self._path))
        if wanted > len(words):
            raise DamagedFile(
                f"{wanted} numbers are wanted and {len(words)} are there",
                where=str(self._path),
                fix="Check columns and rows in the layout.",
            )
        return np.array([_number(word) for word in words[:wanted]]).reshape(rows, self._columns)

    def _rows(self, there: int) -> int:
        if self._layout.rows == "rest":
            return max(0, there) // max(1, self._columns)
        return self._header.whole(self._layout.rows, "rows")


def _number(word: str) -> float:
    try:
        return float(word)
    except ValueError:
        return math.nan  # a word for missing


def _channel(counts: NDArray[Any], channel: ChannelLayout, layout: Layout, header: Header) -> RawChannel:
    gain_said = layout.gain if channel.gain is None else channel.gain
    zero_said = layout.zero if channel.zero is None else channel.zero
    gain, behind = header.number(gain_said, "gain"), _unit_behind(gain_said, header)
    heights = (counts.astype(np.float64) - header.number(zero_said, "zero")) * gain
    for value in layout.missing:
        heights[counts == value] = np.nan
    heights[~np.isfinite(heights)] = np.nan
    told = {key: header.word(value, key) for key, value in layout.metadata.items()}
    if channel.direction:
        told["direction"] = channel.direction
    picture = _as_shown(heights, layout, mirrored=channel.mirrored)
    return RawChannel(
        channel.name,
        picture,
        pitch=_pitch(picture.shape, layout, header),
        unit=channel.unit or layout.unit or behind or None,
        metadata=tolerant(told.items()),
        dialect=layout.name,
    )


def _unit_behind(value: Said, header: Header) -> str:
    """The unit that the header says behind the gain, if it is one of length: “0.12 nm/count” means nm."""
    if not isinstance(value, After):
        return ""
    _, behind = header._number(value, "gain")
    unit = behind.partition("/")[0]
    return unit if is_length_unit(unit) else value.unit


def _as_shown(heights: NDArray[np.float64], layout: Layout, *, mirrored: bool) -> NDArray[np.float64]:
    """Row 0 at the top, columns from left to right."""
    picture = heights.T if layout.along == "columns" else heights
    if layout.first == "bottom":
        picture = picture[::-1]
    return np.ascontiguousarray(picture[:, ::-1] if mirrored else picture)


def _pitch(shape: tuple[int, ...], layout: Layout, header: Header) -> tuple[float, float] | None:
    """Distance of neighbouring points, from steps or from the size of the scan."""
    rows, columns = shape
    across = _length(layout.across, "across", header)
    if across is None and layout.width is not None:
        across = header.length(layout.width, "width") / columns
    down = _length(layout.down, "down", header)
    if down is None and layout.height is not None:
        down = header.length(layout.height, "height") / rows
    if across is None:
        across = down
    if across is None or not across > 0:
        return None
    return (down if down is not None and down > 0 else across), across


def _length(value: Said | None, what: str, header: Header) -> float | None:
    return None if value is None else header.length(value, what)
