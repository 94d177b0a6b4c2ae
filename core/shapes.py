"""Masks drawn by hand: a rectangle, a polygon or a brush stroke on one scan, in metres from the centre of its map."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, Self, get_args

import numpy as np

from core.errors import MapError
from core.heightmap import BoolArray, HeightMap
from core.treatment.frame import Lattice
from core.units import format_length

ShapeKind = Literal["rectangle", "polygon", "brush"]
KINDS: tuple[str, ...] = get_args(ShapeKind)
MOST_CORNERS = 100_000

Point = tuple[float, float]
"""x (right) and y (down) in metres, from the centre of the map."""

_FEWEST = {"rectangle": 2, "polygon": 3, "brush": 1}


@dataclass(frozen=True, slots=True)
class Shape:
    """One drawn shape: what lies in it is left out of fits and readings.

    Parameters
    ----------
    kind : {"rectangle", "polygon", "brush"}
        A rectangle by two opposite corners, a polygon by its corners in order, a stroke by its places in order.
    points : tuple of (float, float)
        Metres right of and below the centre of the map as recorded.
    width : float, default 0.0
        Of the brush, metres; a stroke has round ends. No other shape has a width.

    Raises
    ------
    MapError
        If the kind is unknown, there are too few points, one is not finite, or a brush has no width.

    Examples
    --------
    >>> flat = HeightMap([[0.0] * 4] * 4, (1e-6, 1e-6))
    >>> Shape("rectangle", ((-2e-6, -2e-6), (0.0, -1e-6))).covers(flat).astype(int).tolist()[0]
    [1, 1, 0, 0]
    >>> Shape("brush", ((0.5e-6, 0.5e-6),), width=1e-6).covers(flat).nonzero()
    (array([2]), array([2]))
    """

    kind: ShapeKind
    points: tuple[Point, ...]
    width: float = 0.0

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise MapError(f"“{self.kind}” is no shape", fix=f"The shapes are: {', '.join(KINDS)}.")
        if not _FEWEST[self.kind] <= len(self.points) <= MOST_CORNERS:
            raise MapError(f"A {self.kind} cannot have {len(self.points)} points")
        if self.kind == "rectangle" and len(self.points) != 2:
            raise MapError("A rectangle has two opposite corners")
        if not all(math.isfinite(value) for point in self.points for value in point):
            raise MapError("A shape has places that are no numbers")
        if (self.width > 0) != (self.kind == "brush") or not math.isfinite(self.width):
            raise MapError("A brush has a width, no other shape has")

    def covers(self, scan: Lattice) -> BoolArray:
        """True at every point of the map whose middle lies in the shape; what lies beyond the map is left off.

        Parameters
        ----------
        scan : HeightMap or Frame
            Shape and pitch are looked at.

        Returns
        -------
        ndarray of bool, shape (ny, nx)
        """
        (ny, nx), (dy, dx) = scan.shape, scan.pitch
        out = np.zeros((ny, nx), bool)
        columns = np.array([x / dx + (nx - 1) / 2 for x, _ in self.points])
        rows = np.array([y / dy + (ny - 1) / 2 for _, y in self.points])
        if self.kind == "rectangle":
            out[_between(rows, ny), _between(columns, nx)] = True
        elif self.kind == "polygon":
            from skimage.draw import polygon

            inside = polygon(rows, columns, shape=(ny, nx))  # type: ignore[no-untyped-call]
            out[inside] = True
        else:
            self._stroke(out, rows * dy, columns * dx, (dy, dx))
        return out

    def describe(self) -> str:
        """The shape in a few words: ``"rectangle 2 µm × 1 µm"``, width × height; strokes by the brush."""
        wide, high = (max(ends) - min(ends) for ends in zip(*self.points, strict=True))
        if self.kind == "brush":
            return f"brush stroke, {format_length(self.width)} wide"
        return f"{self.kind} {format_length(wide)} × {format_length(high)}"

    def to_plain(self) -> dict[str, Any]:
        """The shape as a plain table, ready for JSON."""
        told: dict[str, Any] = {"kind": self.kind, "points": [list(point) for point in self.points]}
        return told | {"width": self.width} if self.width else told

    @classmethod
    def from_plain(cls, told: Mapping[str, Any]) -> Self:
        """The shape from a plain table.

        Raises
        ------
        MapError
            If it is none.
        """
        try:
            points = tuple((float(x), float(y)) for x, y in told["points"])
            return cls(told["kind"], points, float(told.get("width", 0.0)))
        except (KeyError, TypeError, ValueError) as error:
            raise MapError(f"This is no shape: {error}") from error

    def _stroke(self, out: BoolArray, y: np.ndarray[Any, Any], x: np.ndarray[Any, Any], pitch: Point) -> None:
        """Points not farther from the stroke than half a brush; piece by piece, in the box about each piece only."""
        half = self.width / 2
        (dy, dx), (ny, nx) = pitch, out.shape
        ends = zip([y[0], *y[:-1]], [x[0], *x[:-1]], y, x, strict=True)
        for y0, x0, y1, x1 in ends:
            top, bottom = max(0, math.floor((min(y0, y1) - half) / dy)), math.ceil((max(y0, y1) + half) / dy) + 1
            left, right = max(0, math.floor((min(x0, x1) - half) / dx)), math.ceil((max(x0, x1) + half) / dx) + 1
            rows = np.arange(top, min(bottom, ny))[:, np.newaxis] * dy - y0
            columns = np.arange(left, min(right, nx))[np.newaxis, :] * dx - x0
            length = (y1 - y0) ** 2 + (x1 - x0) ** 2
            along = np.clip((rows * (y1 - y0) + columns * (x1 - x0)) / length, 0, 1) if length else np.zeros(1)
            near = (rows - along * (y1 - y0)) ** 2 + (columns - along * (x1 - x0)) ** 2 <= half**2 * (1 + 1e-12)
            if near.size:
                out[top : top + near.shape[0], left : left + near.shape[1]] |= near


def drawn(scan: Lattice, shapes: Iterable[Shape]) -> BoolArray:
    """True in any of the shapes; shape (ny, nx)."""
    out = np.zeros(scan.shape, bool)
    for shape in shapes:
        out |= shape.covers(scan)
    return out


def masked(scan: HeightMap, shapes: Iterable[Shape], own: BoolArray | None) -> HeightMap:
    """The map with what was drawn left out beside what its file leaves out. No height is touched.

    Parameters
    ----------
    scan : HeightMap
        The map as recorded.
    shapes : iterable of Shape
        What was drawn on it.
    own : ndarray of bool, or None
        The mask that the file brought.

    Raises
    ------
    MapError
        If no point would be left.
    """
    mask = drawn(scan, shapes)
    if own is not None:
        mask |= own
    left_out = scan.with_(mask=mask)
    if left_out.masked + left_out.missing == left_out.z.size:
        raise MapError("The masks would leave no point", where=scan.name, fix="Draw smaller ones.")
    return left_out


def _between(ends: np.ndarray[Any, Any], count: int) -> slice:
    """The points whose middle lies between two places given in points."""
    first, last = math.ceil(float(ends.min()) - 1e-9), math.floor(float(ends.max()) + 1e-9)
    return slice(max(0, first), max(0, min(count, last + 1)))
