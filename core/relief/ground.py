r"""The ground under bumps: a Gaussian mean from which bodies, high and low, have been taken out.

A plain mean rises under a bump and so makes a moat around it; an opening rides on the texture and so hides its height.
Where the bodies lie is settled on block means, which is quick; the ground itself is then made at full resolution.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.filters.gaussian import AreaGaussian
from core.filters.weights import SIGMA
from core.heightmap import BoolArray, FloatArray, HeightMap
from core.selection import quantile, typical_height

ROUNDS = 3
FLOOR, PEAK = 2.5, 4.5
"""A body is a connected piece beyond the first that reaches the second, in robust sigma. Taking out single points above
3 sigma instead trims the tails of the texture, and sigma reads low. From 1.5 and 4 sigma, crests of long waves are
taken for bodies; the ground under them is then a mean from farther off, and they grow into bumps that are not there: 11
on 36 Gaussian maps of 4.2 µm² at 5 sigma where 0.6 are expected, against 1 with these two; and heights of 3 nm spheres
on waves of 100 nm scattered by 0.31 nm, against 0.09 nm (simulated for this program)."""

LOW, MIDDLE = 0.158655253931457, 0.5  # Φ(−1), Φ(0)

BLOCK = 1.5
"""Standard deviation of the ground's Gaussian in blocks, at least."""

LARGEST_BLOCK = 4

THIN = 0.02
"""Share of the footprint's weight below which the ground is taken from a wider mean."""


def one_sided_sigmas(values: FloatArray) -> tuple[float, float]:
    """Standard deviations by the lower and by the upper side only: median to 15.87 % and to 84.13 % quantile.

    >>> [round(sigma, 1) for sigma in one_sided_sigmas(np.random.default_rng(1).normal(0, 2, 100_001))]
    [2.0, 2.0]
    """
    middle = quantile(values, MIDDLE)
    return middle - quantile(values, LOW), quantile(values, 1 - LOW) - middle


def ground(scan: HeightMap, used: BoolArray | None, cutoff: float) -> FloatArray:
    """Heights of the ground, metres, on the whole lattice.

    Parameters
    ----------
    scan : HeightMap
        The map.
    used : ndarray of bool, optional
        Points that count; None when all do.
    cutoff : float
        Of the Gaussian, metres.
    """
    level = typical_height(scan)
    z = scan.z - level
    if used is not None:
        z[~used] = 0.0
    bodies = bodies_of(z, used, scan.pitch, cutoff)
    if bodies is not None:
        # The ground of the blocks takes the bodies' place. Their weight could be 0 instead, as it is on the blocks:
        # that is twice the work for the same ground, to 1 % of sigma beside bumps (simulated for this program).
        bodies.replace(z, used)
    if used is None:
        b = AreaGaussian(scan.shape, scan.pitch, cutoff).mean(lambda rows: z[rows])
    else:
        b = _weighted(z, used.astype(np.float64), scan.pitch, cutoff)
    b += level
    return b


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """Bodies on block means: which blocks belong to them, the ground there, and the size of a block in points."""

    found: BoolArray
    ground: FloatArray
    size: tuple[int, int]

    def replace(self, z: FloatArray, used: BoolArray | None) -> None:
        """Put the ground in the place of the bodies' heights that count."""
        y, x = np.nonzero(self.found)
        for dy in range(self.size[0]):
            for dx in range(self.size[1]):
                down, across = y * self.size[0] + dy, x * self.size[1] + dx
                inside = (down < z.shape[0]) & (across < z.shape[1])
                down, across, heights = down[inside], across[inside], self.ground[y, x][inside]
                z[down, across] = heights if used is None else np.where(used[down, across], heights, 0.0)


def bodies_of(z: FloatArray, used: BoolArray | None, pitch: tuple[float, float], cutoff: float) -> Blocks | None:
    """The bodies of a map; None when there are none.

    Parameters
    ----------
    z : ndarray, shape (ny, nx)
        Heights near 0; 0 where a point does not count.
    used : ndarray of bool, optional
        Points that count.
    pitch : (float, float)
        Metres.
    cutoff : float
        Of the ground's Gaussian, metres.
    """
    from scipy import ndimage

    size = (_block(pitch[0], cutoff, z.shape[0]), _block(pitch[1], cutoff, z.shape[1]))
    coarse = (pitch[0] * size[0], pitch[1] * size[1])
    means, weights = _means(z, used, size)
    counts = weights > 0
    lattice = AreaGaussian((means.shape[0], means.shape[1]), coarse, cutoff)
    found = np.zeros(means.shape, bool)
    b = lattice.mean(lambda rows: means[rows]) if used is None else _weighted(means * weights, weights, coarse, cutoff)
    for _ in range(ROUNDS):
        r = means - b
        middle, low = _quantiles(r[counts])
        sigma = middle - low
        r -= middle
        np.abs(r, out=r)
        pieces, number = ndimage.label((r > FLOOR * sigma) & counts, structure=np.ones((3, 3), bool))
        high = np.zeros(number + 1, bool)
        high[pieces[(r > PEAK * sigma) & counts]] = True
        high[0] = False
        now = high[pieces]
        if np.array_equal(now, found) or np.count_nonzero(now) > np.count_nonzero(counts) / 2:
            break  # at rest; or bodies are the larger part, and then they are the ground
        found = now
        w = np.where(found, 0.0, weights)
        b = _weighted(means * w, w, coarse, cutoff)
    return Blocks(found, b, size) if found.any() else None


def _block(step: float, cutoff: float, points: int) -> int:
    return max(1, min(LARGEST_BLOCK, math.floor(SIGMA * cutoff / step / BLOCK + 1e-9), points // 8))


def _means(z: FloatArray, used: BoolArray | None, size: tuple[int, int]) -> tuple[FloatArray, FloatArray]:
    """Means of the blocks and the share of their points that count."""
    sums = _sums(z, size)
    if used is None:
        return sums / (size[0] * size[1]), np.ones(sums.shape)
    count = _sums(used.astype(np.float64), size)
    return np.divide(sums, count, out=np.zeros_like(sums), where=count > 0), count / (size[0] * size[1])


def _quantiles(values: FloatArray) -> tuple[float, float]:
    """Median and lower sigma quantile of every few: exact enough to say what is a body."""
    thin = values[:: max(1, values.size // 65_536) | 1]
    return quantile(thin, MIDDLE), quantile(thin, LOW)


def _sums(values: FloatArray, size: tuple[int, int]) -> FloatArray:
    """Sums over blocks; where the map does not fill the last ones its border is repeated."""
    if size == (1, 1):
        return values.copy()
    down, across = (-n % step for n, step in zip(values.shape, size, strict=True))
    whole = np.pad(values, ((0, down), (0, across)), mode="edge") if down or across else values
    rows = whole[:: size[0]].copy()
    for shift in range(1, size[0]):
        rows += whole[shift :: size[0]]
    sums = rows[:, :: size[1]].copy()
    for shift in range(1, size[1]):
        sums += rows[:, shift :: size[1]]
    return sums


def _weighted(zw: FloatArray, w: FloatArray, pitch: tuple[float, float], cutoff: float) -> FloatArray:
    """Normalised convolution; under wide bodies, where hardly any ground is near, that of a mean four times as wide."""
    shape = (w.shape[0], w.shape[1])
    b, share = AreaGaussian(shape, pitch, cutoff).weighted(lambda rows: zw[rows], lambda rows: w[rows])
    bare = share < THIN
    if bare.any():
        if 4 * cutoff > 4 * max(n * step for n, step in zip(shape, pitch, strict=True)):
            b[bare] = zw.sum() / max(w.sum(), 1.0)
        else:
            b[bare] = _weighted(zw, w, pitch, 4 * cutoff)[bare]
    return b
