"""The weights of the Gaussian filters of ISO 16610: one function, sampled, and its transfer."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from core.errors import QuantityError
from core.heightmap import FloatArray, frozen

ALPHA = math.sqrt(math.log(2) / math.pi)
"""Makes the transmission one half at the cut-off wavelength (ISO 16610-21 and -61): 0.4697."""

SIGMA = ALPHA / math.sqrt(2 * math.pi)
"""Standard deviation of the weights in cut-off wavelengths: 0.1874."""

REACH = 1.7
"""Half-width of the support in cut-offs: its last weights are 1e-18 of the largest, beyond it lies 1e-19 of all."""

LONG = 20.0
"""Cut-off in points above which the sum of the sampled weights is their integral to the last digit (Poisson's sum)."""

FAINTEST = 1e-17
"""Transmission below which a wave no longer changes a double."""


def weight(x: FloatArray, cutoff: float) -> FloatArray:
    r"""The weighting function :math:`s(x) = \exp(-\pi (x / \alpha\lambda)^2) / \alpha\lambda`.

    Parameters
    ----------
    x : ndarray
        Distances from the point, in the unit of the cut-off.
    cutoff : float
        Wavelength λ that is passed at one half.

    Returns
    -------
    ndarray
        Weights per unit of x; their integral is 1.

    Examples
    --------
    >>> float(weight(np.array([0.0]), 1.0)[0].round(4))
    2.1289
    """
    width = ALPHA * cutoff
    return np.asarray(np.exp(-math.pi * (x / width) ** 2) / width)


def transmission(wavelength: float, cutoff: float) -> float:
    """Amplitude that the low-pass leaves of a wave, ``2^−(λ/w)²``; the high-pass leaves 1 minus that.

    Examples
    --------
    >>> transmission(2.0, 2.0), transmission(1.0, 2.0)
    (0.5, 0.0625)
    """
    return float(2.0 ** -((cutoff / wavelength) ** 2))


@lru_cache(maxsize=64)
def kernel(cutoff: float, longest: int) -> FloatArray:
    """The weights sampled at the distances 0, 1, 2 … points, their sum over both sides 1.

    Parameters
    ----------
    cutoff : float
        In points.
    longest : int
        No distance above this is asked for: the length of the line less one. The weights that are left out count
        in the sum.

    Returns
    -------
    ndarray, shape (h + 1,), read-only
        h = the lesser of 1.7 cut-offs and `longest`.

    Examples
    --------
    >>> g = kernel(10.0, 100)
    >>> len(g), round(float(g[0] + 2 * g[1:].sum()), 15)
    (18, 1.0)
    """
    half = min(math.floor(REACH * cutoff), longest)
    width = ALPHA * cutoff
    g = np.exp(-math.pi * (np.arange(half + 1) / width) ** 2)
    g /= width if cutoff > LONG else _whole_sum(width)
    return frozen(g)


def _whole_sum(width: float) -> float:
    beside = np.exp(-math.pi * (np.arange(1, math.floor(REACH * LONG) + 2) / width) ** 2)
    return float(1 + 2 * beside.sum())


def sampled_transfer(frequency: FloatArray, cutoff: float) -> FloatArray:
    """What the *sampled* weights leave of a wave.

    The transform of a sampled function is the sum of its transform's aliases. One alias alone, the formula of the
    continuous filter, is wrong by up to 2 % at a cut-off of 4 points.

    Parameters
    ----------
    frequency : ndarray
        Waves per point, 0 to ½.
    cutoff : float
        In points.

    Returns
    -------
    ndarray
        1 at frequency 0.

    Examples
    --------
    >>> sampled_transfer(np.array([0.0, 0.25]), 4.0).round(6).tolist()
    [1.0, 0.501938]
    """
    width = ALPHA * cutoff
    aliases = math.ceil(4 / width) + 1
    total, norm = np.zeros_like(frequency), 0.0
    for alias in range(-aliases, aliases + 1):
        total += np.exp(-math.pi * (width * (frequency - alias)) ** 2)
        norm += math.exp(-math.pi * (width * alias) ** 2)
    return np.asarray(total / norm)


def highest_frequency(cutoff: float) -> float:
    """Waves per point above which nothing passes (`FAINTEST`)."""
    return math.sqrt(-math.log(FAINTEST) / math.pi) / (ALPHA * cutoff)


def sums_inside(cutoff: float, points: int) -> FloatArray:
    """Share of the weights that falls on the line, at each of its points.

    Returns
    -------
    ndarray, shape (points,)
        1 far from the ends, about one half at them.

    Examples
    --------
    >>> sums_inside(4.0, 100)[[0, 50]].round(3).tolist()
    [0.766, 1.0]
    """
    g = kernel(cutoff, points - 1)
    reached = np.concatenate([[0.0], np.cumsum(g[1:]), np.full(max(0, points - len(g)), g[1:].sum())])
    return np.asarray(g[0] + reached[:points] + reached[:points][::-1])


def checked_cutoff(cutoff: float) -> float:
    """The cut-off, if it is a wavelength.

    Raises
    ------
    QuantityError
        If it is not positive and finite.
    """
    if not 0 < cutoff < math.inf:
        raise QuantityError(f"A cut-off is a positive wavelength, not {cutoff}", fix="Write a length such as 40 nm.")
    return float(cutoff)
