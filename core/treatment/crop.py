"""Cropping: a rectangle of the map is kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from core.errors import TreatmentError
from core.heightmap import Entry, HeightMap, frozen
from core.treatment.extent import Extent
from core.treatment.frame import Frame, Lattice
from core.treatment.step import Step

SMALLEST = 2
"""Rows and columns that must remain: fewer have no slope."""


@dataclass(frozen=True, kw_only=True)
class Crop(Step):
    """Keep a rectangle; lengths are rounded to whole pixels.

    Parameters
    ----------
    left, top : str, default "0 px"
        Distance of the rectangle from the left and upper edge, ``"20 px"`` or a length such as ``"200 nm"``.
    width, height : str, optional
        Size of the rectangle; by default it reaches to the right and lower edge.

    Raises
    ------
    TreatmentError
        If a value is neither pixels nor a length.

    Notes
    -----
    A rectangle that reaches beyond the map is refused: the same treatment would keep unequal areas. Figures in the
    history: ``left_m``, ``top_m``, ``width_m``, ``height_m``.

    Examples
    --------
    >>> import numpy as np
    >>> scan = HeightMap(np.zeros((8, 8)), pitch=(1e-8, 1e-8))
    >>> Crop(left="20 nm", width="5 px").apply(scan).shape
    (8, 5)
    """

    do: ClassVar[str] = "crop"

    left: str = "0 px"
    top: str = "0 px"
    width: str | None = None
    height: str | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        for name in ("left", "top", "width", "height"):
            value = getattr(self, name)
            if value is not None or name in ("left", "top"):
                Extent.parse(value, name)

    def apply(self, scan: HeightMap) -> HeightMap:
        """The rectangle as a map of its own; the mask is cropped along.

        Raises
        ------
        TreatmentError
            If the rectangle reaches beyond the map or keeps fewer than 2 × 2 points.
        """
        rows = self._span("top", "height", scan, 0)
        columns = self._span("left", "width", scan, 1)
        kept = frozen(scan.z[rows, columns].copy())
        mask = None if scan.mask is None else scan.mask[rows, columns]
        dy, dx = scan.pitch
        figures = {
            "left_m": columns.start * dx,
            "top_m": rows.start * dy,
            "width_m": kept.shape[1] * dx,
            "height_m": kept.shape[0] * dy,
        }
        removed = f"all but {kept.shape[0]} × {kept.shape[1]} points"
        return scan.logged(Entry(self.parameters(), removed, figures), z=kept, mask=mask)

    def describe(self) -> str:
        """Such as ``"cropped to 2 um × 2 um at 0 px, 10 px"``: width × height, left and top."""
        return f"cropped to {self.width or 'full width'} × {self.height or 'full height'} at {self.left}, {self.top}"

    def frame(self, lattice: Lattice) -> Frame:
        """The rectangle without its heights."""
        rows, columns = self._span("top", "height", lattice, 0), self._span("left", "width", lattice, 1)
        return Frame((rows.stop - rows.start, columns.stop - columns.start), lattice.pitch)

    def _span(self, start: str, length: str, scan: Lattice, axis: int) -> slice:
        points, pitch = scan.shape[axis], scan.pitch[axis]
        begin = round(Extent.parse(getattr(self, start), start).pixels(pitch))
        wanted = getattr(self, length)
        end = points if wanted is None else begin + round(Extent.parse(wanted, length).pixels(pitch))
        if end > points:
            raise TreatmentError(
                f"The crop reaches to point {end}, the map has {points}", fix=f"Make “{start}” or “{length}” smaller."
            )
        if end - begin < SMALLEST:
            raise TreatmentError(
                f"The crop keeps {max(0, end - begin)} of {points} {('rows', 'columns')[axis]}; at least {SMALLEST} "
                "must remain",
                fix=f"Make “{start}” smaller or “{length}” larger.",
            )
        return slice(begin, end)
