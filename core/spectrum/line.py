"""Spectra over one wavenumber: radial average, along the fast and along the slow axis."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal, Self

import numpy as np
from numpy.typing import NDArray

from core.errors import MapError
from core.heightmap import BoolArray, FloatArray, HeightMap, frozen
from core.selection import typical_height
from core.spectrum.areal import LEAST_SIDE, ArealSpectrum, folds
from core.spectrum.taper import CORRELATION, Window, window_weights
from core.units import metres_per

ROWS, COLUMNS = 32, 32
"""Rows, and then columns, transformed at a time: they stay in the cache from one step to the next."""

Kind = Literal["radial", "fast axis", "slow axis"]

CONVENTIONS: dict[Kind, str] = {
    "radial": "Two-sided areal density (m⁴) averaged over rings of wavenumber as wide as one bin, cycles per metre.",
    "fast axis": "Two-sided density of the rows (m³), their means taken off, averaged over the rows, cycles per metre.",
    "slow axis": "Two-sided density of the columns (m³), their means taken off, averaged over the columns, "
    "cycles per metre.",
}


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """A power spectral density over one wavenumber.

    Attributes
    ----------
    kind : {"radial", "fast axis", "slow axis"}
        How it was made.
    wavenumbers : ndarray, shape (n,)
        Cycles per metre, ascending; wavenumber 0 is left out.
    densities : ndarray, shape (n,)
        m⁴ for the radial average, m³ along an axis.
    independent : ndarray, shape (n,)
        Number of independent values behind each density, before a window makes neighbours alike.
    steps : tuple of float
        Width of a bin on each axis of the transform, ``(dfy, dfx)`` or ``(df,)``, cycles per metre.
    window : {"hann", "none"}
        The window that was used.
    convention : str
        What the densities mean, in words.
    sided : {1, 2}
        2: negative wavenumbers hold the same again. 1: their share has been added.
    """

    kind: Kind
    wavenumbers: FloatArray
    densities: FloatArray
    independent: FloatArray
    steps: tuple[float, ...]
    window: Window
    convention: str
    sided: Literal[1, 2] = 2

    @property
    def dimension(self) -> int:
        """2 for an areal density in m⁴, 1 for a density along an axis in m³."""
        return len(self.steps)

    @property
    def freedom(self) -> FloatArray:
        """Number of independent values behind each density when the likeness of neighbouring bins is counted out."""
        return self.independent / CORRELATION[self.window] ** self.dimension

    def one_sided(self) -> Self:
        """The same with the share of the negative wavenumbers added: twice the density. Only along an axis.

        Raises
        ------
        MapError
            For a radial average: a ring has no sides.
        """
        if self.dimension != 1:
            raise MapError("Only a spectrum along an axis can be one-sided")
        if self.sided == 1:
            return self
        text = self.convention.replace("Two-sided", "One-sided")
        return replace(self, densities=frozen(2 * self.densities), convention=text, sided=1)

    def joined(self, per_decade: int) -> Self:
        """The same with neighbouring bins joined to so many for each decade, for a calm line in a picture.

        Parameters
        ----------
        per_decade : int
            Bins for each decade of wavenumbers; where the bins are wider than that they stay as they are.

        Returns
        -------
        Spectrum
            Means of the wavenumbers and of the densities, each weighted by the number of independent values.
        """
        if self.wavenumbers.size == 0:
            return self
        decades = np.log10(self.wavenumbers / self.wavenumbers[0])
        _, place = np.unique(np.floor(decades * per_decade + 1e-9).astype(np.int64), return_inverse=True)
        weight: FloatArray = np.bincount(place, self.independent).astype(np.float64)
        wavenumbers, densities = (
            frozen(np.bincount(place, self.independent * values).astype(np.float64) / weight)
            for values in (self.wavenumbers, self.densities)
        )
        return replace(self, wavenumbers=wavenumbers, densities=densities, independent=frozen(weight))

    def in_units(self, height: str = "nm", lateral: str = "um") -> tuple[FloatArray, FloatArray, str, str]:
        """Wavenumbers and densities in units for an axis of a plot or a drawing.

        Parameters
        ----------
        height, lateral : str
            ``("nm", "mm")`` gives nm²·mm over 1/mm and ``("um", "um")`` gives µm³ over 1/µm, the two ways in which
            indications after ISO 10110-8 are written (from memory; state the sides beside them).

        Returns
        -------
        wavenumbers, densities : ndarray
            In `wavenumber_unit` and `density_unit`.
        wavenumber_unit, density_unit : str
            Text for the axes.

        Examples
        --------
        >>> one = np.ones(1)
        >>> profile = Spectrum("fast axis", 1e6 * one, 1e-24 * one, one, (1.0,), "none", "")
        >>> f, density, across, up = profile.in_units("nm", "um")
        >>> float(f[0]), round(float(density[0]), 9), across, up
        (1.0, 1.0, '1/µm', 'nm²·µm')
        """
        up, across = metres_per(height), metres_per(lateral)
        h, length = (text.replace("um", "µm") for text in (height, lateral))
        power = "" if self.dimension == 1 else "²"
        unit = f"{h}²·{length}{power}" if h != length else f"{h}{'³' if self.dimension == 1 else '⁴'}"
        return self.wavenumbers * across, self.densities / up**2 / across**self.dimension, f"1/{length}", unit

    def band_rms(self, low: float, high: float) -> float:
        """RMS height between two wavenumbers, the density taken as a power law between neighbouring bins.

        Parameters
        ----------
        low, high : float
            Cycles per metre, inside the range of the wavenumbers.

        Returns
        -------
        float
            Metres: √∫ of 2πf·C(f) for the radial average, of 2·C(f) (two-sided) or C(f) (one-sided) along an axis.

        Raises
        ------
        MapError
            If the band leaves the spectrum.
        """
        f, measure = self.wavenumbers, self.densities * self._measure()
        if not f[0] * (1 - 1e-12) <= low < high <= f[-1] * (1 + 1e-12):
            raise MapError(
                f"The band {low:.4g} to {high:.4g} 1/m leaves the spectrum of {f[0]:.4g} to {f[-1]:.4g} 1/m",
                fix="Ask for a band inside it.",
            )
        inner = f[(f > low) & (f < high)]
        nodes = np.concatenate(([low], inner, [high]))
        log_f = np.log(nodes)
        floor = np.finfo(float).tiny  # a density of zero has no logarithm
        log_g = np.interp(log_f, np.log(f), np.log(np.maximum(measure, floor))) + log_f
        # over ln f the integrand f·C is an exponential between nodes, whatever its exponent
        rise = np.diff(log_g)
        mean = np.where(np.abs(rise) < 1e-6, 1 + rise / 2, np.expm1(rise) / np.where(rise == 0, 1.0, rise))
        return math.sqrt(float(np.sum(np.exp(log_g[:-1]) * mean * np.diff(log_f))))

    def _measure(self) -> FloatArray:
        if self.dimension == 2:
            return 2 * np.pi * self.wavenumbers
        return np.full(self.wavenumbers.size, float(self.sided))


def radial_average(spectrum: ArealSpectrum) -> Spectrum:
    """Mean areal density over rings of equal wavenumber.

    Parameters
    ----------
    spectrum : ArealSpectrum
        Of any map; oblong pixels and oblong maps have rings in wavenumber, not in bins.

    Returns
    -------
    Spectrum
        m⁴ over the mean wavenumber of each ring. Rings are as wide as the wider of the two bins and end where they are
        no longer whole, at two points per wave on the coarser axis.

    Examples
    --------
    >>> from core.spectrum.areal import areal_spectrum
    >>> z = 1e-9 * np.random.default_rng(1).standard_normal((128, 128))
    >>> white = radial_average(areal_spectrum(HeightMap(z, pitch=(1e-8, 1e-8))))
    >>> level = np.average(white.densities, weights=white.independent) / (1e-9**2 * 1e-8**2)
    >>> 0.9 < float(level) < 1.1  # σ² dx dy at every wavenumber
    True
    """
    rings = _rings(spectrum.shape, spectrum.pitch)
    total = np.bincount(rings.index, spectrum.quadrant().reshape(-1), minlength=rings.number.size)
    whole = slice(1, int(spectrum.nyquist / max(spectrum.steps) + 1e-9) + 1)
    return Spectrum(
        "radial",
        frozen(rings.wavenumbers[whole]),
        frozen(total[whole] / rings.number[whole]),
        frozen(rings.number[whole] / 2),  # every bin stands for itself and its mirror image
        spectrum.steps,
        spectrum.window,
        CONVENTIONS["radial"],
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Rings:
    """The ring of every bin with fy ≥ 0, fx ≥ 0 (flat), bins of the whole plane in it, and their mean wavenumber."""

    index: NDArray[np.int32]
    number: FloatArray
    wavenumbers: FloatArray


@lru_cache(maxsize=2)
def _rings(shape: tuple[int, int], pitch: tuple[float, float]) -> _Rings:
    """Rings depend on the lattice alone: kept for the next map of the bench."""
    step = max(1 / (n * d) for n, d in zip(shape, pitch, strict=True))
    down, across = (np.arange(n // 2 + 1) / (n * d * step) for n, d in zip(shape, pitch, strict=True))
    radius = np.sqrt(np.square(down)[:, None] + np.square(across)).reshape(-1)
    index = (radius + 0.5).astype(np.int32)
    bins = np.outer(folds(shape[0]), folds(shape[1])).reshape(-1)
    number = np.bincount(index, bins).astype(np.float64)
    reach = np.bincount(index, bins * radius) * step
    return _Rings(index, frozen(number), frozen(reach / np.maximum(number, 1.0)))


def fast_axis_spectrum(scan: HeightMap, *, window: Window = "hann") -> Spectrum:
    r"""Power spectral density along the rows, averaged over the rows.

    Row offsets do not enter: the mean of every row is taken off. What an instrument adds from row to row is seen in the
    slow-axis spectrum alone.

    Parameters
    ----------
    scan : HeightMap
        The map; missing and masked points have the weight 0.
    window : {"hann", "none"}, default "hann"
        Along the rows.

    Returns
    -------
    Spectrum
        m³, two-sided, wavenumber 0 left out.

    Raises
    ------
    MapError
        If rows have fewer than 4 points or nothing counts.

    Notes
    -----
    .. math:: C(f) = \frac{\Delta x \sum_r |\sum_i a_{ri} (z_{ri} - \bar z_r) e^{-2\pi i f x_i}|^2}{\sum_{ri} a_{ri}^2}

    Without window and holes it is the sum of the areal density over fy times the bin width, and twice its sum over
    f > 0 (once for the last bin of an even number of points) times the bin width is the mean square height of the rows
    about their means. Rows are alike, so that `independent` is not their number but (Σ C)²/Σ C² over the areal bins
    with the same fx, estimated from the areal periodogram, whose squares are twice too large on average.

    Examples
    --------
    >>> x = np.arange(100) * 1e-8
    >>> scan = HeightMap(1e-8 * np.cos(2 * np.pi * x / 1e-7) * np.ones((4, 1)), pitch=(1e-8, 1e-8))
    >>> profile = fast_axis_spectrum(scan, window="none")
    >>> round(float(profile.densities.max() / (1e-16 * 1e-6 / 4)), 9)  # A² L / 4
    1.0
    """
    return _along(
        scan.z, None if scan.complete else scan.used, scan.pitch[1], typical_height(scan), "fast axis", window
    )


def slow_axis_spectrum(scan: HeightMap, *, window: Window = "hann") -> Spectrum:
    """Power spectral density down the columns, averaged over the columns; otherwise as `fast_axis_spectrum`."""
    used = None if scan.complete else scan.used.T
    return _along(scan.z.T, used, scan.pitch[0], typical_height(scan), "slow axis", window)


def _along(z: FloatArray, used: BoolArray | None, pitch: float, pivot: float, kind: Kind, window: Window) -> Spectrum:
    """Spectrum along the last axis; `used` is None where every point counts."""
    from scipy import fft

    rows, n = z.shape
    if n < LEAST_SIDE:
        raise MapError(f"Lines of {n} points are too short for a spectrum", fix=f"Take at least {LEAST_SIDE} points.")
    taper = window_weights(window, n)
    lines = np.empty((rows, n // 2 + 1), np.complex128)
    power = 0.0
    for top in range(0, rows, ROWS):
        part = slice(top, min(top + ROWS, rows))
        u, squares = _tapered_rows(z[part], None if used is None else used[part], pivot, taper)
        power += squares
        lines[part] = fft.rfft(u, axis=1, overwrite_x=True)
    if not power > 0:
        raise MapError("No point of the map counts, so it has no spectrum")
    mean, fourth = np.empty(n // 2), np.empty(n // 2)
    for left in range(0, n // 2, COLUMNS):
        block = slice(left, left + COLUMNS)
        areal = fft.fft(lines[:, 1:][:, block], axis=0)
        square = np.square(areal.real)
        square += np.square(areal.imag)
        square.sum(axis=0, out=mean[block])
        np.einsum("ij,ij->j", square, square, out=fourth[block])
    independent = np.divide(2 * mean**2, fourth, out=np.ones_like(mean), where=fourth > 0)
    total = mean / rows  # Parseval: the rows' own spectra need not be squared and summed
    return Spectrum(
        kind,
        frozen(np.asarray(np.fft.rfftfreq(n, pitch)[1:], dtype=np.float64)),
        frozen(total * (pitch / power)),
        frozen(np.clip(independent, 1.0, rows)),
        (1 / (n * pitch),),
        window,
        CONVENTIONS[kind],
    )


def _tapered_rows(z: FloatArray, used: BoolArray | None, pivot: float, taper: FloatArray) -> tuple[FloatArray, float]:
    """Rows less their weighted means, times their weights; and the sum of the squared weights."""
    u = np.ascontiguousarray(z - pivot)
    if used is None:
        u -= (u @ taper)[:, None] / taper.sum()
        u *= taper
        return u, len(z) * float(taper @ taper)
    weights = used * taper
    u[~used] = 0.0
    total = weights.sum(axis=1)
    sums = np.einsum("ij,ij->i", u, weights)
    u -= np.divide(sums, total, out=np.zeros_like(sums), where=total > 0)[:, None]
    u *= weights
    return u, float(np.square(weights).sum())
