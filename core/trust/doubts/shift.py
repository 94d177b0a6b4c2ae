"""Drift in the plane: how far the second of two repeats lies from the first. One map alone cannot show it."""

from __future__ import annotations

import math

from core.trust.doubts.doubt import Doubt
from core.trust.noise.registration import Shift
from core.units import format_length, format_number

SHIFT = 2.0
"""Points from one frame to the next above which it is told (common practice, no source)."""


def drift_between(first: str, second: str, found: Shift, *, lines: int, line_rate: float | None) -> Doubt | None:
    """The doubt that the shift of two repeats gives rise to.

    Parameters
    ----------
    first, second : str
        Names of the scans.
    found : Shift
        From `core.trust.noise.registration.register`.
    lines : int
        Rows of a map.
    line_rate : float or None
        Hertz, where it is known.

    Returns
    -------
    Doubt or None
        Amber above two points; a note where the maps could not be laid on each other.
    """
    if not found.registered:
        return Doubt(
            "drift",
            "note",
            f"“{first}” and “{second}” could not be laid on each other: drift is not judged.",
            "Repeat the scan at once, at the same place, size and number of points.",
            {"peak": found.z},
        )
    if not math.hypot(found.down, found.across) > SHIFT:
        return None
    down, across = found.metres
    far = math.hypot(down, across)
    figures = {"down_m": down, "across_m": across, "down_px": found.down, "across_px": found.across}
    rate = ""
    if line_rate is not None:
        minutes = lines / line_rate / 60
        figures["rate_m_per_s"] = far / (60 * minutes)
        rate = f", {format_length(far / minutes)} per minute if one followed the other at once"
    return Doubt(
        "drift",
        "amber",
        f"From one repeat to the next the surface moved by {format_length(far)} "
        f"({format_number(math.hypot(found.down, found.across))} points){rate}.",
        "Wait until the specimen has come to rest, scan faster, keep lamps and draughts away. Lengths down the map "
        "are stretched or squeezed by as much.",
        figures,
        settled_by="A third repeat: drift that dies away was thermal.",
    )
