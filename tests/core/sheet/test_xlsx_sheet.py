"""The workbook, opened again by another library."""

from __future__ import annotations

import openpyxl
import pytest

from core.sheet import xlsx_sheet


def book(comparison, path):
    xlsx_sheet.write(comparison, path)
    return openpyxl.load_workbook(path)


def test_sheets_and_frozen_headings(comparison, tmp_path):
    opened = book(comparison, tmp_path / "sheet.xlsx")
    assert opened.sheetnames == ["Standing", "Readings", "Specimens", "Budgets", "Bumps", "Notes", "Recipe"]
    assert opened["Recipe"].sheet_state == "hidden"
    assert opened["Readings"].freeze_panes == "C2"


def test_readings_are_numbers_in_the_unit_of_their_heading(comparison, tmp_path):
    sheet = book(comparison, tmp_path / "sheet.xlsx")["Readings"]
    heads = [cell.value for cell in sheet[1]]
    column = heads.index("Sq (nm)")
    for row, scan in zip(sheet.iter_rows(min_row=2), comparison.scans, strict=True):
        assert row[column].data_type == "n"
        assert row[column].value == pytest.approx(scan.readings["Sq"].value * 1e9, rel=1e-14)
    # The library writes 16 digits of a number, as the format's own programs do.
    missing = sheet.cell(2, heads.index("Missing") + 1).value
    assert missing == pytest.approx(comparison.scans[0].raw.missing_fraction, rel=1e-15)


def test_standing_follows_the_comparison(comparison, tmp_path):
    sheet = book(comparison, tmp_path / "sheet.xlsx")["Standing"]
    names = [row[1].value for row in sheet.iter_rows(min_row=2)]
    assert names == [place.specimen for place in comparison.standing]


def test_nothing_is_a_formula_or_a_link(hostile, tmp_path):
    opened = book(hostile, tmp_path / "sheet.xlsx")
    cells = [cell for sheet in opened for row in sheet.iter_rows() for cell in row]
    assert not [cell for cell in cells if cell.data_type == "f" or cell.hyperlink]
    assert '=HYPERLINK("http://evil.example")' in {cell.value for cell in cells}


def test_notes_hold_files_refusals_and_treatment(comparison, tmp_path):
    sheet = book(comparison, tmp_path / "sheet.xlsx")["Notes"]
    text = "\n".join(str(cell.value) for row in sheet.iter_rows() for cell in row)
    assert comparison.scans[0].raw.source.sha256 in text
    assert "/data/<b>.txt: no map in it Export again." in text
    assert 'do = "level"' in text
    assert "relate only to the items tested" in text


def test_the_same_comparison_gives_the_same_bytes(comparison, tmp_path):
    for name in ("a.xlsx", "b.xlsx"):
        xlsx_sheet.write(comparison, tmp_path / name)
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()
