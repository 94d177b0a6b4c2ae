"""What could not be judged: silence about a map too small or too full of holes would read as “clean”."""

from __future__ import annotations

from core.trust.doubts.doubt import Doubt
from core.trust.doubts.lines import LEAST_LINES
from core.trust.doubts.look import LEAST_SIDE, Look

SPECTRAL = ("noise floor", "hum", "oscillation", "fringes")
BY_LINES = ("line jumps", "drift", "tip change")
"""What needs a spectrum, and what needs many lines only."""


def not_judged(look: Look) -> Doubt | None:
    """A note that spectra prove nothing for this map, and why; None when they do."""
    if not look.obstacle:
        return None
    silent = SPECTRAL + BY_LINES * (min(look.raw.shape) < LEAST_LINES)
    what = f"{', '.join(silent[:-1])} and {silent[-1]}"
    return Doubt(
        "not-judged",
        "note",
        f"{what[0].upper()}{what[1:]} could not be judged: {look.obstacle}.",
        f"Scan with at least {LEAST_SIDE} × {LEAST_SIDE} points, and where few points are lost.",
        {"points": float(look.raw.z.size), "missing_fraction": look.raw.missing_fraction},
    )
