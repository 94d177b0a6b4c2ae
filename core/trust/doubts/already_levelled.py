"""Already levelled: a file whose scan lines were made alike before it was saved."""

from __future__ import annotations

import math

import numpy as np

from core.heightmap import FloatArray
from core.treatment.rows import row_medians
from core.trust.doubts.doubt import Doubt
from core.trust.doubts.lines import FEWEST
from core.trust.doubts.look import Look
from core.trust.doubts.quantised import height_step

FEW = 16
"""Pairs of lines that are looked at first."""

LIMIT = 1e-3
"""RMS over the roughness S below which lines are too alike to be as recorded; the least of clean maps is 0.008."""

FINE_STEP = 0.02
"""Step of quantised heights over S up to which equal medians mean something: coarser ones are equal by themselves."""

ROUNDED = 1.3
HIGHEST = 5e-3
"""For quantised heights: scatter of the means of levelled lines, in that of rounding, and its limit over S."""

WORDS = {"mean": "mean heights", "median": "median heights", "differences": "median differences from line to line"}


def already_levelled(look: Look) -> Doubt | None:
    """The doubt that scan lines had offsets taken off before the file was written.

    Notes
    -----
    On the untouched numbers: RMS about their mean of the means of the lines, of their medians, and RMS of the medians
    of the differences between neighbouring lines. Levelled, if the smallest of the three is below 10⁻³ S. Heights
    written in steps q > 0.02 S have medians that are equal by themselves, so that only the means are looked at, and
    rounding after levelling leaves these a scatter of q/√(12 n) for n points in a line: then the limit is 1.3 times
    this, at most 0.005 S. (A limit of 0.3 q for all three alarms on most clean maps of q = 0.2 S.) Lines made alike
    under a mask, or a map cropped afterwards, do not show. Simulated for this program: no alarm in 1,500 clean maps nor
    in those written in steps of 0.05, 0.2 and 1 S; levelled ones are found in 200 of 200.
    """
    if look.blank or min(look.raw.shape) < FEWEST:
        return None
    z = look.raw.z
    few = z[np.unique(np.linspace(0, len(z) - 2, FEW).astype(int))[:, None] + np.arange(2)].reshape(-1, z.shape[1])
    if min(likeness(few / look.rough, pairs=True).values()) > 2 * HIGHEST:
        return None  # a map is levelled in all its lines or not at all
    alike = likeness(z / look.rough)
    step = height_step(z, look.rough)
    limit = LIMIT
    if step is not None and step.height > FINE_STEP * look.rough:
        rounding = step.height / look.rough / math.sqrt(12 * look.raw.shape[1])
        limit = max(limit, min(ROUNDED * rounding, HIGHEST))
        alike = {"mean": alike["mean"]}
    way, share = min(alike.items(), key=lambda item: item[1])
    if not share < limit:
        return None
    return Doubt(
        "already-levelled",
        "amber",
        f"The {WORDS[way]} of all scan lines are equal to within {share:.1e} of the roughness: the file was "
        "levelled line by line before it was saved. How much texture that cost is unknown.",
        "Export the raw heights, without any levelling or flattening.",
        {"line_rms_share": share},
    )


def likeness(z: FloatArray, *, pairs: bool = False) -> dict[str, float]:
    """RMS, in the unit of the heights, by which means, medians and median differences of the rows are unequal.

    With `pairs`, only rows 0 and 1, 2 and 3, ... are neighbours.
    """
    known = np.isfinite(z)
    if known.all():
        means = z.mean(axis=1)
        decided = np.ones(len(z), dtype=bool)
    else:
        points = np.count_nonzero(known, axis=1)
        decided = points > 0
        means = np.where(known, z, 0.0).sum(axis=1) / np.maximum(points, 1)
    middle, _ = row_medians(z)
    moves, shared = row_medians(z[1::2] - z[:-1:2] if pairs else z[1:] - z[:-1])
    return {
        "mean": _spread(means[decided]),
        "median": _spread(middle[decided]),
        "differences": float(np.sqrt(np.mean(moves[shared > 0] ** 2))) if np.any(shared > 0) else np.inf,
    }


def _spread(values: FloatArray) -> float:
    return float(np.std(values - values[0])) if values.size > 1 else np.inf
