"""Least-squares polynomial surfaces under a map, with points left out by weights."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.errors import TreatmentError
from core.heightmap import BoolArray, FloatArray, HeightMap, frozen
from core.polynomials.basis import BLOCK, blocks, orthonormal, pair_products
from core.selection import typical_height

DEGREES = range(1, 8)
"""Degrees that can be fitted."""

DEGENERATE = 1e-12
"""Smallest accepted ratio of eigenvalues of the normal matrix: below, refinement no longer restores the digits."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A polynomial surface fitted to the points of a map that count.

    Attributes
    ----------
    degree : int
        Highest total degree: terms ``x^j y^i`` with i + j ≤ degree.
    coefficients : ndarray, shape (degree + 1, degree + 1)
        Metres, on polynomials of mean square 1 down (rows) and across (columns); 0 where i + j > degree.
    level : float
        Height, metres, that is added to the sum of the terms.
    down, across : ndarray, shapes (ny, degree + 1) and (nx, degree + 1)
        The polynomials at the rows and columns of the map.
    tilt : (float, float)
        Slope of the linear terms down and across, metres per metre. For degree 1 the slope of the plane.
    rms : float
        Root mean square of the surface about its mean over the points that count, metres.
    residual : ndarray, shape (ny, nx), read-only
        Heights minus surface at every measured point, masked ones too; NaN where nothing was measured.
    """

    degree: int
    coefficients: FloatArray
    level: float
    down: FloatArray
    across: FloatArray
    tilt: tuple[float, float]
    rms: float
    residual: FloatArray

    def evaluate(self) -> FloatArray:
        """The fitted surface at every point, metres, shape (ny, nx)."""
        return np.asarray((self.down @ self.coefficients) @ self.across.T + self.level)


def fit_polynomial(scan: HeightMap, degree: int) -> Fit:
    r"""Fit a polynomial surface of total degree `degree` by least squares over the points that count.

    Minimises :math:`\sum w\,(z - \sum_{i+j \le d} c_{ij}\,p_i(y)\,p_j(x))^2` with w = 1 where a point is measured and
    unmasked, 0 elsewhere. The map is gone through in blocks of rows with matrix products, the residual is fitted
    once more, and the sum of both fits is the answer: heights far above their texture keep their digits.

    Parameters
    ----------
    scan : HeightMap
        The map; missing and masked points do not count.
    degree : int
        1 (a plane) to 7.

    Returns
    -------
    Fit
        Coefficients, tilt, and the residual.

    Raises
    ------
    TreatmentError
        If the degree is not offered or the points that count do not determine the surface.

    Examples
    --------
    >>> import numpy as np
    >>> y, x = np.mgrid[0:4, 0:5]
    >>> fit = fit_polynomial(HeightMap(1e-9 * (3 + 2 * x - y), pitch=(1e-8, 1e-8)), 1)
    >>> [round(slope, 9) for slope in fit.tilt], bool(fit.rms > 0)
    ([-0.1, 0.2], True)
    """
    if degree not in DEGREES:
        raise TreatmentError(f"A polynomial surface has degree 1 to {DEGREES[-1]}, not {degree}")
    used = None if scan.complete else scan.used
    down, across = _bases(scan, used, degree)
    terms = np.add.outer(np.arange(degree + 1), np.arange(degree + 1)) <= degree
    normal, points = _normal_matrix(used, down, across, terms)
    level = typical_height(scan)
    form = _solved(normal, terms, _project(scan.z, used, level, down, across) / points)
    residual = np.empty(scan.shape)
    missed = _project(scan.z, used, level, down, across, form, residual)
    correction = _solved(normal, terms, missed / points)
    _subtract(residual, correction, down, across)
    form += correction
    return Fit(
        degree=degree,
        coefficients=frozen(form),
        level=level,
        down=down,
        across=across,
        tilt=_tilt(form, down, across, scan.pitch),
        rms=_rms_about_mean(form[terms], normal),
        residual=frozen(residual),
    )


def _bases(scan: HeightMap, used: BoolArray | None, degree: int) -> tuple[FloatArray, FloatArray]:
    """Polynomials down and across, orthonormal over the smallest frame around the points that count."""
    columns = []
    for axis, n in enumerate(scan.shape):
        filled = np.arange(n) if used is None else np.flatnonzero(used.any(axis=1 - axis))
        if len(filled) <= degree:
            raise TreatmentError(
                f"A polynomial of degree {degree} needs points in at least {degree + 1} rows and columns; "
                f"this map has them in {len(filled)} {('rows', 'columns')[axis]}",
                fix="Lower the degree, or mask and crop less.",
            )
        columns.append(orthonormal(n, degree, int(filled[0]), int(filled[-1])))
    return columns[0], columns[1]


def _normal_matrix(
    used: BoolArray | None, down: FloatArray, across: FloatArray, terms: BoolArray
) -> tuple[FloatArray, int]:
    """Mean products of the terms over the points that count, and the number of these points."""
    if used is None:
        return np.eye(int(np.count_nonzero(terms))), len(down) * len(across)
    pairs_down, pairs_across = pair_products(down), pair_products(across)
    moments = np.zeros((pairs_down.shape[1], pairs_across.shape[1]))
    for rows in blocks(len(down)):
        moments += pairs_down[rows].T @ (used[rows].astype(np.float64) @ pairs_across)
    points = round(float(moments[0, 0]))
    k = len(terms)
    by_term = moments.reshape(k, k, k, k).transpose(0, 2, 1, 3)  # [i, j, i', j'] from [i, i', j, j']
    normal = by_term[terms][:, terms] / points
    spread = np.linalg.eigvalsh(normal)
    if spread[0] < DEGENERATE * spread[-1]:
        raise TreatmentError(
            f"The {points} points that count lie on a line or too close together for a polynomial of degree {k - 1}",
            fix="Lower the degree, or mask less.",
        )
    return normal, points


def _solved(normal: FloatArray, terms: BoolArray, projected: FloatArray) -> FloatArray:
    form = np.zeros(terms.shape)
    form[terms] = np.linalg.solve(normal, projected[terms])
    return form


def _project(
    z: FloatArray,
    used: BoolArray | None,
    level: float,
    down: FloatArray,
    across: FloatArray,
    form: FloatArray | None = None,
    residual: FloatArray | None = None,
) -> FloatArray:
    """Sum heights minus level (and minus form, then kept in `residual`), where they count, against every term."""
    rows_of_form = None if form is None else down @ form
    over = np.ascontiguousarray(across.T)  # twice as fast as the transposed view
    projected = np.zeros((down.shape[1], across.shape[1]))
    work, surface = np.empty((2, BLOCK, len(across)))
    for rows in blocks(len(z)):
        high = rows.stop - rows.start
        block = work[:high] if residual is None else residual[rows]
        np.subtract(z[rows], level, out=block)
        if rows_of_form is not None:
            block -= np.matmul(rows_of_form[rows], over, out=surface[:high])
        counted = block if used is None else np.where(used[rows], block, 0.0)
        projected += down[rows].T @ (counted @ across)
    return projected


def _subtract(residual: FloatArray, form: FloatArray, down: FloatArray, across: FloatArray) -> None:
    rows_of_form = down @ form
    over = np.ascontiguousarray(across.T)
    surface = np.empty((BLOCK, len(across)))
    for rows in blocks(len(residual)):
        residual[rows] -= np.matmul(rows_of_form[rows], over, out=surface[: rows.stop - rows.start])


def _tilt(form: FloatArray, down: FloatArray, across: FloatArray, pitch: tuple[float, float]) -> tuple[float, float]:
    """Slope of the linear terms; the linear polynomials rise evenly from the first point to the last."""
    rises = [(columns[-1, 1] - columns[0, 1]) / (len(columns) - 1) for columns in (down, across)]
    return float(form[1, 0] * rises[0] / pitch[0]), float(form[0, 1] * rises[1] / pitch[1])


def _rms_about_mean(form: FloatArray, normal: FloatArray) -> float:
    shape = form.copy()
    shape[0] = 0.0  # the constant moves the mean only
    return math.sqrt(max(0.0, float(shape @ normal @ shape - (normal[0] @ shape) ** 2)))
