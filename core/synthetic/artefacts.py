"""Artefacts of scanning with a known truth: creep, a jump, a tip change, a second tip, coarse numbers, saturation."""

from __future__ import annotations

import math

import numpy as np

from core.errors import MapError
from core.heightmap import FloatArray
from core.synthetic.lattice import Shape, not_negative, positive


def creep(shape: Shape, *, height: float, rows: float) -> FloatArray:
    """The scanner settling after the scan has begun: ``height · exp(−i / rows)`` in row i.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    height : float
        Where the first row lies above the rest, metres; negative below.
    rows : float
        Lines after which 1/e of it is left.

    Returns
    -------
    ndarray, shape `shape`
        Metres.

    Raises
    ------
    MapError
        If `rows` is not positive.

    Examples
    --------
    >>> creep((3, 1), height=1e-9, rows=1.0)[:, 0].round(11).tolist()
    [1e-09, 3.7e-10, 1.4e-10]
    """
    decay = height * np.exp(-np.arange(shape[0]) / positive(rows, "The time of the creep"))
    return np.repeat(decay[:, None], shape[1], axis=1)


def jump(shape: Shape, *, row: int, height: float) -> FloatArray:
    """The probe let go once: `height` (metres) from this row on, zero before it.

    Examples
    --------
    >>> jump((3, 1), row=2, height=1e-9)[:, 0].tolist()
    [0.0, 0.0, 1e-09]
    """
    z = np.zeros(shape)
    z[row:] = height
    return z


def tip_change(heights: FloatArray, *, row: int, factor: float) -> FloatArray:
    """The same map with its texture scaled from a row on, as a duller probe shows it.

    Parameters
    ----------
    heights : ndarray, shape (ny, nx)
        Metres about zero.
    row : int
        First row after the change.
    factor : float
        Amplitude after it over amplitude before it.

    Returns
    -------
    ndarray, shape (ny, nx)
        Metres.

    Examples
    --------
    >>> tip_change(np.ones((3, 1)), row=1, factor=0.5)[:, 0].tolist()
    [1.0, 0.5, 0.5]
    """
    changed = np.array(heights, dtype=np.float64)
    changed[row:] *= not_negative(factor, "The factor")
    return changed


def double_tip(heights: FloatArray, *, shift: tuple[int, int], lower: float) -> FloatArray:
    """What a probe with two ends records: everywhere the higher of the surface and its shifted image.

    Parameters
    ----------
    heights : ndarray, shape (ny, nx)
        Metres.
    shift : (int, int)
        Rows and columns from the first end to the second.
    lower : float
        How much the second end stands back, metres.

    Returns
    -------
    ndarray, shape (ny, nx)
        ``max(z[i, j], z[i + shift_y, j + shift_x] − lower)``; beyond the map there is only the first end.

    Examples
    --------
    >>> double_tip(np.array([[0.0, 0.0, 5.0]]), shift=(0, 1), lower=1.0).tolist()
    [[0.0, 4.0, 5.0]]
    """
    ny, nx = heights.shape
    down, across = shift
    here_y, here_x = slice(max(0, -down), ny - max(0, down)), slice(max(0, -across), nx - max(0, across))
    there_y, there_x = slice(max(0, down), ny + min(0, down)), slice(max(0, across), nx + min(0, across))
    seen = np.array(heights, dtype=np.float64)
    seen[here_y, here_x] = np.maximum(heights[here_y, here_x], heights[there_y, there_x] - lower)
    return seen


def quantised(heights: FloatArray, *, step: float) -> FloatArray:
    """The heights rounded to whole multiples of a step (metres), as a coarse converter writes them.

    The error is uniform where the texture spans several steps: RMS step/√12.

    Examples
    --------
    >>> quantised(np.array([[0.4, 0.6]]), step=1.0).tolist()
    [[0.0, 1.0]]
    """
    q = positive(step, "The step")
    return np.round(heights / q) * q


def clipped(heights: FloatArray, *, share: float, end: str = "top") -> FloatArray:
    """The heights cut off where the highest (or lowest) share of them begins, as a converter out of range does.

    Parameters
    ----------
    heights : ndarray, shape (ny, nx)
        Metres, complete.
    share : float
        Share of the points that saturate, 0 to 1; at least one point keeps the limit.
    end : {"top", "bottom"}, default "top"
        Which end of the range.

    Returns
    -------
    ndarray, shape (ny, nx)
        Metres.

    Raises
    ------
    MapError
        If the share is no share or the end unknown.

    Examples
    --------
    >>> clipped(np.array([[1.0, 2.0, 3.0, 4.0]]), share=0.5).tolist()
    [[1.0, 2.0, 3.0, 3.0]]
    """
    if not 0 <= share <= 1 or end not in ("top", "bottom"):
        raise MapError(f"A share from 0 to 1 saturates at the top or the bottom, not {share} at {end!r}")
    count = max(1, math.ceil(share * heights.size))
    if end == "bottom":
        return -clipped(-heights, share=share)
    limit = float(np.partition(heights.reshape(-1), heights.size - count)[heights.size - count])
    return np.asarray(np.minimum(heights, limit))
