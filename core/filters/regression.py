"""Gaussian regression: a polynomial fitted to the surroundings of every point, its value there the answer.

Order 0 is the weighted mean. Order 1 follows a plane and order 2 a quadric exactly, up to the edges and beside holes,
where the mean is pulled to the side that has the points.
"""

from __future__ import annotations

import numpy as np

from core.errors import MapError
from core.filters.gaussian import (
    NOTHING,
    AreaGaussian,
    Edges,
    Rows,
    Smoothed,
    counted_rows,
    kept,
    quicker_way,
    supported,
)
from core.filters.line import Line, Way, blocks, line
from core.filters.weights import checked_cutoff, sums_inside
from core.heightmap import FloatArray, HeightMap
from core.selection import typical_height

ORDERS = (0, 1, 2)

SINGULAR = 1e-7
"""A fit whose own height keeps less than this share of its weight, once the other terms are free, has none."""


class LocalFits:
    """Gaussian-weighted local fits on one lattice, order 1 or 2; `weighted` works as that of `AreaGaussian`."""

    def __init__(
        self, shape: tuple[int, int], pitch: tuple[float, float], cutoff: float, order: int, way: Way | None = None
    ) -> None:
        wavelength = checked_cutoff(cutoff)
        cutoffs = (wavelength / pitch[0], wavelength / pitch[1])
        chosen = way or quicker_way(shape, cutoffs)
        powers = range(2 * order + 1)
        self.shape = shape
        self._down: list[Line] = [line(shape[0], cutoffs[0], chosen, power) for power in powers]
        self._across: list[Line] = [line(shape[1], cutoffs[1], chosen, power) for power in powers]
        # the constant comes last: elimination from the first term on then ends with the height itself
        self._terms = [(i, j) for i in range(order + 1) for j in range(order + 1 - i)][::-1]
        self._order = order
        self._inside = [sums_inside(c, n) for c, n in zip(cutoffs, shape, strict=True)]

    def weighted(self, weighed: Rows, weights: Rows) -> tuple[FloatArray, FloatArray]:
        """Fitted heights, NaN where the points do not determine them, and the share of the weight they rest on.

        Parameters
        ----------
        weighed : callable
            Gives rows of values times their weights; 0 where the weight is 0.
        weights : callable
            Gives rows of weights, 0 to 1.
        """
        of_weights = self._moments_across(weights, 2 * self._order)
        of_values = self._moments_across(weighed, self._order)
        down, across = self._inside
        fitted, share = np.empty(self.shape), np.empty(self.shape)
        for columns in blocks(self.shape[1]):
            fitted[:, columns], total = self._solved(
                [moment[:, columns] for moment in of_weights], [moment[:, columns] for moment in of_values]
            )
            share[:, columns] = total / np.multiply.outer(down, across[columns])
        fitted[share < NOTHING] = np.nan
        return fitted, share

    def _moments_across(self, rows_of: Rows, highest: int) -> list[FloatArray]:
        moments = [np.empty(self.shape) for _ in range(highest + 1)]
        for rows in blocks(self.shape[0]):
            values = rows_of(rows)
            for power, out in enumerate(moments):
                self._across[power].across(values, out[rows])
        return moments

    def _solved(self, of_weights: list[FloatArray], of_values: list[FloatArray]) -> tuple[FloatArray, FloatArray]:
        """Height term of the normal equations of every point of a strip, by elimination of all points at once."""
        highest = 2 * self._order
        moment = {
            (i, j): self._moment_down(i, of_weights[j]) for i in range(highest + 1) for j in range(highest + 1 - i)
        }
        right = [self._moment_down(i, of_values[j]) for i, j in self._terms]
        terms = self._terms
        # upper triangle only: the equations are symmetric, and stay so
        left = {
            (r, c): moment[terms[r][0] + terms[c][0], terms[r][1] + terms[c][1]].copy()
            for r in range(len(terms)) for c in range(r, len(terms))
        }  # fmt: skip
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            for pivot in range(len(terms) - 1):
                for row in range(pivot + 1, len(terms)):
                    factor = left[pivot, row] / left[pivot, pivot]
                    right[row] = right[row] - factor * right[pivot]
                    for column in range(row, len(terms)):
                        left[row, column] -= factor * left[pivot, column]
            own = left[len(terms) - 1, len(terms) - 1]
            height = np.where(own > SINGULAR * moment[0, 0], right[-1] / own, np.nan)
        return height, moment[0, 0]

    def _moment_down(self, power: int, values: FloatArray) -> FloatArray:
        out = np.empty(values.shape)
        self._down[power].down(np.ascontiguousarray(values), out)
        return out


def fitter(
    shape: tuple[int, int], pitch: tuple[float, float], cutoff: float, order: int, way: Way | None = None
) -> AreaGaussian | LocalFits:
    """The local fits of an order on one lattice.

    Raises
    ------
    MapError
        If the order is not 0, 1 or 2.
    QuantityError
        If the cut-off is not positive.
    """
    if order not in ORDERS:
        raise MapError(f"A Gaussian regression has order 0, 1 or 2, not {order!r}")
    return LocalFits(shape, pitch, cutoff, order, way) if order else AreaGaussian(shape, pitch, cutoff, way)


def regression_low_pass(
    scan: HeightMap, cutoff: float, *, order: int, edges: Edges, way: Way | None = None
) -> Smoothed:
    r"""The smooth surface under a map by Gaussian regression.

    Parameters
    ----------
    scan : HeightMap
        The map. Missing and masked points have weight 0.
    cutoff : float
        Nesting index, metres: the wavelength that *order 0* passes at one half. Higher orders pass more.
    order : {0, 1, 2}
        Degree of the polynomial that passes unchanged everywhere, edges included.
    edges : {"cut", "kept"}
        As in `core.filters.gaussian.low_pass`.
    way : {"direct", "waves"}, optional
        How the sums are formed; by default the quicker one.

    Returns
    -------
    Smoothed

    Raises
    ------
    MapError
        If the order is not known, or nothing is kept.
    QuantityError
        If the cut-off is not positive.

    Notes
    -----
    At every point :math:`\sum w\,s(r)\,(z - \sum_{i+j\le p} c_{ij} y^i x^j)^2` becomes least, s the Gaussian weight and
    w = 1 where a point counts; :math:`c_{00}` is the answer (the linear case of ISO 16610-71).

    Examples
    --------
    >>> y, x = np.mgrid[0:30, 0:40]
    >>> quadric = HeightMap(x * x - 2.0 * x * y + 5, pitch=(1.0, 1.0))
    >>> smooth = regression_low_pass(quadric, 8.0, order=2, edges="kept")
    >>> bool(abs(smooth.z - quadric.z).max() < 1e-9)
    True
    """
    fits = fitter(scan.shape, scan.pitch, cutoff, order, way)
    keep = kept(scan.shape, scan.pitch, cutoff, edges)
    level = typical_height(scan)
    weighed, weights = counted_rows(scan, level)
    return supported(scan, *fits.weighted(weighed, weights), level, keep)
