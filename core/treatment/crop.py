"""Cropping: a rectangle of the map is kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from core.errors import TreatmentError
from core.heightmap import Entry, HeightMap, frozen
from core.treatment import check
from core.treatment.extent import Extent, exact_length
from core.treatment.frame import Frame, Lattice
from core.treatment.step import Step

COMMON, CENTRE = "common", "centre"

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
    at : {"centre"}, optional
        The rectangle lies in the middle of the map, as far as whole pixels allow, instead of at `left` and `top`.
    to : {"common"}, optional
        The common area: the smallest height and width of the scans on the bench, as they come to this step, in the
        middle of each. Settled on the bench, where it becomes `width` and `height`.

    Raises
    ------
    TreatmentError
        If a value is neither pixels nor a length, or two of them contradict each other.

    Notes
    -----
    A rectangle that reaches beyond the map is refused: the same treatment would keep unequal areas. A common area
    belongs behind the band: there the mean square in a window is on average that of the whole map, and what the crop
    cures is readings that grow with the area, such as Sz. Without a band, roughness in windows of one size is read from
    the window curve, which takes the mean over all windows of the larger scan. Figures in the history: ``left_m``,
    ``top_m``, ``width_m``, ``height_m``.

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
    at: str | None = None
    to: str | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.to is not None:
            check.one_of(self.do, "to", self.to, (COMMON,))
            check.unused(self.do, "width", self.width, "a rectangle of your own")
            check.unused(self.do, "height", self.height, "a rectangle of your own")
        if self.at is not None:
            check.one_of(self.do, "at", self.at, (CENTRE,))
        if (self.at or self.to) and (self.left, self.top) != ("0 px", "0 px"):
            raise TreatmentError(
                "A crop in the middle of the map has no “left” and “top”",
                fix="Leave them out, or leave “at” and “to” out.",
            )
        for name in ("left", "top", "width", "height"):
            value = getattr(self, name)
            if value is not None or name in ("left", "top"):
                Extent.parse(value, name)

    def resolve(self, scans: Sequence[Lattice]) -> Self:
        """The step with ``to = "common"`` replaced by the width and height that all these scans have.

        Parameters
        ----------
        scans : sequence of HeightMap or Frame
            All scans on the bench, as they come to this step. Without any, the step stays as it is.
        """
        if self.to is None or not scans:
            return self
        high, wide = (min(scan.size[axis] for scan in scans) for axis in (0, 1))
        return replace(self, to=None, at=CENTRE, width=exact_length(wide), height=exact_length(high))

    def apply(self, scan: HeightMap) -> HeightMap:
        """The rectangle as a map of its own; the mask is cropped along.

        Raises
        ------
        TreatmentError
            If the rectangle reaches beyond the map or keeps fewer than 2 × 2 points.
        """
        step = self.resolve([scan])
        rows = step._span("top", "height", scan, 0)
        columns = step._span("left", "width", scan, 1)
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
        return scan.logged(Entry(step.parameters(), removed, figures), z=kept, mask=mask)

    def describe(self) -> str:
        """Such as ``"cropped to 2 um × 2 um at 0 px, 10 px"``: width × height, left and top."""
        if self.to is not None:
            return "cropped to the common area"
        where = "in the middle" if self.at is not None else f"at {self.left}, {self.top}"
        return f"cropped to {self.width or 'full width'} × {self.height or 'full height'} {where}"

    def frame(self, lattice: Lattice) -> Frame:
        """The rectangle without its heights."""
        step = self.resolve([lattice])
        rows, columns = step._span("top", "height", lattice, 0), step._span("left", "width", lattice, 1)
        return Frame((rows.stop - rows.start, columns.stop - columns.start), lattice.pitch)

    def _span(self, start: str, length: str, scan: Lattice, axis: int) -> slice:
        points, pitch = scan.shape[axis], scan.pitch[axis]
        begin = round(Extent.parse(getattr(self, start), start).pixels(pitch))
        wanted = getattr(self, length)
        kept = points - begin if wanted is None else round(Extent.parse(wanted, length).pixels(pitch))
        if self.at == CENTRE:
            begin = max(0, (points - kept) // 2)
        end = begin + kept
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
