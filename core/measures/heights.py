"""Height parameters: about the mean of the points that count, means over n (population, not sample)."""

from __future__ import annotations

import math

from core.measures.outcome import Outcome
from core.measures.quantity import Quantity
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


ENTRIES = (
    Quantity(
        "Sq",
        "root mean square height",
        "m",
        "ISO 25178-2:2021, 4.3.2",
        "The usual roughness: the spread of the heights about their mean.",
        "Sq = √( mean of u² ), u = height above the mean",
        "It grows with the scan size, loses with every levelling step, and one tall speck can make most of it. "
        "Two values compare only within the same band, area and treatment.",
        True,
        root_mean_square,
    ),
    Quantity(
        "Sa",
        "arithmetical mean height",
        "m",
        "ISO 25178-2:2021, 4.3.8",
        "The mean distance of the heights from their mean; 0.80 Sq for Gaussian ",
        "Sa = mean of |u|",
        "It hides rare bumps and pits better than any other reading; otherwise as Sq.",
        True,
        mean_absolute,
    ),
    Quantity(
        "Sz",
        "maximum height",
        "m",
        "ISO 25178-2:2021, 4.3.7",
        "From the lowest to the highest point: peak to valley.",
        "Sz = Sp + Sv",
        "Two points decide. It grows with the number of points even on a perfect surface, and one spike makes it. "
        "S99.8 is steadier.",
        True,
        peak_to_valley,
    ),
    Quantity(
        "Sp",
        "maximum peak height",
        "m",
        "ISO 25178-2:2021, 4.3.5",
        "The highest point above the mean.",
        "Sp = max u",
        "One point decides: dust, or a spike of the feedback.",
        True,
        highest_peak,
    ),
    Quantity(
        "Sv",
        "maximum pit depth",
        "m",
        "ISO 25178-2:2021, 4.3.6",
        "The lowest point below the mean, counted positive.",
        "Sv = −min u",
        "One point decides, and a blunt tip does not reach the bottom of a narrow pit.",
        True,
        deepest_pit,
    ),
    Quantity(
        "Ssk",
        "skewness",
        "1",
        "ISO 25178-2:2021, 4.3.3",
        "Above 0: bumps on a plain. Below 0: pits or scratches in a plateau. 0: as many of both.",
        "Ssk = mean of u³ / Sq³",
        "A few extreme points decide; on small maps it scatters widely. Bow left in the map shows as skewness.",
        False,
        skewness,
    ),
    Quantity(
        "Sku",
        "kurtosis",
        "1",
        "ISO 25178-2:2021, 4.3.4",
        "3 for Gaussian heights; more where rare tall or deep features stand on a smooth ground, less for waves.",
        "Sku = mean of u⁴ / Sq⁴",
        "The most extreme points decide almost alone. A single speck gives values of hundreds.",
        True,
        kurtosis,
    ),
    Quantity(
        "S99.8",
        "robust height range",
        "m",
        "no standard: quantile range, common practice",
        "The height range that holds 99.8 % of the points: peak to valley without the extremes.",
        "S99.8 = z(99.9 %) − z(0.1 %), linear interpolation",
        "Features that cover less than 0.1 % of the area do not show in it.",
        True,
        robust_range,
    ),
)
