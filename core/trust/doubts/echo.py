"""At which shifts a map repeats itself: the transform of the logarithm of its spectrum."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from core.artefacts import MAD_TO_SIGMA
from core.heightmap import FloatArray
from core.trust.doubts.look import Look, rob
from core.trust.doubts.periodogram import EXPONENTIAL_MEDIAN, Periodogram, periodogram

CONTRAST = 5.0
"""Contrast that both maps must exceed at the same shift."""

NEAREST, FARTHEST = 8, 60
"""Points between which shifts are looked for: a closer second end is lost in the texture's own correlation."""

LEAST_SHARE = 0.06
"""Share of the bins that must hold texture: smooth surfaces have too few to show a ripple.

Lapped ones and terraces do not show one either, and terraces repeat themselves: a texture with a direction is left out.
"""

ABOVE_CORNER = 3.0
CUT = 3.0
SMOOTH, LEVEL = 2.0, 6.0  # sigma of both Gaussian means, bins
LARGEST_SIDE = 512
"""Points of the middle of the map that are looked at: more shifts than that are not wanted."""

RING = (2.5, 9.5)
AROUND = (3, 10)
DIRECTIONS = 12
QUIET = 0.8


@dataclass(frozen=True, slots=True, eq=False)
class Echo:
    """Transform of the rippled logarithm, in robust sigma, by shift of either sign; shift 0 in the middle."""

    image: NDArray[np.float32] = field(repr=False)
    reach: int

    def contrast(self, down: NDArray[np.intp], across: NDArray[np.intp]) -> FloatArray:
        """How far shifts stand out from what surrounds them, shape (n,)."""
        box = np.arange(-1, 2)
        top = self._at(down[:, None, None] + box[:, None], across[:, None, None] + box).max(axis=(1, 2))
        angles = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
        steps = np.arange(AROUND[0], AROUND[1] + 1)
        steps = np.concatenate([-steps, steps])
        turned_y, turned_x = (
            np.rint(np.outer(turn, steps)).astype(np.intp) for turn in (np.sin(angles), np.cos(angles))
        )
        along = self._at(down[:, None, None] + turned_y, across[:, None, None] + turned_x)
        square = np.arange(-int(RING[1]), int(RING[1]) + 1)
        radius = np.hypot(square[:, None], square[None, :])
        ring_y, ring_x = np.nonzero((radius > RING[0]) & (radius < RING[1]))
        ring = self._at(down[:, None] + square[ring_y], across[:, None] + square[ring_x])
        spread = MAD_TO_SIGMA * np.median(np.abs(ring - np.median(ring, axis=1)[:, None]), axis=1)
        return np.asarray((top - np.median(along, axis=2).max(axis=1)) / np.maximum(QUIET, spread))

    def peaks(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Shifts of the upper half plane that are higher than their neighbours and may have the contrast."""
        down, across = np.mgrid[0 : self.reach + 1, -self.reach : self.reach + 1]
        radius = np.hypot(down, across)
        wanted = (radius >= NEAREST) & (radius <= self.reach) & ((down > 0) | (across > 0))
        wanted &= self._at(down, across) > CONTRAST * QUIET - 1
        y, x = down[wanted], across[wanted]
        box = np.arange(-1, 2)
        around = self._at(y[:, None, None] + box[:, None], x[:, None, None] + box).reshape(len(y), 9)
        peak = around.argmax(axis=1) == 4
        return y[peak], x[peak]

    def _at(self, down: NDArray[np.intp], across: NDArray[np.intp]) -> FloatArray:
        middle = self.image.shape[0] // 2
        return np.asarray(self.image[down + middle, across + middle])


def echo_of(look: Look) -> Echo | None:
    """The echo image of a map, None where the texture fills too little of the spectrum or has a direction."""
    if look.directional:
        return None
    from scipy.fft import irfft2
    from scipy.ndimage import gaussian_filter

    middle = tuple(slice((n - min(n, LARGEST_SIDE)) // 2, (n + min(n, LARGEST_SIDE)) // 2) for n in look.raw.shape)
    power = periodogram(look.clipped[middle], unit=look.rough)
    log = np.log(np.maximum(_whole(power), 1e-300))
    corner = np.log(max(ABOVE_CORNER * power.corner_median() / EXPONENTIAL_MEDIAN, 1e-300))
    texture = gaussian_filter(log, SMOOTH, mode="wrap") > corner
    if np.mean(texture) < LEAST_SHARE:
        return None
    weight = gaussian_filter(texture.astype(np.float64), LEVEL, mode="wrap")
    level = gaussian_filter(np.where(texture, log, 0.0), LEVEL, mode="wrap") / np.maximum(weight, 1e-6)
    ripple = np.where(texture, np.clip(log - level, -CUT, CUT), 0.0)
    image = irfft2(ripple[:, : power.columns // 2 + 1], (power.rows, power.columns))
    return scaled(np.fft.fftshift(image))


def _whole(power: Periodogram) -> FloatArray:
    """Both halves of the plane of wavenumbers, shape (rows, columns)."""
    down, across = np.ogrid[0 : power.rows, 0 : power.columns]
    return power.at(*np.broadcast_arrays(down, across))


def scaled(image: FloatArray, reach: int | None = None) -> Echo | None:
    """The echo whose image is this one, shift 0 in its middle, in robust sigma of the shifts that are looked at."""
    rows, columns = image.shape
    reach = min(FARTHEST, rows // 4, columns // 4) if reach is None else reach
    around = reach + int(RING[1]) + 1  # what contrast looks at
    middle = image[tuple(slice(n // 2 - around, n // 2 + around + 1) for n in image.shape)]
    across = np.arange(-around, around + 1)
    radius = np.hypot(across[:, None], across)
    sigma = rob(middle[(radius >= NEAREST) & (radius <= reach)])
    return Echo((middle / sigma).astype(np.float32), reach) if sigma > 0 else None
