"""What share of white noise a band of wavelengths leaves on a lattice, and whether noise is white."""

from __future__ import annotations

import math

import numpy as np

from core.filters.weights import sampled_transfer
from core.heightmap import FloatArray
from core.trust.noise.alignment import Aligned

Limits = tuple[float | None, float | None]
"""Shortest and longest wavelength that a filter left, metres; None where it set no limit."""

FINE = 512
"""Waves along each axis that a mean over all frequencies is taken from; more change it by less than 1 in 10⁴."""

WHITE = 1.25
"""Ratio of mean powers of long and short waves, or of a line's waves and the others, up to which noise counts as white:
its RMS carried to another band is then wrong by at most about 12 %."""

SEEN = 0.25
"""Squared transfer below which a wave says nothing about the noise before the filter."""

LARGEST = 512
"""Points along each axis that the question is asked on: a part of a larger map is enough."""


def gain(fy: FloatArray, fx: FloatArray, pitch: tuple[float, float], band: Limits) -> FloatArray:
    """Squared transfer of the band's filters, fy and fx in cycles per point, shape (fy, fx)."""

    def passed(cutoff: float) -> FloatArray:
        down, across = (sampled_transfer(np.abs(f), cutoff / step) for f, step in zip((fy, fx), pitch, strict=True))
        return np.outer(down, across)

    short, long = band
    kept = np.ones((fy.size, fx.size)) if short is None else passed(short)
    if long is not None:
        kept = kept * (1.0 - passed(long))
    return np.asarray(kept**2)


def noise_share(pitch: tuple[float, float], band: Limits) -> float:
    """Share of the mean square of white noise that a band leaves on a map: the mean squared transfer of its filters.

    Parameters
    ----------
    pitch : (float, float)
        ``(dy, dx)``, metres.
    band : (float or None, float or None)
        Shortest and longest wavelength, metres.

    Returns
    -------
    float
        0 to 1.

    Examples
    --------
    >>> round(noise_share((1e-8, 1e-8), (5e-8, None)), 4)  # π/(2 ln 2 · 5²) for fine sampling
    0.0907
    """
    if band == (None, None):
        return 1.0
    # Whole periods of the frequency, so that the mean is that over all waves; half a step off 0, where a map of any
    # size has one wave only.
    half = (np.arange(FINE // 2) + 0.5) / FINE
    down, across = np.concatenate((-half, half)), half
    return float(gain(down, across, pitch, band).mean())


def is_white(aligned: Aligned, band: Limits) -> bool:
    """Whether what does not repeat is spread evenly over the waves of the band.

    The difference of the first two repeats is asked: its power per wave, the filters taken out, of the shorter half of
    the waves against the longer half, and of waves that run down the map (row offsets, drift) against all others. White
    noise of 128² points and more passes in 99 % of cases at 5 pixels and a quarter of the side.
    """
    difference = aligned.maps[0] - aligned.maps[1]
    part = tuple(slice((n - min(n, LARGEST)) // 2, (n + min(n, LARGEST)) // 2) for n in difference.shape)
    difference = difference[part]
    rows, columns = (0.5 - 0.5 * np.cos(2 * math.pi * np.arange(n) / n) for n in difference.shape)
    power = np.abs(np.fft.rfft2(difference * np.outer(rows, columns))) ** 2
    fy = np.fft.fftfreq(difference.shape[0]).astype(np.float64)
    fx = np.fft.rfftfreq(difference.shape[1]).astype(np.float64)
    passed = gain(fy, fx, aligned.pitch, band)
    seen = passed >= SEEN
    seen[:2, :2] = seen[-1:, :2] = False  # the mean, spread by the window
    if np.count_nonzero(seen) < 100:
        return False
    before = np.where(seen, power / np.where(seen, passed, 1.0), 0.0)
    radius = np.hypot(fy[:, None], fx[None, :])
    middle = float(np.median(radius[seen]))
    along = np.zeros_like(seen)
    along[:, :2] = True  # waves that run straight down
    parts = [seen & (radius <= middle) & ~along, seen & (radius > middle) & ~along, seen & along]
    means = [float(before[some].mean()) for some in parts if np.count_nonzero(some) >= 20]
    return (
        len(means) > 1
        and min(means) > 0
        and max(means[:2]) / min(means[:2]) <= WHITE
        and (len(means) < 3 or means[2] / means[0] <= 2 * WHITE)
    )
