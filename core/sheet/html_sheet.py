"""The sheet as one page of HTML that needs nothing else: to read, to print on A4, to send.

The template escapes everything that comes from files or users; the page forbids scripts and outside sources on top.
"""

from __future__ import annotations

import base64
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from core.atomic import atomic
from core.choices import sentence as choices_sentence
from core.colours import specimen_colour
from core.measures import CATALOGUE
from core.measures.reading import Reading
from core.results import Comparison, SpecimenResult
from core.sheet.budget_table import absolute_text, rows
from core.sheet.bumps import HEADS as BUMP_HEADS
from core.sheet.bumps import bumps_row
from core.sheet.claims import HEADS, LEVELS, claim_row
from core.sheet.method import ONLY_ITEMS, method
from core.sheet.noise import HEADS as NOISE_HEADS
from core.sheet.noise import noise_notes, noise_row
from core.sheet.record import PROGRAM, SCHEMA, carried, record
from core.sheet.trials import CAUTION, landing_text, smallest_text, trial_rows
from core.sheet.trials import HEADS as TRIAL_HEADS
from core.sheet.whisker import WIDTH, Axis, Whisker
from core.sheet.words import (
    KINDS,
    NONE,
    caption,
    clean,
    column_scaling,
    ends,
    has_interval,
    is_wide,
    is_within,
    places_of,
    range_text,
    reasons_text,
    signed,
    within_text,
)
from core.standing import Place
from core.trust.comparability import UNRECORDED
from core.units import format_length, format_number, percent
from core.verdict import chance_digits, listed, sentences

if TYPE_CHECKING:
    from jinja2 import Template

NAMED = 3  # specimens that are named in a row of the standing
COLUMNS = 6  # readings side by side that an A4 page holds


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the standing, ready to be shown."""

    rank: int
    specimen: str
    colour: str
    on_colour: str
    value: str
    interval: str
    whisker: Whisker
    spots: int
    tie: str
    probability: str
    proven: bool
    clear: bool
    limited: bool
    aside: str


def page(comparison: Comparison, *, figure: bytes = b"") -> str:
    """The whole page.

    Parameters
    ----------
    comparison : Comparison
        The whole result.
    figure : bytes, optional
        The figure as PNG; without it the page has no picture.
    """
    told = record(comparison)
    symbol = comparison.rank_by
    ranked = _ranked(comparison)
    factor, unit = column_scaling(reading for _, reading in ranked)
    axis = Axis.over([reading for _, reading in ranked])
    return _template().render(
        told=told,
        carried=json.dumps(carried(comparison), allow_nan=False),
        carrier=PROGRAM,
        title=clean(comparison.title).strip() or "Comparison sheet",
        program=f"{PROGRAM} {comparison.version}",
        schema=SCHEMA,
        only_items=ONLY_ITEMS,
        symbol=symbol,
        meaning=CATALOGUE[symbol].name if symbol in CATALOGUE else symbol,
        unit=unit,
        caption=_sentence(clean(caption(comparison))),
        rows=_rows(comparison, axis, factor),
        ticks=axis.ticks(factor),
        whisker_width=WIDTH,
        figure=base64.b64encode(figure).decode("ascii"),
        said=[clean(sentence) for sentence in sentences(comparison.ranking, symbol)],
        pairs=_pairs(comparison),
        not_recorded=_not_recorded(comparison),
        choices=_choices(comparison),
        doubts=_doubts(told),
        claims=_claims(comparison),
        claim_heads=HEADS,
        bumps=_bumps(comparison),
        bump_notes=_bump_notes(comparison),
        bump_heads=BUMP_HEADS,
        trials=_trials(comparison),
        trial_heads=TRIAL_HEADS,
        caution=CAUTION,
        noise=_noise(comparison),
        noise_heads=NOISE_HEADS,
        appendix=[_appendix(comparison, specimen) for specimen in comparison.specimens],
        method=method(comparison),
        toml=clean_lines(comparison.treatment.to_toml()),
    )


def write(comparison: Comparison, path: Path, *, figure: bytes = b"") -> None:
    """Write the sheet as HTML, whole or not at all.

    Raises
    ------
    FileProblem
        If the file cannot be written.
    """
    with atomic(path) as temporary:
        temporary.write_text(page(comparison, figure=figure), encoding="utf-8", newline="\n")


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def clean_lines(text: str) -> str:
    """Text of several lines made harmless line by line."""
    return "\n".join(clean(line) for line in text.splitlines())


def _ranked(comparison: Comparison) -> list[tuple[str, Reading]]:
    """Specimens in the order of the standing, with their ranking readings."""
    found = []
    for place in comparison.standing:
        specimen = comparison.specimens_by_name.get(place.specimen)
        missing = Reading(comparison.rank_by, None, "1", "", note="no such reading")
        found.append((place.specimen, specimen.readings.get(comparison.rank_by, missing) if specimen else missing))
    return found


def _rows(comparison: Comparison, axis: Axis, factor: float) -> list[Row]:
    rows = []
    leaders = {place.tie for place in comparison.standing[:1]}
    for place, (name, reading) in zip(comparison.standing, _ranked(comparison), strict=True):
        known = name in comparison.specimens_by_name
        colour = specimen_colour(comparison.colour_index(name)) if known else "#888888"
        probability = place.probability_best
        rows.append(
            Row(
                rank=place.rank,
                specimen=clean(name),
                colour=colour,
                on_colour=_on(colour),
                value=_number(reading, factor),
                interval=_interval(reading, factor),
                whisker=axis.whisker(reading),
                spots=reading.n,
                tie=place.tie or NONE,
                probability=_probability(probability),
                proven=place.proven,
                limited=place.limited,
                aside="" if place.comparable else _aside(place),
                # P is stressed only where the letters separate the winner too.
                clear=probability is not None and probability > 0.95 and _alone(comparison, leaders, place.tie),
            )
        )
    return rows


def _aside(place: Place) -> str:
    """Why a reading is greyed, short: the pairs stand under comparability."""
    others = place.not_comparable_with
    if not others:
        return "set aside"
    return clean(f"not comparable with {listed(others) if len(others) <= NAMED else f'{len(others)} others'}")


def _probability(share: float | None) -> str:
    return NONE if share is None else chance_digits(share)


def _alone(comparison: Comparison, leaders: set[str | None], tie: str | None) -> bool:
    """Whether a specimen leads and shares its letters with nobody."""
    if tie is None or tie not in leaders:
        return False
    others = [place.tie or "" for place in comparison.standing[1:]]
    return not any(set(tie) & set(letters) for letters in others)


def _interval(reading: Reading, factor: float) -> str:
    """The interval in the unit of the column: ± half its width, or its two ends where it is wide."""
    if is_within(reading):
        return within_text(reading, factor)
    if not has_interval(reading):
        return NONE
    low, high = (end / factor for end in ends(reading))
    if is_wide(reading):
        return range_text(low, high, digits=1)
    half = (high - low) / 2
    return f"± {half:.{places_of(half)}f}"


def _number(reading: Reading, factor: float) -> str:
    """The value in the unit of the column, as exact as its interval."""
    if reading.value is None:
        return NONE
    value = reading.value / factor
    if has_interval(reading) and not is_wide(reading):
        low, high = (end / factor for end in ends(reading))
        return signed(f"{value:.{places_of((high - low) / 2)}f}")
    return signed(format_number(value))


def _pairs(comparison: Comparison) -> list[dict[str, Any]]:
    """Pairs that are not plainly comparable, the worst first, those of the same reason and cure together."""
    groups: dict[tuple[str, str, str], list[str]] = {}
    for pair in comparison.comparability:
        if pair.level != "green":
            key = (pair.level, reasons_text(pair.reasons), pair.cure)
            groups.setdefault(key, []).append(clean(f"{pair.first} and {pair.second}"))
    return [
        {"level": level, "kind": KINDS[level].capitalize(), "reasons": reasons, "cure": clean(cure), "pairs": pairs}
        for (level, reasons, cure), pairs in sorted(groups.items(), key=lambda group: group[0][0] != "red")
    ]


def _not_recorded(comparison: Comparison) -> str:
    """What no pair's verdict could take into account, in words; empty when all is known."""
    codes = [code for code in UNRECORDED if any(code in pair.unknown for pair in comparison.comparability)]
    return listed([UNRECORDED[code] for code in codes]) if codes else ""


def _choices(comparison: Comparison) -> dict[str, Any] | None:
    """The choices test in words, and how often each factor changes the winner."""
    found = comparison.choices
    if found is None:
        return None
    wins = [(clean(name), f"{share * 100:.0f} %") for name, share in found.win_share.items() if share > 0]
    rates = [
        (factor, f"{rate * 100:.0f} %", ", ".join(found.options[factor])) for factor, rate in found.flip_rate.items()
    ]
    return {"sentence": clean(choices_sentence(found)), "note": found.note, "wins": wins, "rates": rates}


def _bumps(comparison: Comparison) -> list[tuple[str, ...]]:
    """The bumps of every specimen, a row each."""
    return [bumps_row(one.name, one.bumps) for one in comparison.specimens]


def _bump_notes(comparison: Comparison) -> list[str]:
    """What conditions the counts, each condition once with those that it is about."""
    about: dict[str, list[str]] = {}
    for one in comparison.specimens:
        for note in one.bumps.note.split("; ") if one.bumps and one.bumps.note else ():
            about.setdefault(note, []).append(one.name)
    everyone = len(comparison.specimens)
    return [clean(f"{'all' if len(names) == everyone else listed(names)}: {note}") for note, names in about.items()]


def _trials(comparison: Comparison) -> list[dict[str, Any]]:
    """The trials: lines of the table, what they amount to, and where to land."""
    told = []
    for one in comparison.trials:
        with_probe = "" if one.probe_radius is None else f", probe {format_length(one.probe_radius)}"
        told.append(
            {
                "rows": trial_rows(one),
                "name": f"{clean(one.specimen)}{with_probe}",
                "said": smallest_text(one),
                "landing": landing_text(one.landing[0]) if one.landing else "",
                "note": clean(one.note),
            }
        )
    return told


def _noise(comparison: Comparison) -> list[dict[str, Any]]:
    """The noise of every specimen: cells and conditions; empty where nothing says anything about noise."""
    if comparison.noise is None:
        return []
    return [{"cells": noise_row(one), "notes": list(noise_notes(one))} for one in comparison.specimens]


def _claims(comparison: Comparison) -> list[dict[str, Any]]:
    """The judged claims: their cells, colour and sentence."""
    return [
        {"cells": claim_row(one), "level": LEVELS.get(one.verdict, ""), "sentence": clean(one.sentence)}
        for one in comparison.claims
    ]


@dataclass(frozen=True, slots=True)
class DoubtCard:
    """Doubts of one kind and level: what was seen on which scans, then once what to do and what would settle it."""

    level: str
    code: str
    seen: list[tuple[str, str]]
    advice: str
    confused_with: str
    settled_by: str


def _doubts(told: dict[str, Any]) -> list[DoubtCard]:
    """All doubts, the worst first, those of one kind together; the same words once with all that they are about."""
    kinds: dict[tuple[str, ...], dict[str, list[str]]] = {}
    for item in (*told["specimens"], *told["scans"]):
        for doubt in item["doubts"]:
            key = tuple(doubt[name] for name in ("level", "code", "advice", "confused_with", "settled_by"))
            kinds.setdefault(key, {}).setdefault(doubt["message"], []).append(item["name"])
    order = {"red": 0, "amber": 1, "note": 2}
    return [
        DoubtCard(level, code, [(listed(names), message) for message, names in seen.items()], advice, like, settled)
        for (level, code, advice, like, settled), seen in sorted(kinds.items(), key=lambda kind: order[kind[0][0]])
    ]


def _appendix(comparison: Comparison, specimen: SpecimenResult) -> dict[str, Any]:
    """All readings of the spots of a specimen, in tables narrow enough for the page; one unit for each column."""
    symbols = list(specimen.readings)
    scans = [comparison.scans_by_name[name] for name in specimen.scans]
    tables = []
    for start in range(0, len(symbols), COLUMNS):
        part = symbols[start : start + COLUMNS]
        scales = {symbol: _column_scale(comparison, symbol) for symbol in part}
        columns = {
            symbol: _cells(
                [*(scan.readings.get(symbol) for scan in scans), specimen.readings[symbol]], scales[symbol][0]
            )
            for symbol in part
        }
        tables.append(
            {
                "heads": [(symbol, scales[symbol][1], _name(symbol)) for symbol in part],
                "rows": [
                    (clean(name), list(cells))
                    for name, cells in zip(
                        [*specimen.scans, "typical spot"],
                        zip(*(columns[symbol] for symbol in part), strict=True),
                        strict=True,
                    )
                ],
                "intervals": [_interval(specimen.readings[symbol], scales[symbol][0]) for symbol in part],
            }
        )
    return {
        "name": clean(specimen.name),
        "colour": specimen_colour(comparison.colour_index(specimen.name)),
        "typical": clean(specimen.typical),
        "tables": tables,
        "notes": _notes(specimen),
        "budget": _budget(comparison, specimen),
        "scans": [
            {
                "name": clean(scan.name),
                "size": " × ".join(format_length(side) for side in scan.raw.size),
                "points": " × ".join(map(str, scan.raw.shape)),
                "missing": _percent(scan.raw.missing_fraction),
                "masked": _percent(scan.treated.masked_fraction),
                "removed": clean("; ".join(entry.removed for entry in scan.removed)),
            }
            for scan in scans
        ],
    }


def _budget(comparison: Comparison, specimen: SpecimenResult) -> dict[str, Any] | None:
    """The budget of the ranking reading; the others are in the workbook and in the record."""
    budget = specimen.budgets.get(comparison.rank_by)
    if budget is None:
        return None
    return {"symbol": budget.symbol, "rows": rows(budget), "absolute": clean(absolute_text(budget))}


def _notes(specimen: SpecimenResult) -> list[str]:
    """Notes on readings, those of the same words together: “Sq, Sa: two spots ...”."""
    groups: dict[str, list[str]] = {}
    for symbol, reading in specimen.readings.items():
        if reading.note:
            groups.setdefault(reading.note, []).append(symbol)
    return [clean(f"{', '.join(symbols)}: {note}") for note, symbols in groups.items()]


def _column_scale(comparison: Comparison, symbol: str) -> tuple[float, str]:
    """The same unit for a reading all over the sheet."""
    return column_scaling(scan.readings.get(symbol) for scan in comparison.scans)


def _cells(readings: Sequence[Reading | None], factor: float) -> list[str]:
    """A column of values with as many decimals as show three digits of the largest."""
    values = [None if one is None or one.value is None else one.value / factor for one in readings]
    largest = max((abs(value) for value in values if value is not None), default=0.0)
    places = min(9, max(0, 2 - math.floor(math.log10(largest)))) if largest > 0 else 2
    return [NONE if value is None else signed(f"{value:.{places}f}") for value in values]


def _name(symbol: str) -> str:
    return CATALOGUE[symbol].name if symbol in CATALOGUE else symbol


def _percent(share: float) -> str:
    return "none" if share == 0 else percent(share, 2)


def _on(colour: str) -> str:
    """Black or white on a colour, by its relative luminance."""
    linear = [(int(colour[i : i + 2], 16) / 255) ** 2.2 for i in (1, 3, 5)]
    return "#101418" if 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2] > 0.18 else "#ffffff"


@cache
def _template() -> Template:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("sheet.html")
