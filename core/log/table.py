"""The log as CSV, out and in: one entry a line, SI units, RFC 4180."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import Any

from core.errors import LogError
from core.log.entry import LogEntry
from core.log.store import COLUMNS
from core.sheet.csv_sheet import FORMULA, cell

NUMBERS = ("value", "low", "high", "shortest", "longest")


def to_csv(entries: Iterable[LogEntry]) -> str:
    """The entries as text with CRLF line ends; text that a spreadsheet would calculate gets an apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for entry in entries:
        writer.writerow([cell(getattr(entry, column)) for column in COLUMNS])
    return out.getvalue()


def from_csv(text: str) -> list[LogEntry]:
    """The entries of a table from `to_csv`; columns in any order, those that are not needed may be missing.

    Raises
    ------
    LogError
        If a column is missing that is needed, or a line cannot be understood; says which.

    Examples
    --------
    >>> day = LogEntry(at="2024-05-01", kind="reading", subject="=mica", symbol="Sq", value=1e-10, unit="m", n=3)
    >>> from_csv(to_csv([day])) == [day]
    True
    """
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline=""))
    try:
        return _entries(reader)
    except csv.Error as error:
        raise LogError(
            f"This is no table: {error}", where=f"line {reader.line_num}", fix="Export a log and add lines to it."
        ) from error


def _entries(reader: csv.DictReader[str]) -> list[LogEntry]:
    heads = list(reader.fieldnames or [])
    missing = [name for name in ("at", "kind", "subject", "symbol", "value", "unit") if name not in heads]
    if missing:
        raise LogError(f"The table has no column {missing[0]}", fix="Export a log first and keep its first line.")
    found = []
    for row in reader:
        try:
            found.append(LogEntry(**_values(row)))
        except (ValueError, TypeError) as error:
            raise LogError(f"A line cannot be understood: {error}", where=f"line {reader.line_num}") from error
    return found


def _values(row: dict[str, str | None]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for column in COLUMNS:
        text = row.get(column)
        if column in NUMBERS:
            if text:
                values[column] = float(text)
        elif column == "n":
            values[column] = int(text) if text else 0
        elif text is not None:
            values[column] = _bare(text)
    return values


def _bare(text: str) -> str:
    """The text without the apostrophe that kept a spreadsheet from calculating it."""
    return text[1:] if text.startswith("'") and text[1:].lstrip().startswith(FORMULA) else text
