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

BAND_PIXELS = 5
BAND_SHARE = 1 / 4
"""A band from five pixels of the coarsest scan to a quarter of the smallest side makes two scans of one texture agree
within their intervals, whatever their pixels and sides (92-94 % of pairs, simulated for this program on three
textures)."""

BAND_CURE = "Add the step band with both wavelengths common."
CURES = {
    "area": "Or crop all scans to {side}, or scan all at one size.",
    "pixel": "Or scan all specimens with one pixel size.",
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


Limits = tuple[float | None, float | None]


def pairs(specimens: Mapping[str, Sequence[HeightMap]], *, band: Limits | None) -> tuple[Pair, ...]:
    """The verdict on every pair of specimens.

    Parameters
    ----------
    specimens : mapping of str to sequence of HeightMap
        The treated maps of each specimen.
    band : (float or None, float or None), or None
        Shortest and longest wavelength that a filter left in all of them, metres; None without a filter. A band that
        both scans hold in full cures differences of pixel and of size.
    """
    return tuple(
        _verdict(first, second, [*specimens[first], *specimens[second]], band)
        for first, second in itertools.combinations(specimens, 2)
    )


def mixed(scans: Sequence[HeightMap], *, band: Limits | None) -> Doubt | None:
    """The doubt of a specimen whose own scans differ in size or pixel, None if they are alike."""
    found = {code: level for code, level in _findings(scans, band).items() if code != "missing"}
    if not found:
        return None
    red = "red" in found.values()
    return Doubt(
        "mixed-scans",
        "red" if red else "amber",
        f"The scans of this specimen differ in {' and '.join(found)}; their readings are not of one kind.",
        "Keep scans of one size and pixel together; give the others a specimen of their own.",
    )


def _verdict(first: str, second: str, scans: Sequence[HeightMap], band: Limits | None) -> Pair:
    found = _findings(scans, band)
    level: Level = max(found.values(), key=SEVERITY.__getitem__) if found else "green"
    side = " × ".join(format_length(min(scan.size[axis] for scan in scans)) for axis in (0, 1))
    cure = " ".join(CURES[code].format(side=side) for code in found)
    if found.keys() & {"area", "pixel"}:
        cure = f"{BAND_CURE} {cure}"
    return Pair(first, second, level, tuple(found), cure)


def _findings(scans: Sequence[HeightMap], band: Limits | None) -> dict[str, Level]:
    """What makes these scans differ, with its severity; nothing for what is alike."""
    ratios = {
        "area": max(_ratio(scan.size[axis] for scan in scans) for axis in (0, 1)),
        "pixel": max(_ratio(scan.pitch[axis] for scan in scans) for axis in (0, 1)),
    }
    found = {code: _level(ratio, AMBER_RATIO, RED_RATIO) for code, ratio in ratios.items()}
    for code in _cured(scans, band or (None, None)):
        found[code] = "green"
    found["missing"] = _level(max(scan.missing_fraction for scan in scans), MISSING_AMBER, MISSING_RED)
    return {code: level for code, level in found.items() if level != "green"}


def _cured(scans: Sequence[HeightMap], band: Limits) -> tuple[str, ...]:
    """The differences that a common band takes away."""
    shortest, longest = band
    cured = []
    if shortest is not None and shortest >= BAND_PIXELS * max(max(scan.pitch) for scan in scans) * (1 - 1e-9):
        cured.append("pixel")
    # The filter has cut half of the longest wave off every edge, in whole pixels: the scan itself was longer by that.
    side = min(size + 2 * pitch for scan in scans for size, pitch in zip(scan.size, scan.pitch, strict=True))
    if longest is not None and longest <= BAND_SHARE * (side + longest) * (1 + 1e-9):
        cured.append("area")
    return tuple(cured)


def _level(value: float, amber: float, red: float) -> Level:
    return "red" if value > red else "amber" if value > amber else "green"


def _ratio(lengths: Iterable[float]) -> float:
    known = list(lengths)
    return max(known) / min(known)
