"""Clipped heights: a plateau at an end of the range."""

from __future__ import annotations

import numpy as np

from core.artefacts import find_plateaus
from core.trust.doubts.doubt import Doubt, Level, Place
from core.trust.doubts.look import Look
from core.units import format_length, percent

RED = 0.01
"""Share of the points on plateaus above which the whole map is doubted (common practice, no source)."""

SMALLEST = 64
"""Fewer points cannot tell a plateau from a few equal heights."""


def clipped(look: Look) -> Doubt | None:
    """The doubt that the instrument ran out of range.

    Notes
    -----
    The rule is that of `core.artefacts.find_plateaus`, on the untouched numbers. Levelled before it was saved, a map
    hides its plateaus.
    """
    z = look.raw.z
    if z.size < SMALLEST:
        return None
    plateaus = find_plateaus(z)
    if not plateaus:
        return None
    points = sum(plateau.points for plateau in plateaus)
    share = points / z.size
    held = np.zeros(z.shape, dtype=bool)
    for plateau in plateaus:
        held |= plateau.holds(z)
    rows, columns = (np.flatnonzero(held.any(axis=axis)) for axis in (1, 0))
    ends = " and ".join({"top": "highest", "bottom": "lowest"}[plateau.end] for plateau in plateaus)
    level: Level = "red" if share > RED else "amber"
    span = float(np.nanmax(z)) - float(np.nanmin(z))
    return Doubt(
        "clipped",
        level,
        f"{points} points ({percent(share, 2)}) lie exactly at the {ends} height of a range of {format_length(span)}: "
        "the instrument was out of range there.",
        "Widen or re-centre the z range and scan again. Peak-to-valley, bumps and particles are not valid on this map.",
        {"clipped_fraction": share, "clipped_points": float(points), "range_m": span},
        place=Place(int(rows[0]), int(columns[0]), int(rows[-1]) + 1, int(columns[-1]) + 1),
        cure={"do": "mask", "what": "clipped"},
    )
