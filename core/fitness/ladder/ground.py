"""What the search stands on: the map made small, its noise, its medians, and the slope that steps do not pull."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from core.errors import TreatmentError
from core.heightmap import BoolArray, FloatArray, HeightMap
from core.polynomials.fit import fit_polynomial

SIDE = 256
"""Larger maps are averaged in blocks down to about this many points a side."""

WIDEST = 13
"""Widest median window, points: terraces must be wider."""

LAG = 4
"""Points over which gradients are taken for the robust slope."""

CUTS = (3.0, 3.0, 2.5, 2.5, 2.0, 2.0)
"""Redescending: rounds of the robust fit, each leaving out what lies beyond so many robust standard deviations."""


@dataclass(eq=False)
class Ground:
    """A map as the search sees it.

    Attributes
    ----------
    z : ndarray, shape (ny, nx)
        Heights less a surface of degree 2, metres; 0 where nothing counts.
    used : ndarray of bool, shape (ny, nx)
        Points that count.
    noise : float
        Standard deviation of the noise from point to point, metres.
    block : int
        Points of the map in one point here, along a side.
    """

    z: FloatArray
    used: BoolArray
    noise: float
    block: int
    _medians: dict[int, FloatArray] = field(default_factory=dict)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.z.shape[0], self.z.shape[1]

    def median(self, window: int) -> FloatArray:
        """Heights through a square median filter, metres."""
        if window not in self._medians:
            from scipy.ndimage import median_filter

            self._medians[window] = self.z if window == 1 else median_filter(self.z, window, mode="nearest")
        return self._medians[window]

    def window(self, step: float) -> int | None:
        """The smallest median window that makes the noise small against a step; None if it takes more than 13 points.

        The median of m² values scatters by about 1.25 N/m; 0.13 of a step is asked for.
        """
        wanted = 1.25 * self.noise / (0.13 * step)
        window = max(1, math.ceil(wanted))
        window += 1 - window % 2
        return window if window <= WIDEST else None


def ground_of(scan: HeightMap) -> Ground | None:
    """The ground of a map; None where too little of it counts."""
    block = max(1, round(max(scan.shape) / SIDE))
    try:
        rest = fit_polynomial(scan, 2).residual
    except TreatmentError:
        return None
    z, used = _averaged(rest, scan.used, block)
    if min(z.shape) < 4 * WIDEST or used.mean() < 0.5:
        return None
    return Ground(_bridged(z, used), used, _noise(z, used), block)


def robust_slope(ground: Ground) -> FloatArray | None:
    """A surface of degree 2, metres, whose gradients are those of the terraces and not of the steps between them.

    Gradients over a few points are fitted by least squares, those far from the fit left out, more narrowly from round
    to round: with few or high steps the plane of best fit follows the staircase, this one does not.
    """
    window = min(5, WIDEST)
    z, used = ground.median(window), ground.used
    ny, nx = ground.shape
    y, x = np.linspace(-1, 1, ny)[:, None], np.linspace(-1, 1, nx)[None, :]
    ly, lx = 2 * LAG / (ny - 1), 2 * LAG / (nx - 1)
    across = (z[:, LAG:] - z[:, :-LAG]) / lx
    down = (z[LAG:] - z[:-LAG]) / ly
    valid = np.concatenate([(used[:, LAG:] & used[:, :-LAG]).ravel(), (used[LAG:] & used[:-LAG]).ravel()])
    xa, ya = np.broadcast_arrays((x[:, LAG:] + x[:, :-LAG]) / 2, y)
    xd, yd = np.broadcast_arrays(x, (y[LAG:] + y[:-LAG]) / 2)
    n, m = xa.size, xd.size
    none_a, none_d = np.zeros(n), np.zeros(m)
    # columns: x, y, x², xy, y²
    design = np.column_stack(
        [
            np.concatenate([np.ones(n), none_d]),
            np.concatenate([none_a, np.ones(m)]),
            np.concatenate([2 * xa.ravel(), none_d]),
            np.concatenate([ya.ravel(), xd.ravel()]),
            np.concatenate([none_a, 2 * yd.ravel()]),
        ]
    )[::3]
    target = np.concatenate([across.ravel(), down.ravel()])[::3]
    keep = valid[::3].copy()
    # the start: medians, which a minority of steps does not pull
    found = np.array([np.median(across), np.median(down), 0.0, 0.0, 0.0])
    for cut in CUTS:
        rest = target - design @ found
        spread = 1.4826 * float(np.median(np.abs(rest[valid[::3]])))
        keep = valid[::3] & (np.abs(rest) <= cut * spread)
        if np.count_nonzero(keep) < 50:
            return None
        found = np.linalg.lstsq(design[keep], target[keep], rcond=None)[0]
    return np.asarray(found[0] * x + found[1] * y + found[2] * x**2 + found[3] * x * y + found[4] * y**2)


def _averaged(z: FloatArray, used: BoolArray, block: int) -> tuple[FloatArray, BoolArray]:
    """Means over blocks; a block of which less than half counts does not."""
    if block == 1:
        return z, used
    rows, columns = (n // block for n in z.shape)
    part = np.where(used, z, 0.0)[: rows * block, : columns * block].reshape(rows, block, columns, block)
    count = used[: rows * block, : columns * block].reshape(rows, block, columns, block).sum(axis=(1, 3))
    return part.sum(axis=(1, 3)) / np.maximum(count, 1), count >= block * block / 2


def _bridged(z: FloatArray, used: BoolArray) -> FloatArray:
    """Heights with gaps taken from the nearest point: for the medians beside them only, such points never count."""
    if used.all():
        return z
    from scipy.ndimage import distance_transform_edt

    nearest = distance_transform_edt(~used, return_distances=False, return_indices=True)
    return np.asarray(np.where(used, z, 0.0)[tuple(nearest)])


def _noise(z: FloatArray, used: BoolArray) -> float:
    """From second differences along both axes; the smaller, as jumps from line to line are no noise of the points."""
    found = []
    for axis in (0, 1):
        second = np.abs(np.diff(np.where(used, z, np.nan), 2, axis=axis))
        there = second[~np.isnan(second)]
        found.append(1.4826 * float(np.median(there)) / math.sqrt(6) if there.size else 0.0)
    return min(found)
