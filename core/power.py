"""What a bench of this size can tell apart: the power of Welch's t, by the noncentral t distribution.

With equal scatter s of ln S and n spots of each of two specimens, the ratio of difference and standard error follows a
noncentral t with 2n − 2 degrees of freedom and noncentrality ln(ratio) / (s·√(2/n)). Welch compares it with a limit
that depends on the share u of the one sample in the sum of the two variances, (n − 1) / (u² + (1 − u)²) degrees of
freedom; the share is independent of the sum and follows Beta((n − 1)/2, (n − 1)/2), so the power is a mean over u. The
level is what Holm's adjustment leaves to a neighbour when all others are told apart: 5 % over the number of neighbours.
Against simulated ladders of five specimens that is right to a few per cent at both ends
and up to 25 per cent low in between (three spots, where Holm's last steps help most): it promises rather too little.

References
----------
Noncentral t: N. L. Johnson and B. L. Welch, Biometrika 31 (1940) 362, doi:10.1093/biomet/31.3-4.362.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

WANTED = 0.8
"""Share of benches in which a difference should be found to call it within reach (common practice, no source)."""

SPOTS = 5
"""Spots of each specimen that are spoken of: more are seldom scanned."""

MOST_SPOTS = 99

NODES = (np.arange(64) + 0.5) / 64
"""Probabilities at whose quantiles the mean over a distribution is taken."""


@dataclass(frozen=True, slots=True)
class Power:
    """What the spots of a bench can tell apart.

    Attributes
    ----------
    scatter : float
        Standard deviation of ln S from spot to spot, pooled over the specimens.
    spots : int
        Fewest spots of a specimen.
    ratio : float
        Smallest factor between two specimens that this many spots of each would find in 80 % of benches.
    ratio_five : float
        The same with five spots of each.
    tied : (str, str) or None
        The two lowest specimens when they are not told apart.
    needed : int or None
        Spots of each that would find the factor between those two, were it real; None if more than 99.
    """

    scatter: float
    spots: int
    ratio: float
    ratio_five: float
    tied: tuple[str, str] | None = None
    needed: int | None = None


def power(log_ratio: float, scatter: float, spots: int, *, level: float = 0.05) -> float:
    """Share of benches in which two specimens are told apart.

    Parameters
    ----------
    log_ratio : float
        Logarithm of the factor between their true values.
    scatter : float
        Standard deviation of ln S from spot to spot, above 0.
    spots : int
        Of each, two or more.
    level : float, default 0.05
        Of the two-sided test.

    Returns
    -------
    float
        0 to 1; about `level` where the two are equal.

    Examples
    --------
    >>> [round(power(math.log(1.25), 0.1, n, level=0.0125), 2) for n in (3, 4, 5, 6)]
    [0.14, 0.36, 0.58, 0.74]
    """
    from scipy.special import betaincinv, gammaincinv, ndtr, stdtrit

    shift = abs(log_ratio) / (scatter * math.sqrt(2 / spots))
    half = (spots - 1) / 2
    share = betaincinv(half, half, NODES)
    freedom = np.ones_like(share) if spots == 2 else (spots - 1) / (share**2 + (1 - share) ** 2)
    limit = stdtrit(freedom, 1 - level / 2)[:, None]
    # The noncentral t is a normal over the root of an independent chi-square: written out, it holds for any shift.
    root = np.sqrt(gammaincinv(spots - 1, NODES) / (spots - 1))
    return float((ndtr(shift - limit * root) + ndtr(-shift - limit * root)).mean())


def least_ratio(scatter: float, spots: int, *, level: float = 0.05, wanted: float = WANTED) -> float:
    """Smallest factor that is found in a share `wanted` of benches; infinite if no factor below 10^6 is.

    >>> round(least_ratio(0.1, 5, level=0.0125), 2)
    1.32
    """
    high = math.log(1e6)
    if power(high, scatter, spots, level=level) < wanted:
        return math.inf
    return math.exp(_least(lambda log: power(log, scatter, spots, level=level) >= wanted, high))


def spots_needed(log_ratio: float, scatter: float, *, level: float = 0.05, wanted: float = WANTED) -> int | None:
    """Fewest spots of each specimen that find a factor in a share `wanted` of benches; None if more than 99.

    >>> spots_needed(math.log(1.5), 0.1, level=0.0125), spots_needed(0.0, 0.1)
    (4, None)
    """
    found = bisect_left(
        range(3, MOST_SPOTS + 1), True, key=lambda n: power(log_ratio, scatter, n, level=level) >= wanted
    )
    return found + 3 if found + 3 <= MOST_SPOTS else None


def _least(enough: Callable[[float], bool], high: float) -> float:
    """The smallest number for which `enough` holds, by halving; it holds at `high`."""
    low = 0.0
    for _ in range(24):
        middle = (low + high) / 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high
