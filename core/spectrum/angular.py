"""How the power of a map is spread over directions."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from core.heightmap import FloatArray, frozen
from core.spectrum.areal import ArealSpectrum
from core.spectrum.line import radial_average
from core.spectrum.taper import CORRELATION

SECTORS = 180
"""Directions over half a turn: one a degree."""

SMOOTHING = 3.0
"""Standard deviation, degrees, of the Gaussian that joins neighbouring directions."""

NEAR = 22
"""Degrees to either side of the strongest direction: the quarter whose power is held against the rest."""

QUARTER = (2 * NEAR + 1) / SECTORS

CHANCE = 0.01
"""Share of isotropic surfaces whose power may gather as much by chance."""

LEAST_BINS = 2.0
"""Distance from the origin, in bins, below which a bin is as wide as its distance and has no direction."""


@dataclass(frozen=True, slots=True, eq=False)
class AngularSpectrum:
    """Power by direction of the wave vector.

    Attributes
    ----------
    angles : ndarray, shape (180,)
        Degrees anticlockwise, as shown, from the fast axis, 0 to 179.
    power : ndarray, shape (180,)
        Power of the waves in that direction, 1 on average over all directions.
    strongest : float
        Direction of the greatest power, degrees, 0 up to 180.
    gathered : float
        Share of all power that lies within 22° of it: 0.25 where all directions are alike, at most 1.
    chance : float
        Share that an isotropic surface with the same radial spectrum passes once in 100 maps.
    """

    angles: FloatArray
    power: FloatArray
    strongest: float
    gathered: float
    chance: float

    @property
    def distinct(self) -> bool:
        """Whether a direction stands out beyond chance."""
        return self.gathered > self.chance


OUTSIDE = 91
"""Sector of the bins that do not count."""


def angular_spectrum(spectrum: ArealSpectrum) -> AngularSpectrum:
    """Power over direction, all wavenumbers below the Nyquist wavenumber of the coarser axis taken together.

    Parameters
    ----------
    spectrum : ArealSpectrum
        With the Hann window: the cross that edges draw into a spectrum without window is taken for a direction.

    Returns
    -------
    AngularSpectrum
        Joined over neighbouring directions by a Gaussian of 3°.

    Notes
    -----
    The sum over bins in a sector stands for the integral of density × f df in polar coordinates. Bins near the origin
    cannot tell directions apart; those of the window's own width (fewer than two bins away) are left out.
    """
    power = _summed(spectrum)
    total = float(power.sum())
    if not total > 0:
        return AngularSpectrum(frozen(np.arange(float(SECTORS))), frozen(np.ones(SECTORS)), 0.0, QUARTER, 1.0)
    smooth = _joined(power) * (SECTORS / total)
    best = int(np.argmax(smooth))
    before, at, after = smooth[best - 1], smooth[best], smooth[(best + 1) % SECTORS]
    bend = before - 2 * at + after
    shift = 0.5 * float((before - after) / bend) if bend < 0 else 0.0
    near = np.arange(best - NEAR, best + NEAR + 1) % SECTORS
    return AngularSpectrum(
        frozen(np.arange(float(SECTORS))),
        frozen(smooth),
        (best + shift) % 180.0,
        float(power[near].sum()) / total,
        _gathered_by_chance(spectrum),
    )


def _summed(spectrum: ArealSpectrum) -> FloatArray:
    """Sum of the densities over the bins of each sector."""
    sector = _sectors(spectrum.shape, spectrum.pitch)
    half = sector.shape[0]
    mirrored = spectrum.shape[0] - half
    lower = np.bincount(sector.reshape(-1), spectrum.densities[:half].reshape(-1), minlength=OUTSIDE + 1)
    # Rows count downwards, so that a negative fy is a wave vector that points up. Both axes are in the lower part.
    up = spectrum.densities[: -mirrored - 1 : -1, 1:]
    upper = np.bincount(sector[1 : mirrored + 1, 1:].reshape(-1), up.reshape(-1), minlength=OUTSIDE + 1)
    power = np.zeros(SECTORS + 1)
    power[:OUTSIDE] = upper[:OUTSIDE]
    power[OUTSIDE - 1 :] += lower[:OUTSIDE][::-1]
    power[0] += power[SECTORS]
    return power[:SECTORS]


@lru_cache(maxsize=2)
def _sectors(shape: tuple[int, int], pitch: tuple[float, float]) -> NDArray[np.uint8]:
    """The sector, 0 to 90, of every bin with fy ≥ 0, fx ≥ 0; it depends on the lattice alone and is kept."""
    down, across = (np.arange(n // 2 + 1) / (n * d) for n, d in zip(shape, pitch, strict=True))
    fy, fx = down[:, None], across[None, :]
    sector = (np.degrees(np.arctan2(fy, fx)) + 0.5).astype(np.uint8)
    radius = np.sqrt(np.square(fy) + np.square(fx))
    low, high = LEAST_BINS * max(down[1], across[1]), 0.5 / max(pitch)
    sector[(radius < low * (1 - 1e-9)) | (radius > high * (1 + 1e-9))] = OUTSIDE
    return sector


def _joined(power: FloatArray) -> FloatArray:
    """Circular convolution of the sectors with the Gaussian of 3°."""
    away = np.minimum(np.arange(SECTORS), SECTORS - np.arange(SECTORS))
    kernel = np.exp(-0.5 * np.square(away / SMOOTHING))
    return np.maximum(np.fft.irfft(np.fft.rfft(power) * np.fft.rfft(kernel / kernel.sum()), SECTORS), 0.0)


def _gathered_by_chance(spectrum: ArealSpectrum) -> float:
    """Share of the power that an isotropic surface rarely gathers in any quarter of the directions.

    Its bins are independent exponential variables: with k of them (counted by their power), the share of a quarter
    follows a beta distribution. Half-overlapping quarters tried at once make the level stricter by their number.
    """
    from scipy.special import betaincinv

    rings = radial_average(spectrum)
    counted = rings.wavenumbers >= LEAST_BINS * max(spectrum.steps) * (1 - 1e-9)
    density, number = rings.densities[counted], rings.independent[counted]
    square = float(number @ np.square(density))
    if not square > 0:
        return 1.0
    k = float(number @ density) ** 2 / square / CORRELATION[spectrum.window] ** 2
    return float(betaincinv(QUARTER * k, (1 - QUARTER) * k, 1 - CHANCE * QUARTER / 2))
