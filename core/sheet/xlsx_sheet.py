"""The sheet as a workbook: standing, readings of every scan, specimens, notes. Numbers are numbers, text is only text.

Lengths are scaled to one unit for each column, which its heading names. The same comparison gives the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from core.atomic import atomic
from core.measures.reading import Reading
from core.results import Comparison
from core.sheet.budget_table import ROLES, contribution_text, freedom_text
from core.sheet.method import ONLY_ITEMS, method
from core.sheet.noise import noise_notes
from core.sheet.record import PROGRAM, Record, carried, record
from core.sheet.words import band_text, clean, column_scaling, common_unit, comparability_text
from core.units import metres_per

LONGEST = 32_767  # signs that a cell may hold
PIECE = 30_000  # signs of the recipe in one cell


@dataclass(frozen=True, slots=True)
class Column:
    """A heading, its width in signs, its number format, and the cells below."""

    head: str
    cells: Sequence[Any]
    width: float = 12.0
    form: str = "General"


def write(comparison: Comparison, path: Path) -> None:
    """Write the sheet as .xlsx, whole or not at all.

    Raises
    ------
    FileProblem
        If the file cannot be written.
    """
    import xlsxwriter

    with atomic(path) as temporary:
        options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
        with xlsxwriter.Workbook(str(temporary), options) as book:
            book.set_properties(
                {
                    "title": clean(comparison.title),
                    "comments": f"{PROGRAM} {comparison.version}",
                    "created": _created(comparison),
                }
            )
            told = record(comparison)
            _table(book, "Standing", _standing(comparison, told))
            _table(book, "Readings", _readings(comparison, told))
            _table(book, "Specimens", _specimens(comparison, told))
            _table(book, "Budgets", _budgets(comparison))
            _table(book, "Bumps", _bumps(told))
            if comparison.noise is not None:
                _table(book, "Noise", _noise(comparison, told))
            if comparison.claims:
                _table(book, "Claims", _claims(comparison))
            _notes(book, comparison, told)
            _recipe(book, comparison)


def _standing(comparison: Comparison, told: Record) -> list[Column]:
    symbol = comparison.rank_by
    places = told["standing"]
    results = [comparison.specimens_by_name.get(place.specimen) for place in comparison.standing]
    readings = [result.readings.get(symbol) if result else None for result in results]
    factor, unit = column_scaling(readings)
    return [
        Column("Rank", [place["rank"] for place in places], 7),
        Column("Specimen", [place["specimen"] for place in places], 34),
        *_interval_columns(symbol, unit, factor, readings),
        Column("Spots", [reading.n if reading else None for reading in readings], 8),
        Column("Tie", [place["tie"] for place in places], 8),
        Column("P(lowest)", [place["probability_best"] for place in places], 11, "0.00"),
        Column("Proven", ["yes" if place["proven"] else "no" for place in places], 9),
        Column("Not comparable with", [", ".join(place["not_comparable_with"]) for place in places], 34),
        Column("Limit of instrument", ["yes" if place["limited"] else "no" for place in places], 11),
        Column("Spot shown", [clean(result.typical) if result else "" for result in results], 34),
    ]


def _readings(comparison: Comparison, told: Record) -> list[Column]:
    scans = told["scans"]
    columns = [
        Column("Specimen", [scan["specimen"] for scan in scans], 28),
        Column("Scan", [scan["name"] for scan in scans], 34),
        Column("Spot", [scan["spot"] for scan in scans], 12),
    ]
    for symbol in _symbols(comparison.scans):
        readings = [scan.readings.get(symbol) for scan in comparison.scans]
        factor, unit = column_scaling(readings)
        columns.append(Column(_head(symbol, unit), _values(readings, factor), 13, _form(readings, factor)))
    sides = [scan["size_m"] for scan in scans]
    unit = common_unit([side for pair in sides for side in pair])
    factor = metres_per(unit)
    steps = [scan["pitch_m"] for scan in scans]
    fine = common_unit([step for pair in steps for step in pair])
    small = metres_per(fine)
    return [
        *columns,
        Column(f"Height ({unit})", [high / factor for high, _ in sides], 13, "0.000"),
        Column(f"Width ({unit})", [wide / factor for _, wide in sides], 13, "0.000"),
        Column(f"Pixel down ({fine})", [down / small for down, _ in steps], 17, "0.000"),
        Column(f"Pixel across ({fine})", [across / small for _, across in steps], 17, "0.000"),
        Column("Missing", [scan["missing_fraction"] for scan in scans], 10, "0.00%"),
        Column("Masked", [scan["masked_fraction"] for scan in scans], 10, "0.00%"),
        Column("Doubts", [", ".join(doubt["code"] for doubt in scan["doubts"]) for scan in scans], 24),
    ]


def _specimens(comparison: Comparison, told: Record) -> list[Column]:
    columns = [
        Column("Specimen", [specimen["name"] for specimen in told["specimens"]], 34),
        Column("Scans", [len(specimen["scans"]) for specimen in told["specimens"]], 8),
    ]
    for symbol in _symbols(comparison.specimens):
        readings = [specimen.readings.get(symbol) for specimen in comparison.specimens]
        factor, unit = column_scaling(readings)
        columns += _interval_columns(symbol, unit, factor, readings)
    codes = [", ".join(doubt["code"] for doubt in specimen["doubts"]) for specimen in told["specimens"]]
    return [*columns, Column("Doubts", codes, 24)]


def _budgets(comparison: Comparison) -> list[Column]:
    """Every line of every budget; parts as factors on readings positive by nature, otherwise in SI."""
    lines = [
        (clean(specimen.name), budget, line)
        for specimen in comparison.specimens
        for budget in specimen.budgets.values()
        for line in budget.lines
    ]
    return [
        Column("Specimen", [name for name, _, _ in lines], 34),
        Column("Reading", [budget.symbol for _, budget, _ in lines], 10),
        Column("Source", [line.source for _, _, line in lines], 18),
        Column("95 % part", [contribution_text(budget, line) for _, budget, line in lines], 14),
        Column(
            "Half on logarithm", [line.half if budget.relative else None for _, budget, line in lines], 12, "0.0000"
        ),
        Column("Freedom", [freedom_text(line) for _, _, line in lines], 10),
        Column("Role", [ROLES[line.role] for _, _, line in lines], 30),
        Column("How obtained", [clean(line.how) for _, _, line in lines], 70),
    ]


def _bumps(told: Record) -> list[Column]:
    """Specimens first, then scans; densities per 100 µm²."""
    items = [*told["specimens"], *told["scans"]]
    found = [item["bumps"] for item in items]
    columns = [
        Column("Specimen or scan", [item["name"] for item in items], 34),
        Column("Counted", [one["count"] for one in found], 9),
        Column("Area (µm²)", _scaled([one["area_m2"] for one in found], 1e-12), 12, "0.00"),
    ]
    heads = {"density": "Per 100 µm²", "low95": "Low 95 %", "high95": "High 95 %", "upper95": "At most (95 %)"}
    for key, head in heads.items():
        columns.append(Column(head, _scaled([one[f"{key}_per_m2"] for one in found], 1e10), 14, "0.000"))
    for key, head in {
        "threshold": "Least height (nm)",
        "sigma": "Sigma (nm)",
        "mean_height": "Mean height (nm)",
    }.items():
        columns.append(Column(head, _scaled([one[f"{key}_m"] for one in found], 1e-9), 14, "0.000"))
    return [*columns, Column("Note", [one["note"] for one in found], 60)]


def _noise(comparison: Comparison, told: Record) -> list[Column]:
    """Noise and what is left of Sq without it, in nm."""
    items = [(item["name"], item["noise"] or {}) for item in told["specimens"]]
    columns = [Column("Specimen", [name for name, _ in items], 34)]
    lengths = {
        "raw_m": "Sq as read (nm)",
        "value_m": "Sq without noise (nm)",
        "low_m": "Low 95 % (nm)",
        "high_m": "High 95 % (nm)",
        "bound_m": "At most (nm)",
        "real_above_m": "Real above (nm)",
    }
    floors = [one.get("floor") or {} for _, one in items]
    columns.append(Column("Noise N (nm)", _scaled([floor.get("value_m") for floor in floors], 1e-9), 13, "0.0000"))
    columns.append(Column("N/S", [one.get("ratio") for _, one in items], 8, "0.00"))
    for key, head in lengths.items():
        columns.append(Column(head, _scaled([one.get(key) for _, one in items], 1e-9), 14, "0.0000"))
    notes = ["; ".join(noise_notes(specimen)) for specimen in comparison.specimens]
    return [
        *columns,
        Column("Limited", ["yes" if one.get("limited") else "no" for _, one in items], 9),
        Column("N from", [floor.get("method") for floor in floors], 18),
        Column("Notes", notes, 90),
    ]


def _claims(comparison: Comparison) -> list[Column]:
    judged = comparison.claims
    limits, values = [one.limit for one in judged], [one.value for one in judged]
    unit = common_unit([*limits, *values])
    factor = metres_per(unit)
    return [
        Column("Specimen", [clean(one.specimen) for one in judged], 28),
        Column("Claim", [one.claim.text for one in judged], 44),
        Column(f"Limit ({unit})", _scaled(limits, factor), 13, "0.000"),
        Column(f"Measured ({unit})", _scaled(values, factor), 15, "0.000"),
        Column(f"U ({unit})", _scaled([one.uncertainty for one in judged], factor), 13, "0.000"),
        Column("Scans", [one.n for one in judged], 8),
        Column("Rule", [one.rule for one in judged], 11),
        Column("Verdict", [one.verdict for one in judged], 18),
        Column("In words", [clean(one.sentence) for one in judged], 110),
    ]


def _notes(book: Any, comparison: Comparison, told: Record) -> None:
    """What conditions the numbers: two columns, subject and text."""
    rows: list[tuple[str, str]] = [
        ("Title", told["title"]),
        ("Made", told["created"]),
        ("Program", f"{PROGRAM} {told['program']['version']}"),
        ("Scope", ONLY_ITEMS),
        ("Ranked by", told["rank_by"]),
        ("Band", band_text(comparison.band)),
        *(("Standing", sentence) for sentence in told["ranking"]["sentences"]),
        *((("Other treatments", told["choices"]["sentence"]),) if told["choices"] else ()),
        *method(comparison),
        ("Treatment, as TOML", comparison.treatment.to_toml()),
    ]
    rows += [("Not comparable" if pair.level == "red" else "Compare with care", comparability_text(pair))
             for pair in comparison.comparability if pair.level != "green"]  # fmt: skip
    for level in ("specimens", "scans"):
        for item in told[level]:
            for doubt in item["doubts"]:
                rows.append(("Doubt", f"{item['name']}: {doubt['message']} {doubt['advice']} ({doubt['code']})"))
            for symbol, reading in item["readings"].items():
                if reading["note"]:
                    rows.append(("Note on a reading", f"{item['name']}, {symbol}: {reading['note']}"))
    rows += [("Refused", f"{refused['file']}: {refused['reason']} {refused['fix']}") for refused in told["refused"]]
    rows += [("Raw file", f"{scan['name']}: {scan['file']}, sha256 {scan['sha256'] or 'none'}")
             for scan in told["scans"]]  # fmt: skip
    sheet = book.add_worksheet("Notes")
    wrapped = book.add_format({"text_wrap": True, "valign": "top"})
    bold = book.add_format({"bold": True, "valign": "top"})
    sheet.set_column(0, 0, 22)
    sheet.set_column(1, 1, 110)
    sheet.write_string(0, 0, "Subject", bold)
    sheet.write_string(0, 1, "Text", bold)
    sheet.freeze_panes(1, 0)
    for number, (subject, text) in enumerate(rows, start=1):
        sheet.write_string(number, 0, subject, bold)
        sheet.write_string(number, 1, _cut(text), wrapped)


def _recipe(book: Any, comparison: Comparison) -> None:
    """What is needed to repeat the comparison: JSON on a hidden sheet, in pieces that a cell may hold."""
    text = json.dumps(carried(comparison), allow_nan=False)
    pieces = [text[start : start + PIECE] for start in range(0, len(text), PIECE)]
    sheet = book.add_worksheet("Recipe")
    for number, piece in enumerate(pieces):
        sheet.write_string(number, 0, f"{PROGRAM} {number + 1}/{len(pieces)} {piece}")
    sheet.hide()


def _table(book: Any, name: str, columns: Sequence[Column]) -> None:
    sheet = book.add_worksheet(name)
    bold = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    for number, column in enumerate(columns):
        form = book.add_format({"num_format": column.form})
        sheet.set_column(number, number, column.width)
        sheet.write_string(0, number, _cut(column.head), bold)
        for row, value in enumerate(column.cells, start=1):
            if isinstance(value, int | float):
                sheet.write_number(row, number, value, form)
            elif value is not None:
                sheet.write_string(row, number, _cut(str(value)))
    sheet.freeze_panes(1, 2)
    sheet.set_landscape()
    sheet.set_paper(9)  # A4
    sheet.fit_to_pages(1, 0)


def _interval_columns(symbol: str, unit: str, factor: float, readings: Sequence[Reading | None]) -> list[Column]:
    lows = [reading.low if reading else None for reading in readings]
    highs = [reading.high if reading else None for reading in readings]
    form = _form(readings, factor)
    return [
        Column(_head(symbol, unit), _values(readings, factor), 13, form),
        Column(_head(f"{symbol} low 95 %", unit), _scaled(lows, factor), 13, form),
        Column(_head(f"{symbol} high 95 %", unit), _scaled(highs, factor), 13, form),
    ]


def _head(symbol: str, unit: str) -> str:
    return f"{symbol} ({unit})" if unit else symbol


def _values(readings: Sequence[Reading | None], factor: float) -> list[float | None]:
    return _scaled([reading.value if reading else None for reading in readings], factor)


def _scaled(values: Iterable[float | None], factor: float) -> list[float | None]:
    return [None if value is None or not abs(value) < float("inf") else value / factor for value in values]


def _form(readings: Sequence[Reading | None], factor: float) -> str:
    """Decimals by the smallest value, so that three of its digits show; powers of ten where that is too many."""
    sizes = [abs(value) for value in _values(readings, factor) if value]
    if not sizes:
        return "0.000"
    smallest = min(sizes)
    if smallest < 1e-4:
        return "0.00E+00"
    places = next(places for places in range(7) if smallest >= 10 ** (2 - places))
    return "0" if places == 0 else "0." + "0" * places


def _symbols(items: Iterable[Any]) -> list[str]:
    return list(dict.fromkeys(symbol for item in items for symbol in item.readings))


def _created(comparison: Comparison) -> datetime:
    """The time of the comparison, not of writing, so that the file can be made again byte by byte."""
    try:
        made = datetime.fromisoformat(comparison.created)
    except ValueError:
        return datetime(2000, 1, 1)  # the library wants a time without zone
    return made.astimezone(UTC).replace(tzinfo=None, microsecond=0) if made.tzinfo else made


def _cut(text: str) -> str:
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "…"
