"""Grades that stand for a limit: roughness grade numbers and gauge-block grades, with the conditions they imply."""

from __future__ import annotations

from typing import NamedTuple

ROUGHNESS: dict[str, float] = {
    "N1": 0.025e-6,
    "N2": 0.05e-6,
    "N3": 0.1e-6,
    "N4": 0.2e-6,
    "N5": 0.4e-6,
    "N6": 0.8e-6,
    "N7": 1.6e-6,
    "N8": 3.2e-6,
    "N9": 6.3e-6,
    "N10": 12.5e-6,
    "N11": 25e-6,
    "N12": 50e-6,
}
"""Ra in metres by grade number (ISO 1302:1992, as public restatements give it; later editions favour the value)."""


class Cutoff(NamedTuple):
    """Where the default cut-offs change: for Ra up to `most`, λs to λc; metres."""

    most: float
    shortest: float
    longest: float


CUTOFFS = (
    Cutoff(0.02e-6, 2.5e-6, 0.08e-3),
    Cutoff(0.1e-6, 2.5e-6, 0.25e-3),
    Cutoff(2e-6, 2.5e-6, 0.8e-3),
    Cutoff(10e-6, 8e-6, 2.5e-3),
    Cutoff(float("inf"), 25e-6, 8e-3),
)
"""Default cut-offs of profile roughness by Ra: λc of ISO 4288:1996, λs of ISO 3274:1996 (both from memory)."""


def default_cutoffs(ra: float) -> tuple[float, float]:
    """λs and λc, metres, that a roughness limit means when it states none.

    >>> default_cutoffs(0.025e-6)
    (2.5e-06, 0.00025)
    """
    chosen = next(cutoff for cutoff in CUTOFFS if ra <= cutoff.most * (1 + 1e-9))
    return chosen.shortest, chosen.longest


def default_shortest(longest: float) -> float:
    """λs, metres, that goes with a cut-off λc.

    >>> default_shortest(0.25e-3), default_shortest(2.5e-3)
    (2.5e-06, 8e-06)
    """
    return next((c.shortest for c in CUTOFFS if longest <= c.longest * (1 + 1e-9)), CUTOFFS[-1].shortest)


GAUGE_GRADES = ("K", "0", "1", "2")

GAUGE_FLATNESS: tuple[tuple[float, tuple[float, float, float, float]], ...] = (
    (0.15, (0.05e-6, 0.10e-6, 0.15e-6, 0.25e-6)),
    (0.5, (0.10e-6, 0.15e-6, 0.18e-6, 0.25e-6)),
    (1.0, (0.15e-6, 0.18e-6, 0.20e-6, 0.25e-6)),
)
"""Flatness tolerance of a measuring face, metres, for nominal lengths up to so many metres, by grade K, 0, 1, 2.

ISO 3650:1998, 7.2 (from memory; the same figures stand in a public restatement of ASME B89.1.9)."""

SHORTEST_BLOCK = 0.5e-3
"""Metres; ISO 3650 begins there."""

FACES = ((10e-3, (9e-3, 30e-3)), (1.0, (9e-3, 35e-3)))
"""Measuring faces (ISO 3650:1998, from memory): 30 mm × 9 mm up to 10 mm nominal length, 35 mm × 9 mm above; metres."""

BORDER = 0.8e-3
"""Metres along the edges that the flatness tolerance leaves out (ISO 3650:1998, 7.2: from memory)."""


def gauge_flatness(grade: str, length: float) -> float | None:
    """Flatness tolerance, metres, of a gauge block of this grade and nominal length (metres); None outside the table.

    >>> gauge_flatness("K", 10e-3), gauge_flatness("2", 0.75), gauge_flatness("0", 2.0)
    (5e-08, 2.5e-07, None)
    """
    if grade not in GAUGE_GRADES or length < SHORTEST_BLOCK * (1 - 1e-9):
        return None
    for most, limits in GAUGE_FLATNESS:
        if length <= most * (1 + 1e-9):
            return limits[GAUGE_GRADES.index(grade)]
    return None


def gauge_face(length: float) -> tuple[float, float]:
    """Sides of the part of a measuring face that the tolerance speaks about, metres.

    >>> [round(1e3 * side, 3) for side in gauge_face(10e-3)]
    [7.4, 28.4]
    """
    sides = next((face for most, face in FACES if length <= most * (1 + 1e-9)), FACES[-1][1])
    return sides[0] - 2 * BORDER, sides[1] - 2 * BORDER
