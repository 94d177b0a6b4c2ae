"""Where the points lie, and the refusals that all surfaces share."""

from __future__ import annotations

import math

import numpy as np

from core.errors import MapError
from core.heightmap import FloatArray

Shape = tuple[int, int]
Pitch = tuple[float, float]


def coordinates(shape: Shape, pitch: Pitch) -> tuple[FloatArray, FloatArray]:
    """Places of the points, counted from the middle of the map.

    Returns
    -------
    y : ndarray, shape (ny, 1)
        Metres, growing downwards with the row number.
    x : ndarray, shape (1, nx)
        Metres, growing to the right.

    Raises
    ------
    MapError
        If `shape` holds no points or `pitch` is no pair of positive lengths.

    Examples
    --------
    >>> y, x = coordinates((2, 4), (1.0, 1.0))
    >>> y.tolist(), x.tolist()
    ([[-0.5], [0.5]], [[-1.5, -0.5, 0.5, 1.5]])
    """
    rows, columns = (int(count) for count in shape)
    if rows < 1 or columns < 1:
        raise MapError(f"A surface has rows and columns, not shape {tuple(shape)}")
    dy, dx = (positive(step, "The pitch") for step in pitch)
    y: FloatArray = (np.arange(rows, dtype=np.float64) - (rows - 1) / 2) * dy
    x: FloatArray = (np.arange(columns, dtype=np.float64) - (columns - 1) / 2) * dx
    return y[:, None], x[None, :]


def turned(shape: Shape, pitch: Pitch, angle: float) -> tuple[FloatArray, FloatArray]:
    """Coordinates along a direction and across it.

    Parameters
    ----------
    angle : float
        Degrees, anticlockwise as shown, from the fast axis.

    Returns
    -------
    along, across : ndarray, shape (ny, nx)
        Metres from the middle of the map; `across` grows 90° anticlockwise from `along`.
    """
    y, x = coordinates(shape, pitch)
    turn = math.radians(angle)
    up = -y  # rows count downwards, angles are meant as shown
    return x * math.cos(turn) + up * math.sin(turn), up * math.cos(turn) - x * math.sin(turn)


def positive(value: float, what: str) -> float:
    """The value, if it is positive and finite.

    Raises
    ------
    MapError
        Otherwise.
    """
    if not 0 < value < math.inf:
        raise MapError(f"{what} must be positive and finite, not {value}")
    return float(value)


def not_negative(value: float, what: str) -> float:
    """The value, if it is zero or more and finite.

    Raises
    ------
    MapError
        Otherwise.
    """
    if not 0 <= value < math.inf:
        raise MapError(f"{what} must be zero or more and finite, not {value}")
    return float(value)
