r"""Bumps and hollows of one map: found on the particle-eye map, parted, measured, and where they may be counted."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.errors import QuantityError
from core.filters.gaussian import AreaGaussian
from core.filters.weights import SIGMA
from core.heightmap import BoolArray, FloatArray, HeightMap, frozen
from core.relief.bodies import Bodies, measure
from core.relief.eye import Eye, Seen, see
from core.relief.separate import Basins, separate

K = 5.0
"""Height of a bump in robust sigma, at least. A Gaussian texture reaches it once in 10⁶ independent places or so."""

FLANK = 1.5
"""Sigma over the ground down to which a feature with its flanks is masked."""

GAP = 2
"""Points that a gap may be wide to be bridged: features that it crosses are one."""

PARTED = 0.65
"""Distance within which two equal bumps are seen as one, in base widths (33 to 39 nm at 56 nm: simulated)."""

MERGED = 0.02
"""Share of bumps lost to neighbours above which densities are flagged."""


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """The bumps (or hollows) of one map.

    Attributes
    ----------
    seen : Seen
        The map they were found on.
    down : bool
        Whether these are hollows.
    threshold : float
        Least height of the highest point over the ground, metres.
    sigma : float
        Robust standard deviation of the particle-eye map on the side that features cannot inflate, metres.
    bodies : Bodies
        All that were found, measured.
    counted : ndarray of bool, shape (n,)
        Whether a feature lies in the counted area.
    area : float
        The counted area, m²: the map less a guard frame, less what lies near openings in it.
    basins : Basins
        Their points.
    """

    seen: Seen
    down: bool
    threshold: float
    sigma: float
    bodies: Bodies
    counted: BoolArray
    area: float
    basins: Basins

    @property
    def count(self) -> int:
        """Number of features in the counted area."""
        return int(np.count_nonzero(self.counted))

    @property
    def merging(self) -> float:
        r"""Share of features that were probably taken for one with a neighbour.

        :math:`1 - e^{-\rho\pi s^2/2}`, the density corrected for the loss itself; s = 0.65 of the median base width.
        """
        if self.count == 0 or self.area <= 0:
            return 0.0
        s = PARTED * 2 * float(np.median(self.bodies.radii[self.counted]))
        lost = 0.0
        for _ in range(50):
            lost = 1 - math.exp(-self.count / max(1 - lost, 0.05) / self.area * math.pi * s * s / 2)
        return lost

    def mask(self) -> BoolArray:
        """True on the features and their flanks, down to 1.5 robust sigma over the ground; shape (ny, nx)."""
        from scipy import ndimage

        r = self.seen.r if not self.down else -self.seen.r
        own = np.zeros(r.shape, bool)
        own.reshape(-1)[self.basins.points] = True
        with np.errstate(invalid="ignore"):
            pieces, number = ndimage.label((r > FLANK * self.sigma) | own, structure=np.ones((3, 3), bool))
        theirs = np.zeros(number + 1, bool)
        theirs[pieces[own]] = True
        theirs[0] = False
        return np.asarray(theirs[pieces])


def find(
    scan: HeightMap | Seen,
    eye: Eye | None = None,
    *,
    k: float | None = K,
    height: float | None = None,
    down: bool = False,
) -> Found:
    """The bumps of a map, or its hollows.

    Parameters
    ----------
    scan : HeightMap or Seen
        A levelled map, or one already seen.
    eye : Eye, optional
        The size looked for; needed with a map.
    k : float, optional
        Threshold in robust sigma, default 5; None leaves it to `height`.
    height : float, optional
        Threshold in metres. With `k` the higher one of both holds.
    down : bool, default False
        Hollows instead.

    Returns
    -------
    Found

    Raises
    ------
    QuantityError
        If there is no threshold, or it is not positive.
    MapError
        If the map is too small or too empty.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> z = 1e-10 * rng.standard_normal((128, 128))
    >>> y, x = np.mgrid[:128, :128] * 4e-9
    >>> z = np.maximum(z, 10e-9 - ((y - 2e-7) ** 2 + (x - 3e-7) ** 2) / 30e-9)
    >>> found = find(HeightMap(z, pitch=(4e-9, 4e-9)), Eye.of(20e-9, 10e-9, (4e-9, 4e-9)))
    >>> found.count, round(float(found.bodies.heights[0]) * 1e9)
    (1, 10)
    """
    if not isinstance(scan, Seen):
        if eye is None:
            raise QuantityError(
                "The size looked for is needed", fix="Give an Eye, such as Eye.of(20e-9, 10e-9, pitch)."
            )
        scan = see(scan, eye)
    sigma = scan.upper_sigma if down else scan.sigma
    r = -scan.r if down else scan.r
    threshold = _threshold(sigma, k, height)
    if threshold == 0:  # more than half of the points are equal: then anything above them stands out
        threshold = np.finfo(float).tiny
    basins = separate(_bridged(r), threshold, scan.noise)
    bodies = measure(r, basins, threshold=threshold, sigma=sigma, pitch=scan.pitch)
    area = countable(scan)
    counted = area[bodies.places[:, 0], bodies.places[:, 1]]
    pixel = scan.pitch[0] * scan.pitch[1]
    return Found(
        scan, down, threshold, sigma, bodies, frozen_mask(counted), float(np.count_nonzero(area)) * pixel, basins
    )


def _threshold(sigma: float, k: float | None, height: float | None) -> float:
    if k is None and height is None:
        raise QuantityError("Bumps need a threshold", fix="Give k in robust sigma, a height, or both.")
    for value, what in ((k, "k"), (height, "height")):
        if value is not None and not 0 < value < math.inf:
            raise QuantityError(f"The threshold “{what}” is positive, not {value}")
    return max(0.0 if k is None else k * sigma, height or 0.0)


def countable(seen: Seen) -> BoolArray:
    """Where features are counted: inside a guard frame, and as far from openings (gaps wider than two points)."""
    from scipy import ndimage

    guard = seen.eye.guard(seen.pitch)
    inside = np.zeros(seen.r.shape, bool)
    frame = [math.ceil(guard / step - 1e-9) for step in seen.pitch]
    rows, columns = seen.r.shape[0], seen.r.shape[1]
    inside[frame[0] : max(0, rows - frame[0]), frame[1] : max(0, columns - frame[1])] = True
    gone = np.isnan(seen.r)
    if gone.any():
        wide = ndimage.binary_opening(gone, np.ones((GAP + 1, GAP + 1), bool))
        if wide.any():
            near = ndimage.distance_transform_edt(~wide, sampling=seen.pitch) <= guard
            inside &= ~near
    return inside


def _bridged(r: FloatArray) -> FloatArray:
    """The map with its narrow gaps closed, for the labels only; nothing else ever sees the heights made up here."""
    gone = np.isnan(r)
    if not gone.any():
        return r
    from scipy import ndimage

    narrow = gone & ~ndimage.binary_opening(gone, np.ones((GAP + 1, GAP + 1), bool))
    w = (~gone).astype(np.float64)
    zw = np.where(gone, 0.0, r)
    shape = (r.shape[0], r.shape[1])
    near, _ = AreaGaussian(shape, (1.0, 1.0), 1 / SIGMA).weighted(lambda rows: zw[rows], lambda rows: w[rows])
    bridged = r.copy()
    bridged[narrow] = near[narrow]
    return frozen(bridged)


def frozen_mask(mask: NDArray[np.bool_]) -> BoolArray:
    """The same mask, read-only."""
    mask.flags.writeable = False
    return mask
