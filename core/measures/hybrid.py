"""Hybrid parameters: from slopes, which are heights and lengths together."""

from __future__ import annotations

import math

from core.measures.outcome import Outcome
from core.measures.quantity import Quantity
from core.measures.slopes import REACH, Slopes
from core.measures.surface import Surface
from core.units import percent

LEAST_SHARE = 0.1
"""Below this share of inner points with a whole stencil, those that are left do not stand for the map (own choice)."""


def rms_gradient(surface: Surface) -> Outcome:
    r"""Sdq: :math:`\sqrt{\overline{z_x^2 + z_y^2}}` over the inner points; a pure number."""
    slopes = surface.slopes
    none = _why_none(slopes)
    if slopes is None or none:
        return Outcome(None, none)
    return Outcome(math.sqrt(slopes.square), _condition(slopes))


def developed_area(surface: Surface) -> Outcome:
    r"""Sdr: :math:`\overline{\sqrt{1 + z_x^2 + z_y^2} - 1}` over the inner points; a ratio, 0.01 for 1 %."""
    slopes = surface.slopes
    none = _why_none(slopes)
    if slopes is None or none:
        return Outcome(None, none)
    return Outcome(slopes.excess, _condition(slopes))


def _why_none(slopes: Slopes | None) -> str:
    if slopes is None:
        side = 2 * REACH + 1
        return f"The map is too small: the seven-point derivative needs {side} × {side} points."
    if slopes.evaluated == 0 or slopes.share < LEAST_SHARE:
        return (
            f"Too many holes: only {percent(slopes.share, 1)} of the inner points have all neighbours that a slope "
            f"needs ({percent(LEAST_SHARE)} are wanted)."
        )
    return ""


def _condition(slopes: Slopes) -> str:
    if slopes.evaluated == slopes.inner:
        return ""
    return f"Holes: slopes from the {percent(slopes.share, 1)} of the inner points that have all neighbours needed."


_DERIVATIVE = (
    "Slopes by the seven-point derivative (−1, 9, −45, 0, 45, −9, 1)/60 along rows and columns, at inner points whose "
    "whole stencil was measured and unmasked."
)

ENTRIES = (
    Quantity(
        "Sdq",
        "root mean square gradient",
        "1",
        "ISO 25178-2:2021, 4.5.2",
        f"How steep the surface is, as rise over run. {_DERIVATIVE}",
        "Sdq = √( mean of (∂z/∂x)² + (∂z/∂y)² )",
        "The pixel size and the noise decide: finer pixels read steeper. Compare only at equal pixels and noise.",
        True,
        rms_gradient,
    ),
    Quantity(
        "Sdr",
        "developed interfacial area ratio",
        "1",
        "ISO 25178-2:2021, 4.5.3",
        f"How much larger the true area is than its projection: 0.01 is 1 %. {_DERIVATIVE}",
        "Sdr = mean of √(1 + (∂z/∂x)² + (∂z/∂y)²) − 1",
        "As Sdq, squared: on smooth surfaces Sdr = Sdq²/2, so noise counts twice as much.",
        True,
        developed_area,
    ),
)
