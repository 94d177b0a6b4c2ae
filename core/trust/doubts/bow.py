"""Scanner bow: the curvature that maps of different specimens have in common."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from core.heightmap import FloatArray
from core.trust.doubts.doubt import Doubt, Level
from core.trust.doubts.imprint import Imprint
from core.units import format_length

FEWEST = 3
"""Specimens below which a common form cannot be told from one of their own."""

SCORE = 5.0
ALIKE = 2.5
ALIKE_SHARE = 0.25
RED = 0.5
SMALLEST = 32
SAME_SIZE = 0.01


def bow(specimens: Mapping[str, Sequence[Imprint]]) -> dict[str, Doubt]:
    """The doubt that several specimens show the bow of the scanner.

    Parameters
    ----------
    specimens : mapping of str to sequence of Imprint
        Those of the scans of each specimen. Only scans of one size can share a bow; they are compared size by size.

    Returns
    -------
    dict of str to Doubt
        By the name of the scan (``Imprint.name``), for every scan concerned. With one or two specimens, or fewer than
        three of the same size, nothing can be said: see `can_be_judged`.

    Notes
    -----
    The clipped map is projected on orthonormal polynomials, c[q][p] by degree down and across. For the bow along x,
    a = c[0][2] and its own yardstick v = mean(c[0][3…5]²) + ¼ mean(c₁₁², c₁₂², c₂₁²): what the long waves of the map do
    by chance. A specimen with several scans enters with the means of a, and of v over their number. With weights
    W = 1/(v + ¼ median v): m = ΣWa/ΣW, se = √(ΣW²v)/ΣW, T = |m|/se. Told if T > 5, all signs are equal and every
    |a − m| < 2.5 √v + ¼|m|; red if |m| > 0.5 S of the smoothest. T has nearly a t law with few degrees of freedom,
    hence 5. A form that all specimens truly share, such as cut from one bent sheet, looks the same. Simulated for this
    program (256², groups of 3, 6 and 10): no alarm in 1,980 clean groups; a bow of 0.8 S RMS is found in all groups, of
    0.4 S in nine of ten and more, but on lapping across the scan lines (half, with three specimens).
    """
    found: dict[str, Doubt] = {}
    for group in _by_size(specimens):
        if len(group) < FEWEST:
            continue
        told = [(axis, common) for axis in ("fast", "slow") if (common := common_bow(group, axis)) is not None]
        if not told:
            continue
        doubt = _told(group, dict(told))
        found.update({scan.name: doubt for scans in group.values() for scan in scans})
    return found


def can_be_judged(specimens: Mapping[str, Sequence[Imprint]]) -> bool:
    """Whether any three specimens have scans of one size: with fewer, scanner bow is not testable."""
    return any(len(group) >= FEWEST for group in _by_size(specimens))


@dataclass(frozen=True, slots=True)
class Common:
    """A bow that specimens share: its RMS amplitude with sign, metres, and the score T."""

    height: float
    score: float


def common_bow(group: Mapping[str, Sequence[Imprint]], axis: str) -> Common | None:
    """The bow along one axis that all specimens of a group share; None if they share none."""
    unit = min(scan.rough for scans in group.values() for scan in scans)
    pairs = []
    for scans in group.values():
        terms = [_bow_and_chance(scan.terms, axis, unit) for scan in scans]
        pairs.append((np.mean([a for a, _ in terms]), np.mean([v for _, v in terms]) / len(terms)))
    a, v = np.array(pairs).T
    if not np.all(np.isfinite(a)) or not np.any(v > 0):
        return None
    weights = 1 / (v + np.median(v) / 4 + 1e-12)
    m = float(weights @ a / weights.sum())
    error = math.sqrt(float(weights**2 @ v)) / float(weights.sum())
    score = abs(m) / error if error > 0 else 0.0
    alike = np.all(np.sign(a) == np.sign(m)) and np.all(np.abs(a - m) < ALIKE * np.sqrt(v) + ALIKE_SHARE * abs(m))
    return Common(m * unit, score) if score > SCORE and alike else None


def _bow_and_chance(terms: FloatArray, axis: str, unit: float) -> tuple[float, float]:
    """Curvature term along one axis and the variance that chance gives such terms, in `unit` and its square."""
    c = terms / unit
    if axis == "slow":
        c = c.T
    mixed = (c[1, 1], c[1, 2], c[2, 1])
    return float(c[0, 2]), float(np.mean(c[0, 3:] ** 2) + np.mean(np.square(mixed)) / 4)


def _by_size(specimens: Mapping[str, Sequence[Imprint]]) -> list[dict[str, list[Imprint]]]:
    """The scans in groups of one size, within 1 %; those too small or without relief are left out."""
    groups: list[tuple[tuple[float, float], dict[str, list[Imprint]]]] = []
    for name, scans in specimens.items():
        for scan in scans:
            if scan.blank or min(scan.shape) < SMALLEST:
                continue
            for size, group in groups:
                if all(abs(s - t) <= SAME_SIZE * t for s, t in zip(scan.size, size, strict=True)):
                    group.setdefault(name, []).append(scan)
                    break
            else:
                groups.append((scan.size, {name: [scan]}))
    return [group for _, group in groups]


def _told(group: Mapping[str, Sequence[Imprint]], common: Mapping[str, Common]) -> Doubt:
    smoothest = min(scan.rough for scans in group.values() for scan in scans)
    largest = max((bow.height for bow in common.values()), key=abs)
    level: Level = "red" if abs(largest) > RED * smoothest else "amber"
    axes = " and ".join(f"{format_length(abs(bow.height))} RMS along the {axis} axis" for axis, bow in common.items())
    form = "bowl" if largest > 0 else "dome"
    return Doubt(
        "bow",
        level,
        f"All {len(group)} specimens scanned at this size are bent alike, into a {form}: {axes}. "
        f"The smoothest is {format_length(smoothest)} rough.",
        "The bow belongs to the scanner: take off a polynomial of degree 2 from all scans, or measure it once on a "
        "cleaved crystal. Scan smaller or nearer to the middle of the range.",
        {
            **{f"bow_{axis}_m": bow.height for axis, bow in common.items()},
            "score": max(bow.score for bow in common.values()),
            "specimens": float(len(group)),
        },
        confused_with="Common to all: a form that all specimens share, such as cut from one bent sheet.",
        settled_by="Mount one specimen again, turned by 90°: its own form turns with it.",
        cure={"do": "level", "form": "polynomial", "degree": 2},
    )
