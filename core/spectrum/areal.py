"""The power spectral density of a map over both wavenumbers: one convention, exact sums."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from core.errors import MapError
from core.filters.weights import sampled_transfer
from core.heightmap import FloatArray, HeightMap, frozen
from core.spectrum.taper import Window, tapered

LEAST_SIDE = 4
"""Points along each axis below which there is nothing to call a spectrum."""

BLOCK = 32
"""Columns transformed at a time: they stay in the cache until they are densities."""

CONVENTION = (
    "Two-sided areal density, wavenumbers in cycles per metre (no 2π): dx·dy·|FFT|²/Σa², a the window times 1 where a "
    "point counts and 0 elsewhere; its sum over all bins times the area of a bin is the mean square height under a²."
)


@dataclass(frozen=True, slots=True, eq=False)
class ArealSpectrum:
    """Two-sided power spectral density over both wavenumbers; the half plane fx ≥ 0 stands for the whole.

    Attributes
    ----------
    fy : ndarray, shape (ny,)
        Wavenumbers down the columns in transform order (0, 1, …, −1), cycles per metre.
    fx : ndarray, shape (nx // 2 + 1,)
        Wavenumbers along the rows, 0 and up, cycles per metre.
    densities : ndarray, shape (ny, nx // 2 + 1)
        m⁴. Bins that are left out have the same value as their mirror image through the origin.
    shape : (int, int)
        Points of the map.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    window : {"hann", "none"}
        The window that was used.
    convention : str
        What the numbers mean, in words.
    """

    fy: FloatArray
    fx: FloatArray
    densities: FloatArray
    shape: tuple[int, int]
    pitch: tuple[float, float]
    window: Window
    convention: str = CONVENTION

    @property
    def steps(self) -> tuple[float, float]:
        """Distances of neighbouring bins ``(dfy, dfx)``, cycles per metre."""
        return 1 / (self.shape[0] * self.pitch[0]), 1 / (self.shape[1] * self.pitch[1])

    @property
    def nyquist(self) -> float:
        """Wavenumber of two points per wave on the coarser axis, cycles per metre: beyond it rings are not whole."""
        return 0.5 / max(self.pitch)

    def quadrant(self) -> FloatArray:
        """The whole plane folded onto fy ≥ 0, fx ≥ 0: sums of the densities at (±fy, ±fx), m⁴.

        Shape (ny // 2 + 1, nx // 2 + 1); a sum has 1, 2 or 4 members.
        """
        ny, nx = self.shape
        half = ny // 2 + 1
        mirrored = ny - half  # rows with a negative wavenumber
        summed = self.densities[:half] * folds(nx)
        summed[1 : mirrored + 1] += self.densities[: -mirrored - 1 : -1] * folds(nx)
        return summed

    def mean_square(self, gain: Callable[[FloatArray, FloatArray], FloatArray] | None = None) -> float:
        """Mean square height, after a linear filter if one is given.

        Parameters
        ----------
        gain : callable, optional
            Squared transfer of the filter from ``(|fy|, fx)``, shapes (m, 1) and (1, n), cycles per metre.

        Returns
        -------
        float
            m²: the sum of density × gain × area of a bin over the whole plane (Parseval's sum).
        """
        summed = self.quadrant()
        if gain is not None:
            summed *= gain(np.abs(self.fy[: summed.shape[0], None]), self.fx[None, :])
        return float(summed.sum()) * math.prod(self.steps)

    def band_rms(self, low: float = 0.0, high: float = math.inf) -> float:
        """RMS height of the waves between two wavenumbers, as a filter with sharp edges would leave it.

        Parameters
        ----------
        low, high : float
            Wavenumbers in cycles per metre; bins with low ≤ f < high count whole, so neighbouring bands add up.

        Returns
        -------
        float
            Metres. With the window "none" and no holes it equals the RMS of the map after the same filter exactly.

        Raises
        ------
        MapError
            If the limits are not in order.
        """
        if not 0 <= low < high:
            raise MapError(f"A band reaches from a lower to a higher wavenumber, not from {low} to {high} 1/m")

        def inside(fy: FloatArray, fx: FloatArray) -> FloatArray:
            f = np.hypot(fy, fx)
            return np.asarray((f >= low) & (f < high), dtype=np.float64)

        return math.sqrt(self.mean_square(inside))

    def gaussian_band_rms(self, shortest: float | None = None, longest: float | None = None) -> float:
        r"""RMS height after the areal Gaussian S-filter (`shortest`) and L-filter (`longest`) of ISO 16610-61.

        The transfer on each axis is that of the *sampled* weights exp(−π (x/αλ)²), α = √(ln 2/π): a continuous Gaussian
        would be 2 % of Sq wrong at 4 pixels.

        Parameters
        ----------
        shortest, longest : float, optional
            Nesting indices (cut-off wavelengths), metres; None leaves a filter out.

        Returns
        -------
        float
            Metres: what the filters leave of a periodic map. A filter that cuts its edges sees a smaller area.
        """

        def transfer(cutoff: float) -> FloatArray:
            down = _gaussian_transfer(np.abs(self.fy[: self.shape[0] // 2 + 1]), self.pitch[0], cutoff)
            return np.outer(down, _gaussian_transfer(self.fx, self.pitch[1], cutoff))

        def gain(_fy: FloatArray, _fx: FloatArray) -> FloatArray:
            kept = np.ones((1, 1)) if shortest is None else transfer(shortest)
            if longest is not None:
                kept = kept * (1.0 - transfer(longest))
            return np.asarray(kept * kept)

        return math.sqrt(self.mean_square(gain))


def areal_spectrum(scan: HeightMap, *, window: Window = "hann") -> ArealSpectrum:
    r"""Two-sided areal power spectral density of a map.

    Parameters
    ----------
    scan : HeightMap
        The map, usually levelled: what a plane leaves in leaks over all wavenumbers.
    window : {"hann", "none"}, default "hann"
        "hann" for spectra that are looked at and fitted: without it the two edges of a map that do not match throw the
        power of long waves onto all short ones along the axes. "none" where sums must be exact, or for periodic maps.

    Returns
    -------
    ArealSpectrum
        m⁴.

    Raises
    ------
    MapError
        If the map has fewer than 4 rows or columns, or no point that counts.

    Notes
    -----
    .. math::

        C(f_y, f_x) = \frac{\Delta x\,\Delta y}{\sum a^2}
            \Big|\sum a\,(z - \bar z_a)\,e^{-2\pi i (f_y y + f_x x)}\Big|^2

    For a complete map without window this is :math:`\Delta x \Delta y / (N_x N_y)\,|FFT|^2`; the Hann window divides by
    its mean square 0.140625 in addition. Holes get the weight 0. The spectrum is then blurred by that of the holes: a
    share p of holes at random spreads a share p of the power evenly over all wavenumbers. No power is lost by it.

    Examples
    --------
    >>> x = np.arange(64) * 1e-8
    >>> scan = HeightMap(1e-9 * np.cos(2 * np.pi * x / 8e-8) * np.ones((64, 1)), pitch=(1e-8, 1e-8))
    >>> spectrum = areal_spectrum(scan, window="none")
    >>> round(float(spectrum.densities.max() * 1e36 * 4 / 640**2), 9)  # A² L²/4
    1.0
    >>> round(spectrum.mean_square() * 2e18, 9)
    1.0
    """
    from scipy import fft

    if min(scan.shape) < LEAST_SIDE:
        raise MapError(
            f"A map of {scan.shape[0]} × {scan.shape[1]} points is too small for an areal spectrum",
            fix=f"Take at least {LEAST_SIDE} × {LEAST_SIDE} points.",
        )
    heights, power = tapered(scan, window)
    heights *= math.sqrt(scan.pitch[0] * scan.pitch[1] / power)
    along = fft.rfft(heights, axis=1)
    densities = np.empty(along.shape)
    for left in range(0, along.shape[1], BLOCK):
        block = slice(left, left + BLOCK)
        both = fft.fft(along[:, block], axis=0)
        np.square(both.real, out=densities[:, block])
        densities[:, block] += np.square(both.imag)
    (ny, nx), (dy, dx) = scan.shape, scan.pitch
    return ArealSpectrum(
        frozen(np.asarray(np.fft.fftfreq(ny, dy), dtype=np.float64)),
        frozen(np.asarray(np.fft.rfftfreq(nx, dx), dtype=np.float64)),
        frozen(densities),
        scan.shape,
        scan.pitch,
        window,
    )


def folds(n: int) -> FloatArray:
    """How many of the n bins of an axis share each non-negative wavenumber."""
    folds = np.full(n // 2 + 1, 2.0)
    folds[0] = 1.0
    if n % 2 == 0:
        folds[-1] = 1.0
    return folds


def _gaussian_transfer(f: FloatArray, pitch: float, cutoff: float) -> FloatArray:
    if not 0 < cutoff < math.inf:
        raise MapError(f"A cut-off is a positive length, not {cutoff} m")
    return sampled_transfer(f * pitch, cutoff / pitch)
