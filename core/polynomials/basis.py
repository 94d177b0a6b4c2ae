"""Orthonormal polynomials on the points of one axis: the ground on which all polynomial fits stand."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np

from core.heightmap import FloatArray, frozen

BLOCK = 64
"""Rows handled at a time: such a block stays in the processor's cache between the operations on it."""


def blocks(rows: int) -> Iterator[slice]:
    """The rows of a map in blocks, top to bottom.

    >>> list(blocks(100))
    [slice(0, 64, None), slice(64, 100, None)]
    """
    return (slice(start, min(start + BLOCK, rows)) for start in range(0, rows, BLOCK))


@lru_cache(maxsize=64)
def orthonormal(n: int, degree: int, first: int = 0, last: int | None = None) -> FloatArray:
    """Polynomials of degree 0 to `degree` at `n` points, orthonormal over the points `first` to `last`.

    Legendre polynomials on the coordinate that runs from −1 at `first` to 1 at `last`, made orthonormal on the discrete
    points (they are so only in the continuum). Monomials would lose all digits from degree 5 on.

    Parameters
    ----------
    n : int
        Number of points.
    degree : int
        Highest degree; less than the number of points from `first` to `last`.
    first, last : int, optional
        The points over which the mean square of each column is 1; all by default.

    Returns
    -------
    ndarray, shape (n, degree + 1), read-only
        Column 0 is 1 everywhere; column i rises towards the end.

    Examples
    --------
    >>> orthonormal(4, 1)[:, 1].round(4).tolist()
    [-1.3416, -0.4472, 0.4472, 1.3416]
    """
    last = n - 1 if last is None else last
    half = max((last - first) / 2, 0.5)
    along = (np.arange(n) - (first + last) / 2) / half
    raw = np.polynomial.legendre.legvander(along, degree)
    count = last - first + 1
    q, r = np.linalg.qr(raw[first : last + 1])
    columns = raw @ np.linalg.inv(r)
    columns[first : last + 1] = q
    columns *= np.sqrt(count) * np.sign(np.diag(r))
    columns[:, 0] = 1.0
    return frozen(np.ascontiguousarray(columns))


def pair_products(columns: FloatArray) -> FloatArray:
    """All products of two columns, shape (n, k·k): the moments of a weight with them make its Gram matrix."""
    n, k = columns.shape
    return np.asarray((columns[:, :, None] * columns[:, None, :]).reshape(n, k * k))
