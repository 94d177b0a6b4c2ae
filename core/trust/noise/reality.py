"""The reality spectrum: what share of the texture repeats when the same place is scanned again, by wavelength."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.heightmap import FloatArray, frozen
from core.spectrum.taper import CORRELATION, tapered
from core.trust.noise.alignment import Aligned
from core.trust.noise.covariance import NORMAL

BINS_PER_OCTAVE = 3
LEAST_WAVES = 8
"""Waves that a bin needs; with fewer it says nothing."""

REAL = 0.5
"""Squared coherence from which the waves of a bin count as real (common practice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class RealitySpectrum:
    """Share of the power that repeats; arrays of one length, read-only, from long waves to short ones.

    Attributes
    ----------
    wavelength : ndarray
        Middle of each bin, metres.
    share : ndarray
        S²/(S² + N²) of the bin: 1 where all repeats, about 0 (of either sign) where nothing does.
    low, high : ndarray
        95 % interval of it.
    coherence : ndarray
        Its square γ² without the bias of few waves; not below 0.
    waves : ndarray of int
        Waves in the bin.
    """

    wavelength: FloatArray
    share: FloatArray
    low: FloatArray
    high: FloatArray
    coherence: FloatArray
    waves: FloatArray

    @property
    def real_above(self) -> float | None:
        """Shortest wavelength above which every bin is real (γ² ≥ ½), metres; None where none is."""
        real = self.coherence >= REAL
        count = real.size if real.all() else int(np.argmin(real))
        return float(self.wavelength[count - 1]) if count else None


def reality_spectrum(aligned: Aligned) -> RealitySpectrum:
    r"""Reality spectrum of the first two of aligned repeats.

    Parameters
    ----------
    aligned : Aligned
        Repeats of one place.

    Returns
    -------
    RealitySpectrum
        Bins of a third of an octave between the side and two points of the map; bins with fewer than 8 waves are left
        out.

    Notes
    -----
    With F the transforms of the tapered maps, the share of a bin is

    .. math:: r = \frac{\sum \mathrm{Re}\, F_1^* F_2}{\tfrac{1}{2}\sum (|F_1|^2 + |F_2|^2)},

    a correlation of 2 n real pairs whose phase is known to be 0, so it has no bias to speak of. Its interval is
    Fisher's, tanh(artanh r ± 1.96/√(2m − 3)), m = n (18/35)² because the Hann window makes neighbours alike (in
    thin rings most neighbours are outside, and the interval is too wide rather than too narrow: 98 % and more). γ²
    is r² less the mean (1 − r²)²/2m that it would gain by chance.

    Examples
    --------
    >>> from core.heightmap import HeightMap
    >>> from core.trust.noise.alignment import align
    >>> from core.trust.noise.registration import Shift
    >>> rng = np.random.default_rng(1)
    >>> z = rng.standard_normal((64, 64))
    >>> pair = [HeightMap(z + rng.standard_normal(z.shape), (1e-9, 1e-9)) for _ in range(2)]
    >>> found = reality_spectrum(align(pair, shifts=[Shift(0.0, 0.0, (1e-9, 1e-9), 99.0, registered=True)]))
    >>> bool(abs(found.share[-3:] - 0.5).max() < 0.1)
    True
    """
    from scipy import fft

    one, other = (fft.rfft2(tapered(aligned.map(z.copy()), "hann")[0]) for z in aligned.maps[:2])
    both = one.real * other.real
    both += one.imag * other.imag
    power = (_power(one) + _power(other)) / 2
    rows, columns = aligned.maps[0].shape
    down, across = np.fft.fftfreq(rows, aligned.pitch[0]), np.fft.rfftfreq(columns, aligned.pitch[1])
    folds = np.where((np.arange(across.size) == 0) | (2 * np.arange(across.size) == columns), 1.0, 2.0)
    frequency = np.hypot(down[:, None], across[None, :])
    edges = _edges(rows, columns, aligned.pitch)
    bins = np.searchsorted(edges, frequency.reshape(-1), side="right")
    counts, shared, total = (
        np.bincount(bins, (values * folds).reshape(-1), minlength=edges.size + 1)[1 : edges.size]
        for values in (np.ones_like(both), both, power)
    )
    keep = (counts / 2 >= LEAST_WAVES) & (total > 0)
    waves = counts[keep] / 2  # the two halves of the plane are one
    share = shared[keep] / total[keep]
    independent = waves / CORRELATION["hann"] ** 2
    middle = np.arctanh(np.clip(share, -1 + 1e-15, 1 - 1e-15))
    half = NORMAL / np.sqrt(np.maximum(1.0, 2 * independent - 3))
    coherence = np.clip(share**2 - (1 - share**2) ** 2 / (2 * independent), 0.0, 1.0)
    wavelength = 1 / np.sqrt(edges[:-1] * edges[1:])[keep]
    arrays = (wavelength, share, np.tanh(middle - half), np.tanh(middle + half), coherence, waves)
    return RealitySpectrum(*(frozen(np.ascontiguousarray(array)) for array in arrays))


def _edges(rows: int, columns: int, pitch: tuple[float, float]) -> FloatArray:
    """Ends of the bins, cycles per metre, from the side (less half a wave) to two points of the coarser axis."""
    lowest = 0.75 / max(rows * pitch[0], columns * pitch[1])
    highest = 0.5 / max(pitch)
    count = max(1, round(BINS_PER_OCTAVE * math.log2(highest / lowest)))
    return np.asarray(np.geomspace(lowest, highest, count + 1))


def _power(waves: np.ndarray) -> FloatArray:
    return np.asarray(waves.real**2 + waves.imag**2)
