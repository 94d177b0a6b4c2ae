"""Doubts as they are listed: those of one level and kind together, with all that they are about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.tiles.state import Area
from app.told.words import CHIPS, SEVERITY
from core.results import Comparison, ScanResult
from core.treatment import STEPS
from core.treatment.step import Step
from core.trust.doubts import Doubt

LEVELS = {"red": "red", "amber": "amber", "note": "noted"}
"""What the levels are called in sums."""


@dataclass(frozen=True)
class Seen:
    """One doubt about one scan, or about a specimen as a whole.

    Attributes
    ----------
    doubt : Doubt
        As core found it.
    specimen : str
        Whom it concerns.
    scan : str
        The scan; empty where it is the specimen as a whole.
    """

    doubt: Doubt
    specimen: str
    scan: str = ""

    @property
    def name(self) -> str:
        """What it is about, in a word."""
        return self.scan or self.specimen


@dataclass(frozen=True)
class Group:
    """All doubts of one level and kind.

    Attributes
    ----------
    level, code : str
        As in `core.trust.doubts.Doubt`.
    seen : tuple of Seen
        In bench order.
    """

    level: str
    code: str
    seen: tuple[Seen, ...]

    @property
    def title(self) -> str:
        """Its name, beginning with a capital."""
        name = chip_of(self.code)
        return name[:1].upper() + name[1:]

    @property
    def advice(self) -> list[str]:
        """What to do at the microscope; each advice once."""
        return _once(seen.doubt.advice for seen in self.seen)

    @property
    def confused_with(self) -> list[str]:
        """What one map cannot tell it from."""
        return _once(seen.doubt.confused_with for seen in self.seen)

    @property
    def settled_by(self) -> list[str]:
        """Which second scan would settle it."""
        return _once(seen.doubt.settled_by for seen in self.seen)

    @property
    def cures(self) -> list[tuple[Step, tuple[str, ...]]]:
        """The steps that mask or model it, each with the specimens that it is offered for."""
        found: dict[Step, list[str]] = {}
        for seen in self.seen:
            step = cure_of(seen.doubt)
            if step is not None:
                found.setdefault(step, []).append(seen.specimen)
        return [(step, tuple(dict.fromkeys(names))) for step, names in found.items()]


def chip_of(code: str) -> str:
    """A doubt in one or two words, as on the tiles."""
    return CHIPS.get(code, code.replace("-", " "))


def groups(comparison: Comparison | None) -> list[Group]:
    """All doubts of a comparison, the worst first."""
    if comparison is None:
        return []
    seen = [Seen(doubt, one.name) for one in comparison.specimens for doubt in one.doubts]
    seen += [Seen(doubt, scan.specimen, scan.name) for scan in comparison.scans for doubt in scan.doubts]
    found: dict[tuple[str, str], list[Seen]] = {}
    for one in seen:
        found.setdefault((one.doubt.level, one.doubt.code), []).append(one)
    ordered = sorted(found.items(), key=lambda item: -SEVERITY[item[0][0]])
    return [Group(level, code, tuple(alike)) for (level, code), alike in ordered]


def summary(found: Sequence[Group]) -> str:
    """How many doubts there are, by level.

    >>> one = Seen(Doubt("hum", "amber", "", ""), "film")
    >>> summary([Group("amber", "hum", (one, one))]), summary([])
    ('2 amber', 'none')
    """
    counts = {level: sum(len(group.seen) for group in found if group.level == level) for level in LEVELS}
    return " · ".join(f"{count} {LEVELS[level]}" for level, count in counts.items() if count) or "none"


def cure_of(doubt: Doubt) -> Step | None:
    """The step that a doubt offers."""
    if doubt.cure is None:
        return None
    values = {name: value for name, value in doubt.cure.items() if name != "do"}
    return STEPS[doubt.cure["do"]].from_parameters(values)


def area_of(scan: ScanResult, doubt: Doubt) -> Area | None:
    """Where a doubt is on the treated map: crops move the centre, edges that a filter cut do not."""
    if doubt.place is None:
        return None
    (dy, dx), (high, wide), place = scan.raw.pitch, scan.raw.size, doubt.place
    x, y = (place.left + place.right) / 2 * dx - wide / 2, (place.top + place.bottom) / 2 * dy - high / 2
    for entry in scan.removed:
        figures = entry.figures
        if entry.step.get("do") == "crop":
            x -= figures["left_m"] + figures["width_m"] / 2 - wide / 2
            y -= figures["top_m"] + figures["height_m"] / 2 - high / 2
            wide, high = figures["width_m"], figures["height_m"]
        elif "cut_m" in figures:
            wide, high = wide - 2 * figures["cut_m"], high - 2 * figures["cut_m"]
    return x, y, (place.right - place.left) * dx, (place.bottom - place.top) * dy


def _once(texts: object) -> list[str]:
    return [text for text in dict.fromkeys(texts) if text]  # type: ignore[call-overload]
