"""Heights made ready for a transform: mean off, window on, holes by weights.

Every point gets the weight a = window × (1 where it counts, else 0). The mean taken off is the mean under these
weights, so nothing is left at wavenumber 0 that a window could leak into its neighbours, and Σ a² takes the place of
the number of points. Nothing is filled in: a hole is a place where the window is shut.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from core.errors import MapError
from core.heightmap import FloatArray, HeightMap
from core.selection import typical_height

Window = Literal["hann", "none"]

SPREAD: dict[Window, FloatArray] = {
    "hann": np.array([1.0, 4.0, 1.0]) / 6.0,
    "none": np.array([0.0, 1.0, 0.0]),
}
"""How a window spreads the power of one bin over it and its two neighbours, on each axis."""

CORRELATION: dict[Window, float] = {"hann": 35.0 / 18.0, "none": 1.0}
"""Bins that hold the information of one, on each axis: Σ ρ² over the bins, 1 + 2 (2/3)² + 2 (1/6)² for Hann."""


def window_weights(window: Window, n: int) -> FloatArray:
    """Weights of a window along one axis, shape (n,).

    The Hann window is the periodic one, ½ − ½ cos(2πi/n): its mean square is 3/8 for every n > 2.

    Raises
    ------
    MapError
        If the window is not known.

    Examples
    --------
    >>> round(float(np.mean(window_weights("hann", 64) ** 2)), 12)
    0.375
    """
    if window == "none":
        return np.ones(n)
    if window == "hann":
        return np.asarray(0.5 - 0.5 * np.cos(2 * np.pi * np.arange(n) / n), dtype=np.float64)
    raise MapError(f"There is no window “{window}”", fix="Use hann or none.")


def tapered(scan: HeightMap, window: Window) -> tuple[FloatArray, float]:
    """Heights times their weights, and Σ a².

    Parameters
    ----------
    scan : HeightMap
        The map; missing and masked points get the weight 0.
    window : {"hann", "none"}
        One window along each axis, multiplied.

    Returns
    -------
    ndarray, shape (ny, nx)
        a (z − mean), metres; a fresh array.
    float
        Σ a².

    Raises
    ------
    MapError
        If no point carries weight.
    """
    rows, columns = (window_weights(window, n) for n in scan.shape)
    u = scan.z - typical_height(scan)
    if scan.complete:
        weight, power = float(rows.sum() * columns.sum()), float(rows @ rows * (columns @ columns))
    else:
        used = scan.used
        u[~used] = 0.0
        counts = used.astype(np.float64)
        weight = float(rows @ (counts @ columns))
        power = float(rows**2 @ (counts @ columns**2))
    if not power > 0:
        raise MapError("No point of the map counts, so it has no spectrum", where=scan.name)
    u -= float(rows @ (u @ columns)) / weight
    if not scan.complete:
        u[~used] = 0.0
    if window != "none":
        u *= columns
        u *= rows[:, None]
    return u, power
