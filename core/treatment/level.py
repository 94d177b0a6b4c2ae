"""Levelling: the least-squares plane or polynomial surface is taken off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from core.heightmap import Entry, HeightMap
from core.polynomials.fit import fit_polynomial
from core.treatment import check
from core.treatment.step import Step

DEGREES = range(1, 6)
"""Degrees that are offered. Above, a fit follows the texture itself."""


@dataclass(frozen=True, kw_only=True)
class Level(Step):
    """Take off the surface of best fit; what remains has mean 0 over the points that count.

    Parameters
    ----------
    form : {"plane", "polynomial"}, default "plane"
        The surface.
    degree : int, optional
        Highest total degree of a polynomial, 1 to 5: terms ``x^j y^i`` with i + j ≤ degree. Not for a plane.

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

    def __post_init__(self) -> None:
        super().__post_init__()
        check.one_of(self.do, "form", self.form, ("plane", "polynomial"))
        if self.form == "plane":
            check.unused(self.do, "degree", self.degree, 'form = "polynomial"')
        else:
            check.whole(self.do, "degree", self.degree, DEGREES)

    def apply(self, scan: HeightMap) -> HeightMap:
        """The map without its surface of best fit.

        Raises
        ------
        TreatmentError
            If the points that count do not determine the surface.
        """
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
        return "plane levelled" if self.form == "plane" else f"polynomial degree {self.degree} levelled"
