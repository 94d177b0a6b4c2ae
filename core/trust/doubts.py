"""Doubts: reasons not to trust a scan, each with what to do at the microscope."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from core.heightmap import HeightMap

Level = Literal["note", "amber", "red"]

MISSING_AMBER = 0.01  # share of points; methods measured for this program, DOUBTS “missing”
MISSING_RED = 0.10


@dataclass(frozen=True, slots=True)
class Doubt:
    """One reason not to trust a scan or a comparison.

    Attributes
    ----------
    code : str
        Stable short name, such as ``"missing"``.
    level : {"note", "amber", "red"}
        How much it matters.
    message : str
        What was seen, with its figures.
    advice : str
        What to do at the microscope.
    figures : mapping of str to float
        The numbers in the message, SI.
    """

    code: str
    level: Level
    message: str
    advice: str
    figures: Mapping[str, float] = field(default_factory=dict)


def doubts_of_scan(raw: HeightMap, treated: HeightMap) -> tuple[Doubt, ...]:
    """The doubts that one map gives rise to.

    Parameters
    ----------
    raw, treated : HeightMap
        The map as recorded and after the treatment.
    """
    return tuple(doubt for doubt in (_missing(raw), _sparse(treated)) if doubt is not None)


def single_scan() -> Doubt:
    """The doubt of a specimen that was looked at in one spot only."""
    return Doubt(
        "single-scan",
        "amber",
        "One scan only: spot-to-spot variation unknown, the place in the standing is not proven.",
        "Scan at least three spots, a millimetre or more apart.",
    )


def _missing(raw: HeightMap) -> Doubt | None:
    share = raw.missing_fraction
    if share == 0:
        return None
    level: Level = "red" if share > MISSING_RED else "amber" if share > MISSING_AMBER else "note"
    return Doubt(
        "missing",
        level,
        f"{share:.2%} of the points have no height; they are left out, never filled in.",
        "Check the set-point and the z range, or scan a cleaner spot.",
        {"missing_fraction": share},
    )


def _sparse(treated: HeightMap) -> Doubt | None:
    """Points that a filter had to make up from neighbours of which more than 10 % were missing."""
    share = max((entry.figures.get("sparse_fraction", 0.0) for entry in treated.history), default=0.0)
    if share == 0:
        return None
    return Doubt(
        "missing",
        "amber",
        f"At {share:.2%} of the points a filter found more than 10 % of its neighbourhood missing.",
        "Scan a cleaner spot, or crop the holes away.",
        {"sparse_fraction": share},
    )
