"""Levelling: the least-squares plane or polynomial surface is taken off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from core.heightmap import Entry, HeightMap, frozen
from core.polynomials.fit import fit_polynomial
from core.treatment import check
from core.treatment.corners import Corners
from core.treatment.extent import Extent
from core.treatment.step import Step

THREE_POINTS = "three-points"
FORMS = ("plane", "polynomial", THREE_POINTS)
ABOUT = "5 px"

DEGREES = range(1, 6)
"""Degrees that are offered. Above, a fit follows the texture itself."""


@dataclass(frozen=True, kw_only=True)
class Level(Step):
    """Take off the surface of best fit; what remains has mean 0 over the points that count.

    Parameters
    ----------
    form : {"plane", "polynomial", "three-points"}, default "plane"
        The surface; of three points the plane that goes through them.
    degree : int, optional
        Highest total degree of a polynomial, 1 to 5: terms ``x^j y^i`` with i + j ≤ degree. Not for a plane.
    points : str, optional
        Where the three points lie, each as a share of the width and of the height from the upper left corner:
        ``"10% 10%, 90% 10%, 50% 90%"``. Only for three points, and needed there.
    about : str, default "5 px"
        Side of the square about each point whose median is its height. Only for three points.

    Raises
    ------
    TreatmentError
        If a value is not one of these.

    Notes
    -----
    Least squares over the points that are measured and unmasked; masked points are levelled along. Figures in the
    history: ``removed_rms_m`` (RMS of the surface about its mean, m) and, for a plane, ``slope_x`` and ``slope_y``
    (metres per metre, along the row and from row to row).

    Examples
    --------
    >>> tilted = HeightMap([[0.0, 1e-9], [2e-9, 3e-9]], pitch=(1e-8, 1e-8))
    >>> levelled = Level(form="plane").apply(tilted)
    >>> bool(abs(levelled.z).max() < 1e-24), levelled.history[0].removed
    (True, 'plane, slope 0.1 along and 0.2 across the rows')
    """

    do: ClassVar[str] = "level"

    form: str = "plane"
    degree: int | None = None
    points: str | None = None
    about: str | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        check.one_of(self.do, "form", self.form, FORMS)
        if self.form == "polynomial":
            check.whole(self.do, "degree", self.degree, DEGREES)
        else:
            check.unused(self.do, "degree", self.degree, 'form = "polynomial"')
        if self.form == THREE_POINTS:
            Corners.parse(self.points)
            Extent.parse(self.about or ABOUT, "about")
        else:
            check.unused(self.do, "points", self.points, f'form = "{THREE_POINTS}"')
            check.unused(self.do, "about", self.about, f'form = "{THREE_POINTS}"')

    def apply(self, scan: HeightMap) -> HeightMap:
        """The map without its surface of best fit.

        Raises
        ------
        TreatmentError
            If the points that count do not determine the surface.
        """
        if self.form == THREE_POINTS:
            return self._through_points(scan)
        fit = fit_polynomial(scan, self.degree or 1)
        figures = {"removed_rms_m": fit.rms}
        removed = f"polynomial of degree {self.degree}"
        if self.form == "plane":
            slope_y, slope_x = fit.tilt
            figures |= {"slope_x": slope_x, "slope_y": slope_y}
            removed = f"plane, slope {slope_x:.3g} along and {slope_y:.3g} across the rows"
        return scan.logged(Entry(self.parameters(), removed, figures), z=fit.residual)

    def describe(self) -> str:
        """Such as ``"plane levelled"`` or ``"polynomial degree 3 levelled"``."""
        if self.form == "polynomial":
            return f"polynomial degree {self.degree} levelled"
        return "plane levelled" if self.form == "plane" else "levelled by three points"

    def _through_points(self, scan: HeightMap) -> HeightMap:
        """The map less the plane through its three points; their mean height becomes 0."""
        plane, (slope_y, slope_x) = Corners.parse(self.points).plane(scan, Extent.parse(self.about or ABOUT, "about"))
        figures = {
            "removed_rms_m": float(np.std(plane[scan.used])),
            "slope_x": slope_x,
            "slope_y": slope_y,
        }
        removed = f"plane through three points, slope {slope_x:.3g} along and {slope_y:.3g} across the rows"
        return scan.logged(Entry(self.parameters(), removed, figures), z=frozen(scan.z - plane))
