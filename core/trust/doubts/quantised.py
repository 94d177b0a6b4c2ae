"""Quantised heights: numbers that come in steps too coarse for the surface."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.heightmap import FloatArray
from core.trust.doubts.doubt import Doubt, Level
from core.trust.doubts.look import Look
from core.units import format_length

AMBER = 0.2
RED = 1.0
NOTE = 5e-3
"""Step over the roughness S above which it is told. Below `NOTE` rounding adds less than 0.0015 S, and float32 leaves
such steps of heights that lie far from zero."""

SCORE = 0.5
EQUAL = 1e-6
SAMPLE = 65_536
WHOLE = 0.05
"""How far, in steps, a gap may lie from a whole number of them."""


def quantised(look: Look) -> Doubt | None:
    """The doubt that the heights were written in steps.

    Notes
    -----
    Second differences along the scan lines of the untouched numbers are put in order: a plane and an offset for each
    line drop out of them, so both may have been taken off. Gaps of at most 10⁻⁶ S are repeats, q is the commonest of
    the smallest other gaps. Quantised if (share of repeats) × (share of gaps that are whole multiples of q) > 0.5.
    Amber for q > 0.2 S, red for q > S, otherwise a note. Resampled, averaged or polynomially levelled steps are hidden.
    Simulated for this program: steps of 0.01, 0.2 and 1 S are found to 5 % in 600 of 600 maps, none in 1,500 clean.
    """
    if look.blank:
        return None
    step = height_step(look.raw.z, look.rough)
    if step is None:
        return None
    share = step.height / look.rough
    if share < NOTE:
        return None
    level: Level = "red" if share > RED else "amber" if share > AMBER else "note"
    rms = step.height / math.sqrt(12)
    return Doubt(
        "quantised",
        level,
        f"The heights come in steps of {format_length(step.height)}, {share:.2g} of the roughness "
        f"{format_length(look.rough)}; rounding alone adds {format_length(rms)} RMS.",
        "Reduce the z range of the scanner or converter, and export the heights unrounded.",
        {"step_m": step.height, "step_share": share, "rounding_rms_m": rms, "score": step.score},
    )


@dataclass(frozen=True, slots=True)
class Step:
    """The step of quantised heights, metres, and the score from 0.5 to 1 with which it was found."""

    height: float
    score: float


def height_step(z: FloatArray, rough: float) -> Step | None:
    """The step in which heights were written, None if they were not.

    Parameters
    ----------
    z : ndarray, shape (ny, nx)
        Untouched heights, metres, or such less a plane or an offset for each row.
    rough : float
        Roughness S, metres: what is less than 10⁻⁶ of it is equal.
    """
    if z.shape[1] < 3 or not rough > 0:
        return None
    rows = z[:: max(1, z.size // SAMPLE)]
    with np.errstate(over="ignore", invalid="ignore"):
        bends = (rows[:, 2:] - rows[:, 1:-1]) - (rows[:, 1:-1] - rows[:, :-2])
        ordered = np.sort(bends[np.isfinite(bends)])
        gaps = np.diff(ordered)
    real = np.sort(gaps[gaps > EQUAL * rough])
    if gaps.size == 0 or real.size == 0:
        return None
    height = float(np.median(real[: max(1, (real.size + 1) // 2)]))
    if not math.isfinite(height):
        return None
    multiples = real / height
    whole = float(np.mean(np.abs(multiples - np.round(multiples)) < WHOLE))
    score = (1 - real.size / gaps.size) * whole
    return Step(height, score) if score > SCORE else None
