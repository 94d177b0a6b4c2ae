"""The noise floor: what lies in the corner of the spectrum, where a well-sampled texture has died out."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from core.trust.doubts.doubt import Doubt
from core.trust.doubts.look import Look
from core.trust.doubts.periodogram import EXPONENTIAL_MEDIAN
from core.units import format_length

NOISE_AMBER = 0.5
NOISE_RED = 0.7
"""Shares N/S of the noise in the RMS (that holds both) above which a scan is doubted."""

DROWNED = 2.0
"""Times the floor below which a wavelength counts as noise: half of its power is."""

CURE_REACH = 2.0
"""Nesting index over the wavelength to be taken off: the Gaussian filter lets 1/16 of that wave through."""


def noise_share(look: Look) -> float:
    """N/S: white noise in the map as a share of its RMS, an upper limit.

    N² = median of the power beyond 0.35 cycles per point on both axes, ÷ ln 2. Its own random error is some 2 % at
    256² points; texture that still lives in the corner counts as noise.
    """
    return math.sqrt(look.power.corner_median() / EXPONENTIAL_MEDIAN)


def noise_floor(look: Look) -> Doubt | None:
    """The doubt that a good part of the roughness is noise: amber above N/S 0.5, red above 0.7."""
    if look.obstacle:
        return None
    share = noise_share(look)
    if share <= NOISE_AMBER:
        return None
    drowned = _drowned(look, share)
    below = f" Below {format_length(drowned)} wavelength this map is mostly noise." if drowned else ""
    return Doubt(
        "noise-floor",
        "red" if share > NOISE_RED else "amber",
        f"White noise of up to {look.told(share)} RMS in a map of {look.told(1.0)}: N/S = {share:.2f}.{below}",
        "Scan slower, re-tune the gains, shield from sound and floor, use a fresh probe.",
        {"noise_m": share * look.rough, "rough_m": look.rough, "noise_share": share, "drowned_m": drowned},
        confused_with="Noise or unresolved texture: texture finer than 1.5 points looks the same.",
        settled_by="What trace and retrace (or a repeat) have in common is texture; so is what a scan at half the "
        "pixel shows to be smooth.",
        cure=without_short_waves(look, drowned),
    )


def without_short_waves(look: Look, wavelength: float) -> Mapping[str, Any] | None:
    """The band step that takes waves of this length and shorter off; None if too little of the map would be left."""
    shortest = CURE_REACH * wavelength
    if not 0 < shortest < min(look.raw.size) / 4:
        return None
    return {"do": "band", "shortest": format_length(shortest)}


def _drowned(look: Look, share: float) -> float:
    """The longest wavelength below which power stays under twice the floor, metres; 0 if there is none."""
    down, across = look.power.frequencies
    dy, dx = look.raw.pitch
    frequency = np.hypot(down / dy, across / dx)
    limit = min(0.5 / dy, 0.5 / dx)
    rings = min(look.power.rows, look.power.columns) // 2
    ring = np.minimum((frequency / limit * rings).astype(np.intp), rings).reshape(-1)
    counts = np.bincount(ring, minlength=rings + 1)[1:rings]
    means = np.bincount(ring, look.power.density.reshape(-1), rings + 1)[1:rings] / np.maximum(counts, 1)
    above = np.flatnonzero(means > DROWNED * share**2)
    last = int(above[-1]) + 2 if above.size else 1  # ring numbers begin at 1; behind the last one above the floor
    return rings / (last * limit) if last < rings else 0.0
