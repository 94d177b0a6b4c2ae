"""Short words for steps, doubts and verdicts as the window says them. Formats what `core` found."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence

from core.bench import Refusal
from core.results import Comparison
from core.treatment.step import Step
from core.trust.comparability import Pair
from core.trust.doubts import Doubt
from core.units import format_length, percent

STEP_NAMES = {
    "calibrate": "Calibrate",
    "crop": "Crop to a rectangle",
    "mask": "Mask points",
    "level": "Level",
    "rows": "Rows made alike",
    "fill": "Fill",
    "resample": "Resample",
    "band": "Band of wavelengths",
    "zero": "Zero of heights",
}
"""What each kind of step is called in menus."""

CHIPS = {
    "noise-floor": "noise floor",
    "hum": "hum",
    "oscillation": "oscillation",
    "fringes": "fringes",
    "bow": "scanner bow",
    "drift": "drift",
    "streaks": "streaks",
    "line-jumps": "line jumps",
    "tip-change": "tip change",
    "double-tip": "double tip",
    "quantised": "quantised",
    "clipped": "z clipped",
    "already-levelled": "levelled before",
    "coarse-pixels": "coarse pixels",
    "missing": "missing points",
    "single-scan": "single scan",
    "same-scan": "same scan twice",
    "mixed-scans": "mixed",
    "mixed-treatment": "mixed treatment",
}
"""Doubts in one or two words, for the chips on the tiles."""

LEAST_SHIFT = 0.5e-12  # metres; below it the heights had their zero there before
SAY_QUANTITIES = "Say pixel size and unit…"
SEVERITY = {"note": 0, "amber": 1, "red": 2}


def step_title(step: Step) -> str:
    """The step in a few words, beginning with a capital."""
    told = step.describe()
    return told[:1].upper() + told[1:]


def what_step_removed(comparison: Comparison | None, index: int) -> str:
    """What the step at this place of the treatment took off, the median over all scans."""
    if comparison is None or not comparison.scans or index >= len(comparison.treatment.steps):
        return ""
    if not comparison.treatment.steps[index].on:
        return ""
    place = sum(step.on for step in comparison.treatment.steps[:index])
    entries = [scan.removed[place] for scan in comparison.scans if place < len(scan.removed)]
    figures = {name: [entry.figures[name] for entry in entries if name in entry.figures]
               for name in ("removed_rms_m", "fraction", "shift_m")}  # fmt: skip
    middle = {name: statistics.median(values) for name, values in figures.items() if values}
    if "shift_m" in middle and abs(middle["shift_m"]) < LEAST_SHIFT:
        return "heights had their zero there"
    parts = []
    if "removed_rms_m" in middle:
        parts.append(f"removed {format_length(middle['removed_rms_m'])} RMS")
    if "fraction" in middle:
        parts.append(f"{percent(middle['fraction'], 2)} masked")
    if "shift_m" in middle:
        parts.append(f"shifted by {format_length(middle['shift_m'])}")
    if not parts:
        return entries[0].removed if entries else ""
    return " · ".join(parts) + (" (median)" if len(entries) > 1 else "")


def chips(doubts: Iterable[Doubt]) -> tuple[tuple[str, str], ...]:
    """Doubts as chips, the worst first, each once; mere notes are left to the list of doubts."""
    worst: dict[str, str] = {}
    for doubt in sorted(doubts, key=lambda doubt: -SEVERITY[doubt.level]):
        if doubt.level != "note":
            worst.setdefault(CHIPS.get(doubt.code, doubt.code.replace("-", " ")), doubt.level)
    return tuple(worst.items())


def lacks_quantities(refusal: Refusal) -> bool:
    """Whether the file only does not say its pixel size or the unit of its heights: the user can."""
    return "--pixel" in refusal.fix or "--unit" in refusal.fix


def fix_in_window(refusal: Refusal) -> str:
    """What to do about a refused file, as it is done in the window."""
    if not lacks_quantities(refusal):
        return refusal.fix
    sidecar = f"{refusal.file.replace(chr(92), '/').rsplit('/', 1)[-1]}.toml"
    return f"Press “{SAY_QUANTITIES}” and say them, or write them into {sidecar} beside it."


def listed(names: Sequence[str]) -> str:
    """Names in a sentence.

    >>> listed(["A"]), listed(["A", "B", "C"])
    ('A', 'A, B and C')
    """
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def unlike_pairs(pairs: Iterable[Pair]) -> list[tuple[str, tuple[str, ...], str, list[Pair]]]:
    """Pairs that are not plainly comparable, those of one level, reason and cure together; the worst first."""
    groups: dict[tuple[str, tuple[str, ...], str], list[Pair]] = {}
    for pair in pairs:
        if pair.level != "green":
            groups.setdefault((pair.level, pair.reasons, pair.cure), []).append(pair)
    ordered = sorted(groups.items(), key=lambda item: -SEVERITY[item[0][0]])
    return [(level, reasons, cure, found) for (level, reasons, cure), found in ordered]
