"""Missing points: those the scan never had, and those a filter had to make up."""

from __future__ import annotations

from core.heightmap import HeightMap
from core.trust.doubts.doubt import Doubt, Level
from core.units import percent

MISSING_AMBER = 0.01
MISSING_RED = 0.10
"""Shares of points above which a scan is doubted (common practice, no source)."""


def missing(raw: HeightMap) -> Doubt | None:
    """The doubt that points without a height give rise to, None when there are none."""
    share = raw.missing_fraction
    if share == 0:
        return None
    level: Level = "red" if share > MISSING_RED else "amber" if share > MISSING_AMBER else "note"
    return Doubt(
        "missing",
        level,
        f"{percent(share, 2)} of the points have no height; they are left out, never filled in.",
        "Check the set-point and the z range, or scan a cleaner spot.",
        {"missing_fraction": share},
    )


def sparse(treated: HeightMap) -> Doubt | None:
    """The doubt about points that a filter made up from neighbours of which more than 10 % were missing."""
    share = max((entry.figures.get("sparse_fraction", 0.0) for entry in treated.history), default=0.0)
    if share == 0:
        return None
    return Doubt(
        "missing",
        "amber",
        f"At {percent(share, 2)} of the points a filter found more than 10 % of its neighbourhood missing.",
        "Scan a cleaner spot, or crop the holes away.",
        {"sparse_fraction": share},
    )
