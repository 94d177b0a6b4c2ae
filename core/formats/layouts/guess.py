"""A first guess at how an unknown binary file is laid out, for the form in which its user makes a layout.

Heights of a surface change little from point to point and from line to line. Read with the wrong type or byte order
they jump about; laid out with the wrong number of columns, neighbouring lines have nothing to do with each other. So
the type is the one whose numbers change least along the file, and the number of columns the distance at which the file
resembles itself most. A guess is shown as a picture and never taken without being looked at.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from core.formats.layouts.layout import Layout

LOOKED_AT = 2**20  # bytes at the end of the file that the guess rests on
TRIED = ("int16", "uint16", "int32", "float32", "float64", "uint8", "uint32", "int8")
NARROWEST, WIDEST = 16, 16_384
NEARLY = 0.9  # a shorter distance counts if the file resembles itself as well as this share of the best
JUMP = 4  # times the usual step from line to line: there a header ends
WILD = 1e30  # a float beyond, or below its inverse, is no count
MOSTLY = 0.5  # share of counts that a file of floats has at least; its header is none


@dataclass(frozen=True, slots=True)
class Guess:
    """What the file seems to be.

    Attributes
    ----------
    layout : Layout
        Type, order, place, columns and rows; the rest as by default.
    likeness : float
        How much neighbouring lines resemble each other, −1 to 1; below about 0.5 the guess is worth little.
    """

    layout: Layout
    likeness: float


def guess(path: str | Path, *, name: str = "") -> Guess | None:
    """The likeliest layout of a binary file, None if it is too short to say anything.

    Parameters
    ----------
    path : str or Path
        The file.
    name : str, optional
        Name of the layout; that of the file's suffix by default.
    """
    path = Path(path)
    size = path.stat().st_size
    with path.open("rb") as file:
        file.seek(max(0, size - LOOKED_AT))
        tail = file.read(LOOKED_AT)
    tried = [found for kind in TRIED for order in ("little", "big") if (found := _tried(tail, kind, order)) is not None]
    if not tried:
        return None
    _, likeness, kind, order, columns = max(tried, key=lambda one: one[0])
    item = np.dtype(kind).itemsize
    rows = _rows(path, np.dtype(kind).newbyteorder("<" if order == "little" else ">"), columns)
    layout = Layout(
        name=name or (path.suffix.lstrip(".") or path.stem),
        files=(f"*{path.suffix}",) if path.suffix else (),
        type=kind,
        order=order,
        at=size - rows * columns * item,
        columns=columns,
        rows=rows,
    )
    return Guess(layout, likeness)


def _tried(tail: bytes, kind: str, order: str) -> tuple[float, float, str, str, int] | None:
    """How well the file reads as numbers of this type: merit, likeness of lines, type, order, columns."""
    dtype = np.dtype(kind).newbyteorder("<" if order == "little" else ">")
    if dtype.itemsize == 1 and order == "big":
        return None
    count = len(tail) // dtype.itemsize
    if count < 3 * NARROWEST:
        return None
    with np.errstate(invalid="ignore"):
        values = np.frombuffer(tail, dtype, count, offset=len(tail) - count * dtype.itemsize).astype(np.float64)
    if dtype.kind == "f" and not _sane(values):
        return None
    steps = _steps(values)
    if steps is None:
        return None
    columns, likeness = _columns(steps)
    return likeness - _roughness(steps), likeness, kind, order, columns


def _sane(values: NDArray[Any]) -> bool:
    """Whether floats look like counts: finite and of sizes that belong together."""
    with np.errstate(invalid="ignore"):
        plain = np.abs(values) < WILD
    return float(plain.mean()) > MOSTLY and float((np.abs(values[plain]) > 1 / WILD).mean()) > MOSTLY


def _steps(values: NDArray[Any]) -> NDArray[np.float64] | None:
    """The numbers less their median, cut to six robust deviations; None if nothing varies."""
    with np.errstate(invalid="ignore"):
        wild = ~(np.abs(values) < WILD)
    middle = float(np.median(values[~wild])) if not wild.all() else 0.0
    centred = np.where(wild, middle, values) - middle
    spread = 1.4826 * float(np.median(np.abs(centred)))
    if not (math.isfinite(spread) and spread > 0):
        spread = float(centred.std())
    if not (math.isfinite(spread) and spread > 0):
        return None
    cut: NDArray[np.float64] = np.clip(centred / spread, -6, 6)
    return cut


def _roughness(series: NDArray[np.float64]) -> float:
    """How much a number differs from the next, against how much any two do: 0 to about 1.

    Numbers read two at a time as one are as like themselves from line to line as those read rightly, but make longer
    steps; numbers read in halves jump from every one to the next.
    """
    half = len(series) // 2
    return float(np.abs(np.diff(series)).mean() / max(np.abs(series[:half] - series[-half:]).mean(), 1e-300))


def _columns(series: NDArray[np.float64]) -> tuple[int, float]:
    """The distance at which the series resembles itself most, and how much; the shortest of nearly equal ones."""
    from scipy.fft import irfft, next_fast_len, rfft

    widest = min(WIDEST, len(series) // 2 - 2)
    # What changes slowly along the whole file resembles itself at every distance: only changes from point to point, and
    # from each to its third neighbour, tell where a line begins again.
    detail = series[3:] - series[:-3]
    spectrum = rfft(detail, next_fast_len(len(detail) + widest))
    products = irfft(np.abs(spectrum) ** 2)[: widest + 1]
    overlap = len(detail) - np.arange(widest + 1)
    likeness = products / overlap / max(products[0] / overlap[0], 1e-300)
    rest = likeness[NARROWEST:]
    best = float(rest.max())
    column = NARROWEST + int(np.flatnonzero(rest >= min(NEARLY * best, best))[0])
    near = likeness[column - 1 : column + 2]  # the flank of a peak may be nearly as high as its top
    return column - 1 + int(np.argmax(near)), best


def _rows(path: Path, dtype: np.dtype[Any], columns: int) -> int:
    """Lines at the end of the file: a square picture if there is room for one and little else, else all but a header.

    A header is what stands before the last great jump between neighbouring lines in the first quarter of the file.
    """
    line = columns * dtype.itemsize
    size = path.stat().st_size
    most = size // line
    if columns <= most <= 1.25 * columns:
        return columns
    first = max(2, min(most, -(-most // 4) + 1, LOOKED_AT // line))
    if most < 2:
        return most
    values = np.fromfile(path, dtype, first * columns, offset=size - most * line).reshape(first, columns)
    with np.errstate(invalid="ignore", over="ignore"):
        plain = np.nan_to_num(values.astype(np.float64), posinf=WILD, neginf=-WILD)
        jumps = np.abs(np.diff(plain, axis=0)).mean(axis=1)
    high = np.flatnonzero(jumps > JUMP * np.median(jumps))
    return most - (int(high[-1]) + 1 if high.size else 0)
