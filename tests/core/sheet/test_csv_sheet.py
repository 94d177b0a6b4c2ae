"""The CSV: RFC 4180, tidy, and nothing in it that a spreadsheet calculates."""

from __future__ import annotations

import csv
import io

from hypothesis import given
from hypothesis import strategies as st

from core.sheet import csv_sheet


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_all_readings_come_back_through_a_csv_reader(comparison, tmp_path):
    csv_sheet.write(comparison, tmp_path / "sheet.csv")
    table = rows((tmp_path / "sheet.csv").read_bytes().decode("utf-8"))
    symbols = len(comparison.scans[0].readings)
    numbers = [row for row in table if row["level"] != "recipe"]
    assert len(numbers) == symbols * (len(comparison.scans) + len(comparison.specimens))
    found = {(row["level"], row["name"], row["symbol"]): row for row in table}
    for scan in comparison.scans:
        for symbol, reading in scan.readings.items():
            told = found["scan", scan.name, symbol]["value"]
            assert (float(told) if told else None) == reading.value
    for specimen in comparison.specimens:
        row = found["specimen", specimen.name, "Sq"]
        assert float(row["low"]) == specimen.readings["Sq"].low
        assert row["n"] == "3"


def test_lines_end_as_the_standard_says(comparison):
    text = csv_sheet.text(comparison)
    assert text.endswith("\r\n")
    assert "\n" not in text.replace("\r\n", "")


def test_names_that_begin_like_formulas_are_only_text(hostile):
    table = rows(csv_sheet.text(hostile))
    names = {row["specimen"] for row in table}
    assert '\'=HYPERLINK("http://evil.example")' in names
    assert {"'-2+3", "'@SUM(A1)"} <= names


def test_negative_numbers_stay_numbers(comparison):
    values = [float(row["value"]) for row in rows(csv_sheet.text(comparison)) if row["symbol"] == "Ssk"]
    assert any(value < 0 for value in values)


@given(st.text(max_size=20))
def test_no_text_begins_like_a_formula(text):
    told = csv_sheet.cell(text)
    assert not told.lstrip().startswith(csv_sheet.FORMULA)
    assert told.removeprefix("'") == text.removeprefix("'") or told == text
