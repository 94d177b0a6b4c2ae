"""What of several scans of one place is surface and what is noise: the surface repeats, the noise does not."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.errors import MapError
from core.heightmap import FloatArray
from core.measures.autocorrelation import autocorrelation
from core.trust.noise.alignment import Aligned

NORMAL = 1.959963984540054
"""0.975 quantile of the normal law."""

LAGS_SHARE = 1 / 4
"""Lags up to this share of a side enter the interval: beyond it an autocorrelation is luck."""

LEAST_FREEDOM = 8.0
"""Degrees of freedom 2 (S²/u)² of a mean square below which it is within two standard uncertainties of 0."""


@dataclass(frozen=True, slots=True)
class Covariance:
    """Mean squares of surface and noise, and what is known of them.

    Attributes
    ----------
    signal : float
        S², m²: mean product of two scans of the place. Negative where there is nothing above the noise; the sign is
        kept for tables and means.
    noise : float
        N², m²: mean square of the noise of one scan.
    u_signal : float
        Standard uncertainty of `signal` as an estimate of the texture, m²: this area is one of many.
    u_here : float
        The same as an estimate of this very area, m²: noise alone.
    u_noise : float
        Relative standard uncertainty of N (not N²).
    scans : int
        Number of repeats.
    """

    signal: float
    noise: float
    u_signal: float
    u_here: float
    u_noise: float
    scans: int

    @property
    def rms(self) -> float | None:
        """S, metres; None where the covariance is not positive."""
        return math.sqrt(self.signal) if self.signal > 0 else None

    @property
    def floor(self) -> float:
        """N, metres."""
        return math.sqrt(self.noise)

    @property
    def raw(self) -> float:
        """RMS of one scan with its noise, metres."""
        return math.sqrt(max(0.0, self.signal + self.noise))

    def interval(self) -> tuple[float, float]:
        """95 % interval of S as an estimate of the texture, metres; the lower end is 0 where S² is not told from 0."""
        return _roots(squares_interval(self.signal, self.u_signal))

    def interval_here(self) -> tuple[float, float]:
        """95 % interval of S of this very area, metres."""
        half = NORMAL * self.u_here
        return _roots((self.signal - half, self.signal + half))


def covariance(aligned: Aligned) -> Covariance:
    r"""Surface and noise from aligned repeats.

    Parameters
    ----------
    aligned : Aligned
        M ≥ 2 repeats.

    Returns
    -------
    Covariance

    Raises
    ------
    MapError
        If the repeats hold fewer than two points.

    Notes
    -----
    With z̄ the mean of the repeats, all of mean 0:

    .. math:: N^2 = \frac{M}{M - 1}\Big(\frac{1}{M}\sum \langle z_i^2\rangle - \langle\bar z^2\rangle\Big), \qquad
        S^2 = \frac{1}{M}\sum\langle z_i^2\rangle - N^2

    For two repeats these are ½ var(z₁ − z₂) and mean(z₁ z₂). The variance of S² is that of a mean product over A points
    (Bartlett's formula), tri(τ) the share of the points that overlap at lag τ:

    .. math:: V = \frac{2}{A} \sum_{|\tau| \le L/4} \mathrm{tri}(\tau)
        \Big(c_s^2 + \frac{2}{M} c_s c_n + \frac{c_n^2}{M(M-1)}\Big)

    with the autocovariances of surface and noise; for M = 2 it is [Σ c₁₁ c₂₂ + c₁₂²]/A. For this very area
    Var(S²) = (4 S²N²/M + 2 N⁴/(M(M−1)))/A, with A divided by Σ ρ_n² for noise that is not white.

    Examples
    --------
    >>> from core.heightmap import HeightMap
    >>> from core.trust.noise.alignment import align
    >>> from core.trust.noise.registration import Shift
    >>> rng = np.random.default_rng(1)
    >>> surface = 2e-10 * rng.standard_normal((64, 64))
    >>> pair = [HeightMap(surface + 1e-10 * rng.standard_normal((64, 64)), (1e-9, 1e-9)) for _ in range(2)]
    >>> found = covariance(align(pair, shifts=[Shift(0.0, 0.0, (1e-9, 1e-9), 99.0, registered=True)]))
    >>> round(found.rms * 1e10, 2), round(found.floor * 1e10, 2)
    (2.01, 1.0)
    """
    repeats, points = len(aligned.maps), aligned.points
    if points < 2:
        raise MapError("Repeats need more than one point in common")
    mean = np.asarray(sum(aligned.maps[1:], start=aligned.maps[0])) / repeats
    each = sum(_square(z) for z in aligned.maps) / points / repeats
    noise = max(0.0, (each - _square(mean) / points) * repeats / (repeats - 1))
    signal = each - noise
    of_mean, tri = _autocovariance(aligned, mean)
    # Two residuals about their mean are one, with opposite signs.
    residuals = [_autocovariance(aligned, z - mean)[0] for z in aligned.maps[: 1 if repeats == 2 else repeats]]
    of_noise = np.mean(residuals, axis=0) * repeats / (repeats - 1)
    of_signal = of_mean - of_noise / repeats
    pairs = repeats * (repeats - 1)
    spread = of_signal**2 + 2 / repeats * of_signal * of_noise + of_noise**2 / pairs
    variance = 2 * float(np.sum(tri * spread)) / points
    longer = float(np.sum(tri * of_noise**2)) / noise**2 if noise > 0 else 1.0  # 1 for white noise
    here = (4 * max(signal, 0.0) * noise / repeats + 2 * noise**2 / pairs) * longer / points
    return Covariance(
        signal,
        noise,
        u_signal=math.sqrt(max(variance, here, 0.0)),
        u_here=math.sqrt(here),
        u_noise=math.sqrt(2 * longer / (points * (repeats - 1))) / 2,
        scans=repeats,
    )


def squares_interval(square: float, u: float) -> tuple[float, float]:
    """95 % interval of a mean square from its standard uncertainty, in the same unit.

    A mean square of ν independent values has the relative variance 2/ν. From ν = 8 on, two
    standard uncertainties above 0, the ends are those of chi-square, below of the normal law.

    Examples
    --------
    >>> low, high = squares_interval(1.0, 0.2)
    >>> round(low, 3), round(high, 3)
    (0.7, 1.545)
    """
    freedom = 2 * (square / u) ** 2 if square > 0 and u > 0 else 0.0
    if u == 0:
        return square, square
    if freedom < LEAST_FREEDOM:
        return square - NORMAL * u, square + NORMAL * u
    from scipy.special import chdtri

    return square * freedom / float(chdtri(freedom, 0.025)), square * freedom / float(chdtri(freedom, 0.975))


def _roots(ends: tuple[float, float]) -> tuple[float, float]:
    return math.sqrt(max(0.0, ends[0])), math.sqrt(max(0.0, ends[1]))


def _square(z: FloatArray) -> float:
    flat = z.reshape(-1)
    return float(flat @ flat)


def _autocovariance(aligned: Aligned, z: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Autocovariance at all lags up to a quarter of the sides, m², and the share of points that overlap there."""
    reach = (int(z.shape[0] * LAGS_SHARE), int(z.shape[1] * LAGS_SHARE))
    mean_square = _square(z) / aligned.points
    if mean_square == 0:
        shape = (2 * reach[0] + 1, 2 * reach[1] + 1)
        return np.zeros(shape), np.ones(shape)
    found = autocorrelation(aligned.map(z), reach)
    overlaps = np.concatenate((found.overlaps[:0:-1, ::-1], found.overlaps))
    return np.nan_to_num(found.whole()) * mean_square, overlaps / aligned.points
