"""The autocorrelation of a map: padded only as far as the lags that are wanted, overlaps counted exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.errors import MapError
from core.heightmap import FloatArray, HeightMap, frozen
from core.selection import typical_height

BLOCK = 32
"""Columns transformed at a time: they stay in the cache from one transform to the next."""


@dataclass(frozen=True, slots=True, eq=False)
class Autocorrelation:
    """Likeness of a map to itself moved by a lag; the half plane of lags down stands for the whole.

    Attributes
    ----------
    values : ndarray, shape (ly + 1, 2 lx + 1)
        Mean product of heights above the mean at a lag over the mean square height: 1 at no lag. Rows are lags down
        from 0, columns lags along the rows from −lx to lx. NaN where no two points overlap.
    overlaps : ndarray of int, same shape
        Number of pairs of points behind each value.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    """

    values: FloatArray
    overlaps: NDArray[np.int64]
    pitch: tuple[float, float]

    @property
    def reach(self) -> tuple[int, int]:
        """Greatest lags ``(ly, lx)``, points."""
        return self.values.shape[0] - 1, self.values.shape[1] // 2

    def whole(self) -> FloatArray:
        """All lags, shape (2 ly + 1, 2 lx + 1), no lag in the middle: A(−k) = A(k)."""
        return np.concatenate((self.values[:0:-1, ::-1], self.values))


def autocorrelation(
    scan: HeightMap, reach: tuple[int, int] | None = None, *, periodic: bool = False
) -> Autocorrelation:
    r"""Autocorrelation of a map about its mean.

    Parameters
    ----------
    scan : HeightMap
        The map. Pairs with a missing or masked point do not count.
    reach : (int, int), optional
        Greatest lags ``(ly, lx)`` in points, less than the rows and columns; half of both by default.
    periodic : bool, default False
        True for a test surface that repeats beyond its edges: lags then wrap round, and half of the rows and columns
        are all there are. A scan never does.

    Returns
    -------
    Autocorrelation

    Raises
    ------
    MapError
        If the lags do not fit into the map, nothing counts, or all heights are equal.

    Notes
    -----
    .. math:: A(k) = \frac{\frac{1}{n_k} \sum w_i w_{i+k} u_i u_{i+k}}{\frac{1}{n_0} \sum w_i u_i^2},
        \qquad n_k = \sum w_i w_{i+k}

    with w = 1 where a point counts, u the height above the mean of all points that count. Division by the overlap n_k
    keeps the decay free of the bias of plain padding; n_k is (ny − |ky|)(nx − |kx|) on a complete map and otherwise
    the same transform of w, rounded to whole numbers. A map padded from n to n + L points does not wrap up to lag L.

    Examples
    --------
    >>> stripes = HeightMap(np.tile([1.0, -1.0], (4, 4)), pitch=(1.0, 1.0))
    >>> autocorrelation(stripes, (1, 2)).values.round(12).tolist()
    [[1.0, -1.0, 1.0, -1.0, 1.0], [1.0, -1.0, 1.0, -1.0, 1.0]]
    """
    ly, lx = reach or (scan.shape[0] // 2, scan.shape[1] // 2)
    most = [n // 2 if periodic else n - 1 for n in scan.shape]
    if not (0 <= ly <= most[0] and 0 <= lx <= most[1]):
        raise MapError(f"Lags of {ly} × {lx} points do not fit into a map of {scan.shape[0]} × {scan.shape[1]} points")
    heights = scan.z - typical_height(scan)
    used = None if scan.complete else scan.used
    n = heights.size if used is None else int(np.count_nonzero(used))
    if used is not None:
        heights[~used] = 0.0
    if n:
        heights -= heights.sum() / n
    if used is not None:
        heights[~used] = 0.0
    flat = heights.reshape(-1)
    square = float(flat @ flat)
    if not square > 0:
        raise MapError("Equal heights have no autocorrelation" if n else "No point of the map counts", where=scan.name)
    products = _products(heights, (ly, lx), periodic)
    if used is not None:
        overlaps = np.rint(_products(used.astype(np.float64), (ly, lx), periodic)).astype(np.int64)
    elif periodic:
        overlaps = np.full(products.shape, n, dtype=np.int64)
    else:
        overlaps = np.outer(scan.shape[0] - np.arange(ly + 1), scan.shape[1] - np.abs(np.arange(-lx, lx + 1)))
    values = np.full(products.shape, np.nan)
    np.divide(products, overlaps, out=values, where=overlaps > 0)
    values *= n / square
    return Autocorrelation(frozen(values), overlaps, scan.pitch)


def _products(u: FloatArray, reach: tuple[int, int], periodic: bool) -> FloatArray:
    """Sum of u_i u_{i+k} at all lags up to the reach, shape (ly + 1, 2 lx + 1)."""
    from scipy import fft

    (ny, nx), (ly, lx) = u.shape, reach
    rows, columns = (
        (ny, nx) if periodic else (fft.next_fast_len(ny + ly, real=True), fft.next_fast_len(nx + lx, real=True))
    )
    # rows first: only rows that exist are transformed, and of the way back only the lags that are wanted
    along = fft.rfft(u, columns, axis=1)
    lags = np.empty((ly + 1, along.shape[1]), dtype=np.complex128)
    for left in range(0, along.shape[1], BLOCK):
        block = slice(left, left + BLOCK)
        both = fft.fft(along[:, block], rows, axis=0)
        power = np.square(both.real)
        power += np.square(both.imag)
        lags[:, block] = fft.rfft(power, axis=0)[: ly + 1]  # a real spectrum: the way back is the conjugate of this
    np.conjugate(lags, out=lags)
    lags /= rows
    products = fft.irfft(lags, columns, axis=1)
    return np.concatenate((products[:, columns - lx :], products[:, : lx + 1]), axis=1)
