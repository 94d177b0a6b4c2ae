"""The long waves of a map: its mean products with orthonormal polynomials."""

from __future__ import annotations

import numpy as np

from core.heightmap import FloatArray
from core.polynomials.basis import orthonormal

DEGREE = 5


def legendre_terms(level: FloatArray) -> FloatArray:
    """Mean products with orthonormal polynomials of degree 0 to 5 down (rows) and across (columns), metres RMS.

    Missing points count as lying on the plane. A map with fewer than six rows or columns has no such waves: all 0.
    """
    if min(level.shape) <= DEGREE:
        return np.zeros((DEGREE + 1, DEGREE + 1))
    down, across = (orthonormal(n, DEGREE) for n in level.shape)
    known = np.nan_to_num(level, nan=0.0)
    return np.asarray(down.T @ (known @ across)) / level.size
