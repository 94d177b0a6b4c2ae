"""What the figure says in words: under each name, in the headings, in the caption."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from core.figure.layout import TEXT
from core.figure.parts import bar_text
from core.figure.text import shorten, width
from core.measures.reading import Reading
from core.results import Comparison, ScanResult
from core.scale import clipped
from core.sheet.words import (
    caption,
    clean,
    column_scaling,
    common_unit,
    height_range_text,
    interval_text,
    range_text,
    reasons_text,
    spots,
    value_text,
)
from core.units import metres_per, percent

SHOWN = 24  # more maps than this are stamps; the best are shown and the caption says so
LONG_LIST = 3
IN_SENTENCE = 170.0  # room for a name in the caption, talk points


@dataclass(frozen=True, slots=True)
class Panel:
    """One specimen on the figure.

    Attributes
    ----------
    name : str
        The specimen.
    rank : int or None
        Its place.
    colour : int
        Its number on the bench, which makes its colour.
    scan : ScanResult
        The spot that stands for it.
    reading : Reading
        The ranking reading of the specimen.
    spots : int
        How many there are.
    outside : (float, float)
        Shares of the map outside the colours of a and of b.
    proven : bool
        Whether the place rests on two spots or more.
    aside : bool
        Whether the reading may not stand beside the others and is greyed.
    """

    name: str
    rank: int | None
    colour: int
    scan: ScanResult
    reading: Reading
    spots: int
    outside: tuple[float, float]
    proven: bool = True
    aside: bool = False


def panels(comparison: Comparison) -> list[Panel]:
    """The specimens in the order of the standing, at most `SHOWN` of them."""
    ranked = [place.specimen for place in comparison.standing if place.specimen in comparison.specimens_by_name]
    rest = [specimen.name for specimen in comparison.specimens if specimen.name not in comparison.places]
    found = []
    for name in (*ranked, *rest)[:SHOWN]:
        specimen, place = comparison.specimens_by_name[name], comparison.places.get(name)
        missing = Reading(comparison.rank_by, None, "1", "")
        scan = comparison.scans_by_name[specimen.typical]
        ranges = (comparison.shared_range, scan.own_range)
        found.append(
            Panel(
                name=clean(name),
                rank=place.rank if place else None,
                colour=comparison.colour_index(name),
                scan=scan,
                reading=specimen.readings.get(comparison.rank_by, missing),
                spots=spots(comparison, name),
                outside=(sum(clipped(scan.treated, *ranges[0])), sum(clipped(scan.treated, *ranges[1]))),
                proven=place is None or place.proven,
                aside=place is not None and not place.comparable,
            )
        )
    return found


@dataclass(frozen=True, slots=True)
class Told:
    """One way to write value and range under the names: the same for all specimens.

    Attributes
    ----------
    values : tuple of tuple of str
        Lines of each specimen.
    ranges : tuple of str
        Range of each own scale.
    note : str
        What the lines leave out, for the heading; empty if nothing.
    """

    values: tuple[tuple[str, ...], ...]
    ranges: tuple[str, ...]
    note: str = ""

    @property
    def room(self) -> float:
        """Width of the widest line."""
        lines = [line for lines in self.values for line in lines]
        return max(width(line, TEXT) for line in (*lines, *self.ranges))

    @property
    def lines(self) -> int:
        """Lines of a value."""
        return max(len(lines) for lines in self.values)


def ways(shown: Sequence[Panel]) -> list[Told]:
    """From the most telling to the shortest way of writing the numbers."""
    unit = column_scaling(panel.reading for panel in shown)[1]
    ranges = tuple(height_range_text(*panel.scan.own_range) for panel in shown)
    whole = [value_text(replace(panel.reading, n=0), unit) for panel in shown]
    counts = [f"n = {panel.spots}" for panel in shown]
    found = [
        Told(tuple((f"{value}, {n}",) for value, n in zip(whole, counts, strict=True)), ranges),
        Told(tuple(zip(whole, counts, strict=True)), ranges),
    ]
    if len(set(counts)) == 1:  # the caption says it once for all
        found.append(Told(tuple((value,) for value in whole), ranges))
    return [*found, *_bare(shown, unit)]


def _bare(shown: Sequence[Panel], name: str) -> list[Told]:
    """Numbers alone, what they are told in the heading."""
    first = shown[0].reading
    values = []
    for panel in shown:
        told = interval_text(replace(panel.reading, n=0), name)
        values.append(told.removesuffix(f" {name}") if name else told)
    across = common_unit([max(map(abs, panel.scan.own_range)) for panel in shown])
    ranges = [range_text(*(end / metres_per(across) for end in panel.scan.own_range)) for panel in shown]
    what = f"{first.symbol} in {name}" if name else first.symbol
    note = f"{first.symbol} and range in {name}" if name == across else f"{what}, range in {across}"
    alone = [told.split(" ± ")[0] for told in values]
    counts = [f"n = {panel.spots}" for panel in shown]
    with_counts = Told(tuple(zip(values, counts, strict=True)), tuple(ranges), note)
    return [
        *([with_counts] if len(set(counts)) > 1 else []),
        Told(tuple((told,) for told in values), tuple(ranges), note),
        Told(tuple((told,) for told in alone), tuple(ranges), f"{note}; intervals: sheet"),
    ]


def headings(comparison: Comparison, note: str, *, stacked: bool) -> tuple[str, str]:
    """The headings of a and b."""
    shared = height_range_text(*comparison.shared_range)
    where = ("", "") if stacked else (" left:", " right:")
    b = f"b{where[1]} each on its own scale"
    return f"a{where[0]} one scale for all, {shared}", f"{b} ({note})" if note else b


def warnings(comparison: Comparison) -> str:
    """The pairs that must not be compared, in words; empty if there are none."""
    red = [pair for pair in comparison.comparability if pair.level == "red"]
    if not red:
        return ""
    aside = [place.specimen for place in comparison.standing if not place.comparable and place.not_comparable_with]
    if 0 < len(aside) < len(comparison.standing):
        reasons = dict.fromkeys(reason for pair in red for reason in pair.reasons)
        return clean(f"Not comparable: {some(aside)} with the others ({reasons_text(tuple(reasons))}).")
    told = [f"{_short(pair.first)} and {_short(pair.second)} ({reasons_text(pair.reasons)})" for pair in red[:2]]
    more = f"; and {len(red) - 2} more pairs, see the sheet" if len(red) > 2 else ""
    return clean("Not comparable: " + "; ".join(told) + more + ".")


def caption_text(comparison: Comparison, shown: Sequence[Panel], *, bars_written: bool) -> str:
    """Everything that a reader must know to believe the picture, in one paragraph."""
    sentences = [f"Typical (median) spot shown; {caption(comparison)}."]
    if len(comparison.specimens) > len(shown):
        sentences.append(f"The {len(shown)} best of {len(comparison.specimens)} specimens.")
    sides = {bar_text(panel.scan.treated.size[1]) for panel in shown}
    if len({tuple(round(side, 12) for side in panel.scan.treated.size) for panel in shown}) > 1:
        sentences.append("The scans differ in size: each is fitted and has its own scale bar.")
    if not bars_written:
        sentences.append(_bars(shown, sides))
    sentences.append(_hollow(shown))
    sentences.append(_outside(shown))
    if any(panel.scan.treated.missing for panel in shown):
        sentences.append("Grey: no height.")
    if any(panel.scan.treated.masked for panel in shown):
        sentences.append("Amber: masked, not in the numbers.")
    sentences.append(verdicts(comparison))
    return _kept_together(clean(" ".join(sentence for sentence in sentences if sentence)))


def verdicts(comparison: Comparison) -> str:
    """The verdicts on the claims in one sentence; empty without claims."""
    groups: dict[tuple[str, str], list[str]] = {}
    for one in comparison.claims:
        groups.setdefault((_printed(one.claim.text), one.verdict), []).append(one.specimen)
    if not groups:
        return ""
    everyone = len(comparison.specimens)
    told = [
        f"{claim} {verdict}" + ("" if len(names) == everyone else f" ({some(names)})")
        for (claim, verdict), names in list(groups.items())[:LONG_LIST]
    ]
    more = f"; {len(groups) - LONG_LIST} more on the sheet" if len(groups) > LONG_LIST else ""
    return f"Claims: {'; '.join(told)}{more}."


def _printed(claim: str) -> str:
    """A claim as it is printed: ≤, λ and µ for what was typed."""
    return re.sub(r"(?<=\d)um\b", "µm", claim.replace("<=", "≤").replace("lambda", "λ"))


def _hollow(shown: Sequence[Panel]) -> str:
    """What hollow ranks and grey numbers mean, if there are any."""
    told = [
        *(["Hollow rank: one spot, not proven."] if any(not panel.proven for panel in shown) else []),
        *(["Hollow rank, grey numbers: not comparable, set aside."] if any(panel.aside for panel in shown) else []),
    ]
    return " ".join(told)


def _bars(shown: Sequence[Panel], lengths: set[str]) -> str:
    if len(lengths) == 1:
        return f"Scale bars {next(iter(lengths))}."
    groups = [(length, [p.name for p in shown if bar_text(p.scan.treated.size[1]) == length]) for length in lengths]
    groups.sort(key=lambda group: (-len(group[1]), group[0]))
    told = [f"{groups[0][0]} on most"] + [f"{length} on {some(names)}" for length, names in groups[1:]]
    return f"Scale bars {', '.join(told)}."


def _outside(shown: Sequence[Panel]) -> str:
    """How much of each picture is outside its colours."""
    on_a = {panel.name: panel.outside[0] for panel in shown}
    on_b = max(panel.outside[1] for panel in shown)
    most = sorted((name for name, share in on_a.items() if share > 0), key=lambda name: -on_a[name])
    told = [f"{_short(name)} {_percent(on_a[name])}" for name in most[:LONG_LIST]]
    if len(most) > LONG_LIST:
        told.append("others less")
    parts = [f"a: {', '.join(told)}"] if told else []
    if on_b > 0:
        parts.append(f"b: {'' if len(shown) == 1 else 'at most '}{_percent(on_b)}")
    return f"Magenta below, red above the range: in {'; in '.join(parts)}." if parts else ""


def _kept_together(text: str) -> str:
    """The text with spaces between number and unit that no line ends at."""
    return re.sub(r"(?<=\d) (?=(?:%|[nµmp]?m\b))", "\u00a0", text)


def _percent(share: float) -> str:
    return "under 0.1 %" if share < 0.0005 else percent(share, 1)


def some(names: Sequence[str]) -> str:
    """A few names in a sentence, long ones shortened."""
    told = [_short(name) for name in names]
    return ", ".join(told) if len(told) <= LONG_LIST else f"{told[0]} and {len(told) - 1} others"


def _short(name: str) -> str:
    """A name in a sentence: the figure carries it in full length elsewhere."""
    return shorten(name, IN_SENTENCE, TEXT)
