"""The sheet as CSV: one tidy long table, a reading a line, after RFC 4180.

A cell of text that begins like a formula would be calculated by a spreadsheet that opens the file, and names come from
files that anybody may have made. Such text gets an apostrophe in front. Numbers stay numbers, with all their digits.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from core.atomic import atomic
from core.results import Comparison
from core.sheet.record import KEPT, ORIGIN, Record, carried, record

COLUMNS = (
    "level", "name", "specimen", "spot", "symbol", "value", "unit", "uncertainty", "low", "high", "n", "clause", "note",
    "file", "sha256",
)  # fmt: skip

RECIPE = "recipe"
"""The level of the lines that tell how to repeat the comparison."""

FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
"""First signs by which spreadsheets take text for a formula; the wide ones in eastern settings."""


def text(comparison: Comparison) -> str:
    """The table as text with CRLF line ends: all readings of all scans, then of all specimens, in SI units.

    The last lines, of the level “recipe”, tell how to repeat it.
    """
    told = record(comparison)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in (*_scans(told), *_specimens(told), *_recipe(carried(comparison))):
        writer.writerow([cell(row.get(column)) for column in COLUMNS])
    return out.getvalue()


def write(comparison: Comparison, path: Path) -> None:
    """Write the sheet as CSV, whole or not at all.

    Raises
    ------
    FileProblem
        If the file cannot be written.
    """
    with atomic(path) as temporary:
        temporary.write_text(text(comparison), encoding="utf-8", newline="")


def cell(value: Any) -> str:
    """One cell: a number with all its digits, nothing for None, text that no spreadsheet calculates.

    >>> cell(-1.5e-9), cell(None), cell("=1+1"), cell("mica")
    ('-1.5e-09', '', "'=1+1", 'mica')
    """
    if value is None:
        return ""
    if isinstance(value, int | float):
        return repr(value)
    told = str(value)
    return f"'{told}" if told.startswith(FORMULA) or told.lstrip().startswith(FORMULA) else told


def _scans(told: Record) -> Iterator[Record]:
    for scan in told["scans"]:
        same = {key: scan[key] for key in ("name", "specimen", "spot", "file", "sha256")}
        yield from _readings("scan", same, scan["readings"])


def _specimens(told: Record) -> Iterator[Record]:
    for specimen in told["specimens"]:
        same = {"name": specimen["name"], "specimen": specimen["name"]}
        yield from _readings("specimen", same, specimen["readings"])
        yield from _noise(same, specimen["noise"])


def _noise(same: Record, noise: Record | None) -> Iterator[Record]:
    """Noise floor and Sq without noise, of the level “noise”; nothing where nothing is known of noise."""
    if noise is None:
        return
    line = {"level": "noise", "unit": "m"} | same
    if noise["floor"] is not None:
        floor = noise["floor"]
        yield line | {"symbol": "N", "value": floor["value_m"], "low": floor["low_m"], "high": floor["high_m"],
                      "note": floor["method"]}  # fmt: skip
    bounds = {"high": noise["bound_m"]} if noise["limited"] else {"low": noise["low_m"], "high": noise["high_m"]}
    told = "; ".join(filter(None, (noise["correction"], noise["note"])))
    yield line | {"symbol": "Sq without noise", "value": noise["value_m"], "note": told} | bounds


def _recipe(told: Record) -> Iterator[Record]:
    """What is needed to repeat the comparison, as JSON in the column of notes: a line for the whole, one for a scan."""
    yield {"level": RECIPE, "note": json.dumps({key: told[key] for key in KEPT}, allow_nan=False)}
    for scan in told["scans"]:
        origin = {key: scan[key] for key in ORIGIN}
        yield {"level": RECIPE, "note": json.dumps(origin, allow_nan=False)} | {
            key: scan[key] for key in ("name", "specimen", "spot", "file", "sha256")
        }


def _readings(level: str, same: Record, readings: Record) -> Iterator[Record]:
    for symbol, reading in readings.items():
        yield {"level": level, "symbol": symbol} | same | reading
