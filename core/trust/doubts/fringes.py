"""Fringes: one broad, even stripe pattern, as laser light that passes the lever and comes back draws it."""

from __future__ import annotations

import numpy as np

from core.trust.doubts.doubt import Doubt
from core.trust.doubts.look import Look
from core.trust.doubts.spectrum_lines import Line, harmonic_ratio
from core.units import format_length, percent

FEWEST, FULL, MOST = 6.0, 12.0, 40.0
"""Periods in the frame: fewest to be looked at, fewest for the full power of the test, most."""

RATIO, STRICT_RATIO = 20.0, 30.0
SHARE, SHORT_SHARE, SHARE_RED = 0.05, 0.10, 0.20
"""Line ratio, and share of the variance: the stricter ones for few periods and for textures with a direction."""

FULL_SIDE = 256
"""Points of the shortest side below which a directional texture needs a higher ratio still."""

HARMONIC = 0.1
"""Most power at twice the wavenumber: a fringe is a sine, terraces are sawteeth."""


def fringes(look: Look) -> Doubt | None:
    """The doubt of one strong sine of 6 to 40 periods in the frame: amber above 5 % of the variance, red above 20 %."""
    if look.obstacle:
        return None
    near = [line for line in look.lines if line.ratio > RATIO and FEWEST <= line.cycles <= MOST]
    if not near:
        return None
    variance = float(np.nanvar(look.clipped / look.rough))
    found = [line for line in near if _is_fringe(look, line, line.share / variance)]
    if not found:
        return None
    line = max(found, key=lambda line: line.share)
    share, wavelength = line.share / variance, look.wavelength(line)
    few = (
        f" The frame holds {line.cycles:.0f} periods only; it is too short to judge waves longer than a twelfth of it."
        if line.cycles < FULL
        else ""
    )
    turned = " Directional texture: it cannot be told from lapping in one map." if look.directional else ""
    return Doubt(
        "fringes",
        "red" if share > SHARE_RED else "amber",
        f"Even stripes of {format_length(wavelength)}, {look.told(line.share**0.5)} RMS, hold {percent(share)} of the "
        f"variance.{few}{turned}",
        "Re-centre the laser on the lever, take a coated or wider lever, turn the sample; do not filter and call it "
        "clean.",
        {
            "wavelength_m": wavelength,
            "rms_m": line.share**0.5 * look.rough,
            "variance_share": share,
            "ratio": line.ratio,
            "periods": line.cycles,
        },
        confused_with="Laser fringes, a grating in the surface, or hum.",
        settled_by="Scan at another speed (fringes stay, hum moves) and turn the sample (what belongs to the surface "
        "turns along).",
    )


def _is_fringe(look: Look, line: Line, share: float) -> bool:
    short = line.cycles < FULL
    ratio = STRICT_RATIO if short or look.directional else RATIO
    if look.directional:  # the streak of a lapped surface is as narrow as the frame is wide
        ratio *= max(1.0, FULL_SIDE / min(look.raw.shape))
    return (
        line.ratio > ratio and share > (SHORT_SHARE if short else SHARE) and harmonic_ratio(look.power, line) < HARMONIC
    )
