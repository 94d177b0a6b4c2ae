"""The command line: exit codes, what goes to stdout and stderr, bad files among good ones."""

import json
import math
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from app.cli import run
from core.formats import read, write
from core.heightmap import HeightMap

PITCH = (1e-8, 1e-8)


@pytest.fixture
def scans(tmp_path: Path) -> list[str]:
    rng = np.random.default_rng(4)
    files = []
    for name, sq in (("mica", 1e-10), ("glass", 5e-10)):
        for spot in (1, 2, 3):
            file = tmp_path / f"{name}_spot{spot}.x3p"
            write(HeightMap(sq * rng.standard_normal((24, 24)), PITCH, file.stem), file)
            files.append(str(file))
    return files


def sheet(folder: Path) -> dict:
    return json.loads((folder / "sheet.json").read_text(encoding="utf-8"))


def test_compare_writes_all_and_ranks(scans: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    assert run(["compare", *scans, "--out", str(out), "--title", "Which?"]) == 0
    told = capsys.readouterr()
    assert told.err == ""
    names = [
        "sheet.json",
        "sheet.csv",
        "sheet.xlsx",
        "sheet.html",
        "figure.png",
        "figure.svg",
        "figure.pdf",
        "bench.h5",
    ]
    assert [Path(line).name for line in told.out.splitlines()] == names
    assert all((out / name).stat().st_size > 100 for name in names)
    record = sheet(out)
    assert [(place["specimen"], place["tie"]) for place in record["standing"]] == [("mica", "a"), ("glass", "b")]
    assert record["rank_by"] == "Sq"
    assert record["treatment"]["steps"] == [{"do": "level", "form": "plane"}, {"do": "zero", "at": "mean"}]


def test_one_bad_file_is_told_and_the_others_are_done(
    scans: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = tmp_path / "bad.txt"
    bad.write_text("Dear lab, please find the scan attached.\nRegards")
    out = tmp_path / "out"
    assert run(["compare", *scans, str(bad), "--out", str(out), "--only", "json"]) == 3
    assert "bad.txt" in capsys.readouterr().err
    record = sheet(out)
    assert len(record["scans"]) == 6
    assert [Path(r["file"]).name for r in record["refused"]] == ["bad.txt"]
    assert record["refused"][0]["reason"]


BAD = {
    "empty.txt": b"",
    "truncated.x3p": b"PK\x03\x04\x14\x00\x00\x00",
    "prose.txt": b"This is a letter.\nIt holds no map at all.\n",
    "nan.csv": b"nan,nan\nnan,nan\n",
    "one-row.txt": b"1 2 3 4 5\n",
    "binary.dat": bytes(range(256)) * 4,
}


@pytest.mark.parametrize("name", BAD)
def test_each_bad_file_alone_is_a_clear_message(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / name).write_bytes(BAD[name])
    flags = ["--pixel", "10nm", "--unit", "nm"]
    assert run(["compare", str(tmp_path / name), "--out", str(tmp_path / "out"), *flags]) == 4
    told = capsys.readouterr().err
    assert name in told
    assert "Traceback" not in told
    assert run(["show", str(tmp_path / name), *flags]) == 4
    assert "Traceback" not in capsys.readouterr().err


def test_a_constant_map_is_no_error(tmp_path: Path) -> None:
    np.save(tmp_path / "flat.npy", np.full((8, 8), 2.5))
    out = tmp_path / "out"
    assert run(["compare", str(tmp_path / "flat.npy"), "--pixel", "10nm", "--unit", "nm", "--out", str(out)]) == 0
    readings = sheet(out)["scans"][0]["readings"]
    assert readings["Sq"]["value"] == 0
    assert readings["Ssk"]["value"] is None
    assert readings["Ssk"]["note"]


def test_missing_pixel_size_says_what_to_add(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    np.save(tmp_path / "bare.npy", np.zeros((8, 8)))
    assert run(["compare", str(tmp_path / "bare.npy"), "--out", str(tmp_path / "out")]) == 4
    assert "--pixel" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        ["compare"],
        ["compare", "x.x3p"],
        ["compare", "x.x3p", "--out", "o", "--rank-by", "Sx"],
        ["compare", "x.x3p", "--out", "o", "--range", "9nm:1nm"],
        ["compare", "x.x3p", "--out", "o", "--zero", "top"],
        ["compare", "x.x3p", "--out", "o", "--pixel", "ten"],
        ["compare", "x.x3p", "--out", "o", "--unit", "V"],
        ["compare", "x.x3p", "--out", "o", "--only", "docx"],
        ["compare", "x.x3p", "--out", "o", "--specimen", "film"],
        ["compare", "x.x3p", "--out", "o", "--treatment", "gone.toml"],
        ["compare", "x.x3p", "--out", "o", "--jobs", "0"],
        ["show"],
        ["convert", "x.x3p"],
        ["compare", "x.x3p", "--out", "o", "--colour", "blue"],
    ],
)
def test_wrong_use_is_2(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(words) == 2
    assert "Error" in capsys.readouterr().err


def test_options_reach_the_result(scans: list[str], tmp_path: Path) -> None:
    recipe = tmp_path / "t.toml"
    recipe.write_text('schema = 1\n[[step]]\ndo = "level"\nform = "polynomial"\ndegree = 2\n')
    out = tmp_path / "out"
    words = ["compare", *scans, "--out", str(out), "--treatment", str(recipe), "--rank-by", "Sz", "--zero", "lowest"]
    words += ["--range", "0nm:5nm", "--specimen", "crystal=mica_*", "--only", "json,csv", "--jobs", "1"]
    assert run(words) == 0
    assert sorted(path.name for path in out.iterdir()) == ["sheet.csv", "sheet.json"]
    record = sheet(out)
    assert record["rank_by"] == "Sz"
    assert record["treatment"]["steps"] == [
        {"do": "level", "form": "polynomial", "degree": 2},
        {"do": "zero", "at": "lowest"},
    ]
    assert [specimen["name"] for specimen in record["specimens"]] == ["crystal", "glass"]


def test_jobs_change_no_digit(scans: list[str], tmp_path: Path) -> None:
    records = []
    for jobs in ("1", "3"):
        assert run(["compare", *scans, "--out", str(tmp_path / jobs), "--jobs", jobs, "--only", "json"]) == 0
        record = sheet(tmp_path / jobs)
        del record["created"]
        records.append(record)
    assert records[0] == records[1]


def test_show_tells_what_the_file_holds(scans: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["show", scans[0]]) == 0
    told = capsys.readouterr().out
    assert "24 down × 24 across" in told
    assert "root mean square height" in told
    assert run(["show", scans[0], "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert record["shape"] == [24, 24]
    assert math.isclose(record["readings"]["Sq"]["value"], 1e-10, rel_tol=0.2)


def test_convert_keeps_every_bit_and_never_writes_over_the_raw_file(
    scans: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "converted.h5"
    assert run(["convert", scans[0], str(out)]) == 0
    assert capsys.readouterr().out.strip() == str(out)
    assert np.array_equal(read(out)[0].z, read(scans[0])[0].z)
    before = Path(scans[0]).read_bytes()
    assert run(["convert", scans[0], scans[0]]) == 2
    assert Path(scans[0]).read_bytes() == before
    assert run(["convert", scans[0], str(tmp_path / "scan.docx")]) == 4
    assert run(["convert", scans[0], str(tmp_path / "scan.npy"), "--sidecar"]) == 0
    assert read(tmp_path / "scan.npy")[0].pitch == PITCH


def test_demo_writes_scans_that_compare(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["demo", str(tmp_path / "samples")]) == 0
    assert len(capsys.readouterr().out.splitlines()) > 18
    out = tmp_path / "out"
    assert run(["compare", str(tmp_path / "samples" / "carriers"), "--out", str(out), "--only", "json"]) == 0
    assert len(sheet(out)["scans"]) == 18


def test_a_scan_as_first_word_opens_the_window(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    seen = []

    def opened(paths: list[Path], **options: object) -> int:
        seen.append((paths, options["pixel"]))
        return 0

    monkeypatch.setattr("app.shell.window.run", opened)
    assert run([str(tmp_path / "scan.x3p"), "--pixel", "10nm"]) == 0
    assert run([]) == 0
    assert seen == [([tmp_path / "scan.x3p"], "10nm"), ([], None)]


def test_the_module_runs_as_a_program() -> None:
    env = os.environ | {"PYTHONPATH": str(Path(__file__).parents[3])}
    done = subprocess.run(
        [sys.executable, "-m", "app", "--version"], capture_output=True, text=True, env=env, check=True
    )
    assert done.stdout.startswith("lowrelief")


def test_a_layout_reads_files_of_no_open_standard(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    counts = np.random.default_rng(1).integers(-500, 500, (16, 20)).astype("<i2")
    (tmp_path / "a.mole").write_bytes(b"MOLEHILL" + counts.tobytes())
    (tmp_path / "mole.toml").write_text(
        'schema = 1\nname = "molehill"\nfiles = ["*.mole"]\nat = 8\ncolumns = 20\n'
        'gain = 0.01\nunit = "nm"\nacross = "10 nm"\n'
    )
    assert run(["show", str(tmp_path / "a.mole")]) == 4
    assert run(["show", str(tmp_path / "a.mole"), "--layout", str(tmp_path / "mole.toml"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["shape"] == [16, 20]
    assert told["format"] == "layout, molehill"
    (tmp_path / "mole.toml").write_text("schema = 1")
    assert run(["show", str(tmp_path / "a.mole"), "--layout", str(tmp_path / "mole.toml")]) == 2
