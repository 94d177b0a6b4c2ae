r"""Bumps that a texture makes by chance: crests of a Gaussian surface above k sigma."""

from __future__ import annotations

import math

import numpy as np

from core.relief.find import Found


def crests(k: float, length: float) -> float:
    r"""Crests above k sigma for each m² of a Gaussian surface.

    Parameters
    ----------
    k : float
        Height in standard deviations, 2 or more.
    length : float
        T of its autocorrelation exp(-r²/T²), metres.

    Returns
    -------
    float
        :math:`\frac{2}{T^2}(2\pi)^{-3/2}\,k\,e^{-k^2/2}` per m².

    Notes
    -----
    This is the Euler characteristic of what lies above k; the number of maxima is larger by 1.1 % at k = 3 and 0.1 %
    at 5. R. J. Adler, The Geometry of Random Fields (1981), from memory.

    Examples
    --------
    >>> [round(crests(k, 50e-9) * 1e-10, 2) for k in (3, 4, 5)]
    [169.28, 6.82, 0.09]
    """
    return float(2 / length**2 * (2 * math.pi) ** -1.5 * k * math.exp(-k * k / 2))


def by_chance(found: Found) -> float:
    r"""Bumps expected in the counted area if the map were nothing but a Gaussian texture.

    Parameters
    ----------
    found : Found
        What was found, whatever it is: only sigma and slopes of the particle-eye map enter.

    Returns
    -------
    float
        Their mean number. T follows from neighbouring points of the particle-eye map along rows and columns,
        :math:`T^{-2} = -\ln(1 - E[\Delta r^2]/2\sigma^2)/p^2` (slopes by their robust spread, so that bumps do not
        count), and sampling loses crests: :math:`e^{-k^2p^2/6T^2}`.
    """
    k = found.threshold / found.sigma if found.sigma > 0 else math.inf
    if not 1 <= k < 30:
        return 0.0
    inverse = []
    loss = 0.0
    for axis, step in enumerate(found.seen.pitch):
        change = np.diff(found.seen.r, axis=axis)
        change = change[np.isfinite(change)]
        spread = 1.482602218505602 * float(np.median(np.abs(change))) if change.size else 0.0
        share = min((spread / found.sigma) ** 2 / 2, 0.999)
        inverse.append(-math.log(1 - share) / step**2)
        loss += -math.log(1 - share) / 2
    squared = math.sqrt(inverse[0] * inverse[1])
    if squared <= 0:
        return 0.0
    return crests(k, 1 / math.sqrt(squared)) * found.area * math.exp(-(k**2) * loss / 6)
