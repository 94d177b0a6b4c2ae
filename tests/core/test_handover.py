"""Everything into one folder, by kind."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from core.benchfile import load
from core.errors import BenchError, FileProblem, LowreliefError
from core.handover import FILES, kinds, write_all
from core.progress import Progress


def test_all_files_are_written_and_told(make_bench, comparison, tmp_path):
    told: list[Progress] = []
    bench = make_bench(gaps=True)
    written = write_all(comparison, tmp_path / "new" / "folder", bench=bench, report=told.append)
    assert [path.name for path in written] == list(FILES.values())
    assert all(path.stat().st_size > 500 for path in written)
    assert {path.name for path in (tmp_path / "new" / "folder").iterdir()} == set(FILES.values())
    assert (told[-1].done, told[-1].total) == (8, 8)
    assert json.loads(written[0].read_text(encoding="utf-8"))["schema"] == 1
    assert 'src="data:image/png;base64,' in written[3].read_text(encoding="utf-8")
    assert load(written[-1]).specimens.keys() == bench.specimens.keys()


def test_only_what_is_wanted(comparison, tmp_path):
    assert [path.name for path in write_all(comparison, tmp_path, only={"csv", "json"})] == ["sheet.json", "sheet.csv"]
    assert [path.name for path in write_all(comparison, tmp_path, only="CSV")] == ["sheet.csv"]


def test_without_a_bench_there_is_no_bench_file(comparison, tmp_path):
    assert [path.name for path in write_all(comparison, tmp_path, only=None)][-1] == "figure.pdf"
    with pytest.raises(BenchError, match="no bench"):
        write_all(comparison, tmp_path, only={"h5"})


@pytest.mark.parametrize("text", ["docx", "json,exe", "", " , "])
def test_an_unknown_kind_is_refused_with_the_list(text):
    with pytest.raises(LowreliefError, match="json, csv, xlsx, html, png, svg, pdf, h5"):
        kinds(text)


def test_none_means_all():
    assert kinds(None) is None


def test_nothing_comparable_still_gives_the_sheets(comparison, tmp_path):
    empty = replace(comparison, scans=(), specimens=(), standing=(), comparability=())
    names = [path.name for path in write_all(empty, tmp_path)]
    assert names == ["sheet.json", "sheet.csv", "sheet.xlsx", "sheet.html"]


def test_a_folder_that_is_a_file_is_refused(comparison, tmp_path):
    (tmp_path / "out").write_text("mine")
    with pytest.raises(FileProblem):
        write_all(comparison, tmp_path / "out", only="json")
    assert (tmp_path / "out").read_text() == "mine"
