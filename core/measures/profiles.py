"""Profiles out of a map: its rows, its columns, or a section along any line; and the form taken off them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from core.errors import MapError
from core.heightmap import FloatArray, HeightMap, frozen
from core.polynomials.basis import orthonormal
from core.sections import Point, section


@dataclass(frozen=True, slots=True, eq=False)
class Profiles:
    """Heights along parallel lines.

    Parameters
    ----------
    heights : array_like, shape (m, n) or (n,)
        Metres, m profiles of n points; not-finite values are missing.
    spacing : float
        Distance of neighbouring points along a profile, metres.

    Raises
    ------
    MapError
        If heights or spacing do not make profiles.

    Examples
    --------
    >>> scan = HeightMap([[0.0, 1e-9, 2e-9], [3e-9, 4e-9, np.nan]], pitch=(2e-8, 1e-8))
    >>> Profiles.rows(scan).heights.shape, Profiles.columns(scan).heights.shape, Profiles.columns(scan).spacing
    ((2, 3), (3, 2), 2e-08)
    """

    heights: FloatArray
    spacing: float

    def __init__(self, heights: ArrayLike, spacing: float) -> None:
        try:
            z = np.array(heights, dtype=np.float64, ndmin=2, order="C")
        except (TypeError, ValueError) as error:
            raise MapError("Heights of profiles must be numbers") from error
        if z.ndim != 2 or z.size == 0:
            raise MapError(f"Profiles lie in rows; this array has shape {z.shape}")
        if not 0 < spacing < np.inf:
            raise MapError(f"The spacing of a profile must be positive and finite, not {spacing} m")
        z[~np.isfinite(z)] = np.nan
        object.__setattr__(self, "heights", frozen(z))
        object.__setattr__(self, "spacing", float(spacing))

    @classmethod
    def rows(cls, scan: HeightMap) -> Self:
        """Every row of a map, left to right. Masked points count as missing."""
        return cls(_counting(scan).z, scan.pitch[1])

    @classmethod
    def columns(cls, scan: HeightMap) -> Self:
        """Every column of a map, top to bottom. Masked points count as missing."""
        return cls(_counting(scan).z.T, scan.pitch[0])

    @classmethod
    def along(cls, scan: HeightMap, start: Point, end: Point, *, width: int = 1, samples: int | None = None) -> Self:
        """One profile along a straight line, as `core.sections.section` samples it.

        Parameters
        ----------
        scan : HeightMap
            The map; missing and masked points leave gaps.
        start, end : (float, float)
            Ends of the line, metres right of and below the map's centre.
        width : int, default 1
            Average over so many parallel lines, one pixel apart.
        samples : int, optional
            Number of points; one for each pixel that the line passes by default.
        """
        distance, height = section(_counting(scan), start, end, width=width, samples=samples)
        return cls(height, float(distance[-1]) / (len(distance) - 1))

    @property
    def length(self) -> float:
        """Length of a profile, metres: points × spacing."""
        return float(self.heights.shape[1] * self.spacing)

    def without_form(self, degree: int) -> Profiles:
        """Each profile without its own least-squares polynomial.

        Parameters
        ----------
        degree : int
            0 takes off the mean, 1 a line, 2 a parabola, and so on up to 7.

        Returns
        -------
        Profiles
            NaN throughout where fewer than degree + 2 points of a profile count.

        Raises
        ------
        MapError
            If the degree is not 0 to 7.
        """
        if degree not in range(8):
            raise MapError(f"The form of a profile is a polynomial of degree 0 to 7, not {degree}")
        n = self.heights.shape[1]
        if n < degree + 2:
            return Profiles(np.full(self.heights.shape, np.nan), self.spacing)
        basis = orthonormal(n, degree)
        weights = ~np.isnan(self.heights)
        rest = self.heights - _typical(self.heights)
        for _ in range(2):  # the second fit takes off what rounding left of the first
            rest = rest - _fitted(rest, weights, basis) @ basis.T
        rest[np.count_nonzero(weights, axis=1) < degree + 2] = np.nan
        return Profiles(rest, self.spacing)


def _counting(scan: HeightMap) -> HeightMap:
    return scan if scan.mask is None else scan.with_(z=np.where(scan.used, scan.z, np.nan), mask=None)


def _typical(heights: FloatArray) -> FloatArray:
    """One height of each profile, so that a far level costs no digits."""
    first = np.argmax(~np.isnan(heights), axis=1)
    return np.asarray(np.nan_to_num(heights[np.arange(len(heights)), first])[:, None])


def _fitted(
    heights: FloatArray, weights: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], basis: FloatArray
) -> FloatArray:
    """Coefficients of each profile, shape (m, degree + 1), over the points that count."""
    filled = np.where(weights, heights, 0.0)
    projected = filled @ basis
    if weights.all():
        return np.asarray(projected / len(basis))
    normal = np.einsum("mn,ni,nj->mij", weights.astype(np.float64), basis, basis, optimize=True)
    # Profiles with too few points are blanked afterwards; the least-norm solution keeps the others going.
    return np.asarray((np.linalg.pinv(normal, hermitian=True) @ projected[:, :, None])[:, :, 0])
