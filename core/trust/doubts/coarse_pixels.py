"""Coarse pixels: points too far apart for the texture between them."""

from __future__ import annotations

import math

import numpy as np

from core.heightmap import FloatArray
from core.trust.doubts.doubt import Doubt, Level
from core.trust.doubts.lines import FEWEST
from core.trust.doubts.look import Look
from core.units import format_length, format_number

AMBER = 2.5
RED = 1.6
"""Correlation length in points below which a texture is poorly resolved, and not at all."""

SAMPLE = 262_144
LAGS = (1, 2, 3)
FEWEST_PAIRS = 100
LEAST = 0.1
"""Share of the variance that neighbours must have in common for a correlation length to have a meaning."""


def coarse_pixels(look: Look) -> Doubt | None:
    """The doubt that the pixels are too coarse for the texture.

    Notes
    -----
    Autocorrelation aₖ from mean-square differences at 1, 2 and 3 points; white noise sits at lag 0 only, which is
    therefore extrapolated: a₀ = (4a₁ − a₂)/3, a parabola through the top. The length is where a falls to a₀/e, the
    smaller of along and across the lines. Amber below 2.5 points, red below 1.6. An unresolved texture and white noise
    are the same thing to one map: where a₀ is less than a tenth of the variance, the length is told as under 1 point.
    Simulated for this program: Gaussian textures of 1, 1.5, 2 and 2.5 points read 1.28, 1.66, 2.08 and 2.54; no alarm
    in 1,500 clean maps.
    """
    if min(look.raw.shape) < FEWEST or look.blank:
        return None
    across = correlation_length(look.clipped, unit=look.rough)
    down = correlation_length(look.clipped.T, unit=look.rough)
    length = min(across, down)
    if not length < AMBER:
        return None
    level: Level = "red" if length < RED else "amber"
    dy, dx = look.raw.pitch
    pitch = dx if across <= down else dy
    said = f"{format_number(length, digits=2)} pixels ({format_length(length * pitch)})"
    if length < 1:
        said = f"under one pixel ({format_length(pitch)})"
    return Doubt(
        "coarse-pixels",
        level,
        f"The texture loses its likeness to itself within {said}: features are poorly resolved, slopes and areas are "
        "too small.",
        "Scan a smaller area, or take more points, so that a feature spans at least five.",
        {"correlation_length_m": length * pitch, "correlation_length_px": length},
        confused_with="Noise or unresolved texture",
        settled_by="Compare trace and retrace, or scan again at half the pixel: noise does not repeat.",
    )


def correlation_length(level: FloatArray, *, unit: float = 1.0) -> float:
    """Distance along the rows, in points, at which the autocorrelation without noise has fallen to 1/e.

    Parameters
    ----------
    level : ndarray, shape (ny, nx)
        Heights without their plane, metres; NaN where missing.
    unit : float, default 1
        Length in which they are counted, metres, so that squares stay numbers.

    Returns
    -------
    float
        Infinity above 3 points and where too few neighbours are known; 0 where neighbours have less than a tenth of
        the variance in common.
    """
    rows = level[:: max(1, level.size // SAMPLE)] / unit
    known = rows[np.isfinite(rows)]
    squares = [_mean_square(rows[:, lag:] - rows[:, :-lag]) for lag in LAGS]
    variance = float(np.var(known)) if known.size else 0.0
    if not variance > 0 or not all(math.isfinite(square) for square in squares):
        return math.inf
    a1, a2, a3 = (variance - square / 2 for square in squares)
    top = (4 * a1 - a2) / 3
    if top < LEAST * variance:
        return 0.0
    curve = (top, a1, a2, a3)
    fallen = top / math.e
    for lag in LAGS:
        if curve[lag] <= fallen:
            before, after = curve[lag - 1], curve[lag]
            if after <= 0 or before <= 0:
                return lag - 1 + (before - fallen) / (before - after)
            # A Gaussian's logarithm is a parabola: interpolated in lag² it gives its length exactly.
            share = math.log(before / fallen) / math.log(before / after)
            return math.sqrt((lag - 1) ** 2 + share * (lag**2 - (lag - 1) ** 2))
    return math.inf


def _mean_square(differences: FloatArray) -> float:
    """Mean square of the differences that are known; NaN if they are too few."""
    flat = differences.reshape(-1)
    total = float(flat @ flat)
    if math.isfinite(total):
        return total / flat.size
    known = flat[np.isfinite(flat)]
    return float(known @ known) / known.size if known.size >= FEWEST_PAIRS else math.nan
