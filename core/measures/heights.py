"""Height parameters: about the mean of the points that count, means over n (population, not sample)."""

from __future__ import annotations

import math

from core.measures.outcome import Outcome
from core.measures.surface import Surface

LOWER, UPPER = 0.001, 0.999
"""Quantiles between which S99.8 reaches."""

NOTHING = Outcome(None, "No point was measured or all are masked.")
CONSTANT = Outcome(None, "All heights are equal: a shape of their distribution does not exist.")


def root_mean_square(surface: Surface) -> Outcome:
    r"""Sq: :math:`\sqrt{\overline{u^2}}`, u the height above the mean; metres."""
    return Outcome(math.sqrt(surface.moments.second)) if surface.points else NOTHING


def mean_absolute(surface: Surface) -> Outcome:
    r"""Sa: :math:`\overline{|u|}`; metres."""
    return Outcome(surface.moments.absolute) if surface.points else NOTHING


def skewness(surface: Surface) -> Outcome:
    r"""Ssk: :math:`\overline{u^3} / Sq^3`; a pure number."""
    return _normalised(surface, 3)


def kurtosis(surface: Surface) -> Outcome:
    r"""Sku: :math:`\overline{u^4} / Sq^4`; a pure number, 3 for Gaussian heights."""
    return _normalised(surface, 4)


def highest_peak(surface: Surface) -> Outcome:
    """Sp: the highest point above the mean; metres."""
    return Outcome(surface.above_mean(surface.highest)) if surface.points else NOTHING


def deepest_pit(surface: Surface) -> Outcome:
    """Sv: the lowest point below the mean, counted positive; metres."""
    return Outcome(-surface.above_mean(surface.lowest)) if surface.points else NOTHING


def peak_to_valley(surface: Surface) -> Outcome:
    """Sz: highest minus lowest point, Sp + Sv; metres."""
    return Outcome(surface.highest - surface.lowest) if surface.points else NOTHING


def robust_range(surface: Surface) -> Outcome:
    """S99.8: from the 0.1 % to the 99.9 % quantile, linear interpolation; metres."""
    return Outcome(surface.quantile(UPPER) - surface.quantile(LOWER)) if surface.points else NOTHING


def _normalised(surface: Surface, power: int) -> Outcome:
    if not surface.points:
        return NOTHING
    moments = surface.moments
    if moments.second == 0:
        return CONSTANT
    if power == 3:
        return Outcome(moments.third / (moments.second * math.sqrt(moments.second)))
    return Outcome(moments.fourth / (moments.second * moments.second))
