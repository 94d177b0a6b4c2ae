r"""What is measured of each feature: height over the ring around it, diameter, volume where it is honest, shape.

All features are looked at together, in windows of one size, so that a thousand of them cost no thousand loops.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.heightmap import BoolArray, FloatArray, frozen
from core.relief.separate import Basins

RING_FROM, RING_WIDTH = 1.15, 0.35
PATCH = 0.35
"""Half width of the patch through the top, in footprint radii; 1 to 4 pixels."""

COARSEST = 0.5
"""Pixel in footprint radii above which there is no patch: it would reach down the flanks, and spheres of 50 nm on
pixels of 20 nm read 4 nm too high (simulated for this program)."""

VOLUME_SIGMAS, VOLUME_HEIGHT = 10.0, 10e-9
"""A volume is told of features higher than both: below, it was up to 13 times wrong (simulated for this program)."""

WINDOWS = 4_000_000
"""Points of the windows that are gathered at a time."""


@dataclass(frozen=True, slots=True, eq=False)
class Bodies:
    """The features of a map, by array: bumps, or hollows with their depths as heights.

    Attributes
    ----------
    places : ndarray of int, shape (n, 2)
        Row and column of the highest point.
    centres : ndarray, shape (n, 2)
        Centre of the footprint, metres down and across from the outer corner of the first point (top left).
    peaks : ndarray, shape (n,)
        Height of the highest point over the ground, metres: what is held against the threshold.
    heights : ndarray, shape (n,)
        Height of the top over the median of the ring, metres: what is told.
    radii : ndarray, shape (n,)
        Radius of the base, metres: that of the footprint at half the threshold, carried on as a paraboloid.
    diameters : ndarray, shape (n,)
        Of the disc as large as the area above half the height, metres.
    volumes : ndarray, shape (n,)
        Over the ring's median within the ring, m³; NaN where it would not be honest.
    elongations : ndarray, shape (n,)
        Longer by shorter axis of the area above half the height, 1 or more.
    points : ndarray of int, shape (n,)
        Points of the footprint at half the threshold.
    """

    places: NDArray[np.int64]
    centres: FloatArray
    peaks: FloatArray
    heights: FloatArray
    radii: FloatArray
    diameters: FloatArray
    volumes: FloatArray
    elongations: FloatArray
    points: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.heights)


def measure(r: FloatArray, basins: Basins, *, threshold: float, sigma: float, pitch: tuple[float, float]) -> Bodies:
    r"""Measure the features of a particle-eye map.

    Parameters
    ----------
    r : ndarray, shape (ny, nx)
        Heights over the ground, metres; NaN where a point does not count.
    basins : Basins
        The features, found above half the threshold.
    threshold, sigma : float
        Metres.
    pitch : (float, float)
        Metres.

    Returns
    -------
    Bodies

    Notes
    -----
    The base radius r₀ follows from the area A above t/2 as that of a paraboloid, :math:`A = \pi r_0^2 (1 - t/2h)`. The
    ring reaches from 1.15 r₀ + 1 pixel over 35 % of that, at least 2.5 pixels, and holds no other feature. The top is
    the maximum of a least-squares paraboloid through the points within 0.35 r₀ of the highest (1 to 4 pixels), and the
    highest point itself where that is not a maximum or r₀ spans less than two pixels: on smooth ground the highest
    *point* alone reads low by p²/12(R + d/2), p the pixel (closed form for a dilated sphere).
    """
    n = len(basins.peaks)
    places = np.stack(np.divmod(basins.peaks, r.shape[1]), axis=1).astype(np.int64)
    flat = np.nan_to_num(r.reshape(-1))
    peaks = flat[basins.peaks]
    points = np.bincount(basins.owners, minlength=n)
    pixel = pitch[0] * pitch[1]
    radii = np.sqrt(points * pixel / math.pi / (1 - threshold / 2 / np.maximum(peaks, threshold)))
    rings, sums = _rings(r, basins, places, radii, pitch)
    heights = _tops(r, places, radii, peaks, pitch) - rings
    diameters, elongations, centres = _footprints(flat, basins, rings + heights / 2, r.shape[1], pitch)
    empty = np.isnan(centres[:, 0])
    centres[empty] = (places[empty] + 0.5) * pitch
    honest = (heights >= VOLUME_SIGMAS * sigma) & (heights >= VOLUME_HEIGHT)
    volumes = np.where(honest, sums * pixel, np.nan)
    bodies = Bodies(places, centres, peaks, heights, radii, diameters, volumes, elongations, points)
    for name in Bodies.__slots__:
        frozen(getattr(bodies, name))
    return bodies


def _rings(
    r: FloatArray, basins: Basins, places: NDArray[np.int64], radii: FloatArray, pitch: tuple[float, float]
) -> tuple[FloatArray, FloatArray]:
    """Median of the ring around each feature, 0 where nothing of it counts, and the sum of r over that within it."""
    if len(radii) == 0:
        return np.zeros(0), np.zeros(0)
    owner = np.full(r.size, -1, np.int32)
    owner[basins.points] = basins.owners
    free = np.isfinite(r) & ~_touched(owner.reshape(r.shape) >= 0)
    pixel = max(pitch)
    inner = RING_FROM * radii + pixel
    outer = inner + np.maximum(2.5 * pixel, RING_WIDTH * inner)
    rings, sums = np.zeros(len(radii)), np.zeros(len(radii))
    flat, free = r.reshape(-1), free.reshape(-1)
    for some, index, inside, square in _windows(places, outer, r.shape, pitch):
        values = flat[index]
        ring = inside & free[index] & (square >= inner[some, None] ** 2) & (square <= outer[some, None] ** 2)
        count = ring.sum(axis=1)
        ordered = np.sort(np.where(ring, values, np.inf), axis=1)
        line = np.arange(len(some))
        low, high = ordered[line, np.maximum(count - 1, 0) // 2], ordered[line, count // 2 * (count > 0)]
        with np.errstate(invalid="ignore"):
            rings[some] = np.where(count > 0, (low + high) / 2, 0.0)
        own = owner[index]
        within = inside & (square < inner[some, None] ** 2) & ((own < 0) | (own == some[:, None])) & ~np.isnan(values)
        sums[some] = np.where(within, values - rings[some, None], 0.0).sum(axis=1)
    return rings, sums


def _windows(
    places: NDArray[np.int64], reach: FloatArray, shape: tuple[int, ...], pitch: tuple[float, float]
) -> Iterator[tuple[NDArray[np.int64], NDArray[np.int64], BoolArray, FloatArray]]:
    """Windows around features of about one size: which features, flat indices, what lies on the map, distance²."""
    order = np.argsort(reach)
    start = 0
    while start < len(order):
        # Windows grow with the features, so that one giant does not make all windows giant.
        stop = int(np.searchsorted(reach[order], 1.3 * reach[order[start]], side="right"))
        half = [math.ceil(reach[order[stop - 1]] / step) for step in pitch]
        size = (2 * half[0] + 1) * (2 * half[1] + 1)
        stop = min(stop, start + max(1, WINDOWS // size))
        some = order[start:stop]
        dy, dx = np.arange(-half[0], half[0] + 1), np.arange(-half[1], half[1] + 1)
        y = places[some, :1] + np.repeat(dy, len(dx))[None, :]
        x = places[some, 1:] + np.tile(dx, len(dy))[None, :]
        inside = (y >= 0) & (y < shape[0]) & (x >= 0) & (x < shape[1])
        index = np.where(inside, y * shape[1] + x, 0)
        square = ((dy[:, None] * pitch[0]) ** 2 + (dx[None, :] * pitch[1]) ** 2).reshape(1, -1)
        yield some, index, inside, square
        start = stop


def _touched(mask: BoolArray) -> BoolArray:
    """The mask grown by one point in all eight directions."""
    wide = mask.copy()
    wide[:, 1:] |= mask[:, :-1]
    wide[:, :-1] |= mask[:, 1:]
    out = wide.copy()
    out[1:] |= wide[:-1]
    out[:-1] |= wide[1:]
    return out


def _tops(
    r: FloatArray, places: NDArray[np.int64], radii: FloatArray, peaks: FloatArray, pitch: tuple[float, float]
) -> FloatArray:
    """Tops of the features, from patches fitted by least squares."""
    tops = peaks.copy()
    half = np.stack([np.clip(np.round(PATCH * radii / step), 1, 4).astype(int) for step in pitch], axis=1)
    fine = max(pitch) <= COARSEST * radii
    for hy, hx in {(int(a), int(b)) for a, b in half[fine]}:
        dy, dx = (axis.reshape(-1) for axis in np.mgrid[-hy : hy + 1, -hx : hx + 1].astype(np.float64))
        solve = np.linalg.pinv(np.stack([dy * 0 + 1, dy, dx, dy * dy, dy * dx, dx * dx], axis=1))
        some = np.flatnonzero((half[:, 0] == hy) & (half[:, 1] == hx) & fine)
        y, x = places[some, :1] + dy.astype(int), places[some, 1:] + dx.astype(int)
        inside = ((y >= 0) & (y < r.shape[0]) & (x >= 0) & (x < r.shape[1])).all(axis=1)
        some, y, x = some[inside], y[inside], x[inside]
        _, by, bx, cyy, cyx, cxx = c = solve @ r[y, x].T
        curl = 4 * cyy * cxx - cyx**2
        with np.errstate(all="ignore"):
            my, mx = (cyx * bx - 2 * cxx * by) / curl, (cyx * by - 2 * cyy * bx) / curl
            top = c[0] + (by * my + bx * mx) / 2
            good = (cyy < 0) & (cxx < 0) & (curl > 0) & (abs(my) <= hy) & (abs(mx) <= hx)  # NaN is never good
        tops[some[good]] = top[good]
    return tops


def _footprints(
    flat: FloatArray, basins: Basins, level: FloatArray, nx: int, pitch: tuple[float, float]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Diameter, elongation and centre of what lies above a level of each feature."""
    n = len(level)
    above = flat[basins.points] > level[basins.owners]
    owner = basins.owners[above]
    y, x = np.divmod(basins.points[above], nx)
    y, x = (y + 0.5) * pitch[0], (x + 0.5) * pitch[1]
    count = np.bincount(owner, minlength=n).astype(np.float64)

    def mean(values: FloatArray) -> FloatArray:
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(np.bincount(owner, values, minlength=n) / count)

    cy, cx = mean(y), mean(x)
    u, v = y - cy[owner], x - cx[owner]
    # A pixel is no point: its own second moment, pitch²/12, keeps a line of pixels from looking infinitely thin.
    yy, xx, yx = mean(u * u) + pitch[0] ** 2 / 12, mean(v * v) + pitch[1] ** 2 / 12, mean(u * v)
    middle, half = (yy + xx) / 2, np.hypot((yy - xx) / 2, yx)
    with np.errstate(invalid="ignore"):
        elongation = np.sqrt((middle + half) / (middle - half))
    diameter = 2 * np.sqrt(count * pitch[0] * pitch[1] / math.pi)
    return diameter, elongation, np.stack([cy, cx], axis=1)
