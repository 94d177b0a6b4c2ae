"""Comparability: may the readings of two specimens stand side by side?

Roughness grows with the window: over a ratio r of two sides, a self-affine surface of Hurst exponent H changes its Sq
by about r^H (H up to 0.8 on polished surfaces), and a coarser pixel loses the short waves. So 1 % of difference in
side or pixel costs under 1 %, 10 % costs up to 8 %, about the interval of three spots; beyond that the two numbers
answer different questions.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from core.heightmap import HeightMap
from core.trust.doubts import MISSING_AMBER, MISSING_RED, Doubt
from core.units import format_length

Level = Literal["green", "amber", "red"]
SEVERITY: dict[Level, int] = {"green": 0, "amber": 1, "red": 2}

AMBER_RATIO, RED_RATIO = 1.01, 1.10

CURES = {
    "area": "Crop all scans to {side} (treatment, add step, crop), or scan all specimens at one size.",
    "pixel": "Scan all specimens with one pixel size, or compare within a band that both resolve.",
    "missing": "Scan again where no points are lost.",
}


@dataclass(frozen=True, slots=True)
class Pair:
    """The verdict on one pair of specimens.

    Attributes
    ----------
    first, second : str
        The specimens.
    level : {"green", "amber", "red"}
        Comparable, with care, or not.
    reasons : tuple of str
        Short codes: ``"area"``, ``"pixel"``, ``"missing"``.
    cure : str
        The steps that make them comparable; empty when green.
    """

    first: str
    second: str
    level: Level
    reasons: tuple[str, ...] = ()
    cure: str = ""


def pairs(specimens: Mapping[str, Sequence[HeightMap]]) -> tuple[Pair, ...]:
    """The verdict on every pair of specimens.

    Parameters
    ----------
    specimens : mapping of str to sequence of HeightMap
        The treated maps of each specimen.
    """
    return tuple(
        _verdict(first, second, [*specimens[first], *specimens[second]])
        for first, second in itertools.combinations(specimens, 2)
    )


def mixed(scans: Sequence[HeightMap]) -> Doubt | None:
    """The doubt of a specimen whose own scans differ in size or pixel, None if they are alike."""
    found = {code: level for code, level in _findings(scans).items() if code != "missing"}
    if not found:
        return None
    red = "red" in found.values()
    return Doubt(
        "mixed-scans",
        "red" if red else "amber",
        f"The scans of this specimen differ in {' and '.join(found)}; their readings are not of one kind.",
        "Keep scans of one size and pixel together; give the others a specimen of their own.",
    )


def _verdict(first: str, second: str, scans: Sequence[HeightMap]) -> Pair:
    found = _findings(scans)
    level: Level = max(found.values(), key=SEVERITY.__getitem__) if found else "green"
    side = " × ".join(format_length(min(scan.size[axis] for scan in scans)) for axis in (0, 1))
    cure = " ".join(CURES[code].format(side=side) for code in found)
    return Pair(first, second, level, tuple(found), cure)


def _findings(scans: Sequence[HeightMap]) -> dict[str, Level]:
    """What makes these scans differ, with its severity; nothing for what is alike."""
    ratios = {
        "area": max(_ratio(scan.size[axis] for scan in scans) for axis in (0, 1)),
        "pixel": max(_ratio(scan.pitch[axis] for scan in scans) for axis in (0, 1)),
    }
    found = {code: _level(ratio, AMBER_RATIO, RED_RATIO) for code, ratio in ratios.items()}
    found["missing"] = _level(max(scan.missing_fraction for scan in scans), MISSING_AMBER, MISSING_RED)
    return {code: level for code, level in found.items() if level != "green"}


def _level(value: float, amber: float, red: float) -> Level:
    return "red" if value > red else "amber" if value > amber else "green"


def _ratio(lengths: Iterable[float]) -> float:
    known = list(lengths)
    return max(known) / min(known)
