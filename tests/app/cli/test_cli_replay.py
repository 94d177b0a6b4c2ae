"""``lowrelief replay`` as a user types it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from app.cli import run
from core.formats import write
from core.heightmap import HeightMap


@pytest.fixture
def scans(tmp_path: Path) -> list[str]:
    rng = np.random.default_rng(3)
    files = [tmp_path / f"mica spot {number}.x3p" for number in (1, 2)]
    for file in files:
        write(HeightMap(1e-9 * rng.standard_normal((16, 16)), pitch=(1e-8, 1e-8), name=file.stem), file)
    return [str(file) for file in files]


def test_agreement_is_status_0_and_one_sentence(scans: list[str], tmp_path: Path, capsys) -> None:
    assert run(["compare", *scans, "--out", str(tmp_path / "out"), "--only", "svg"]) == 0
    capsys.readouterr()
    assert run(["replay", str(tmp_path / "out" / "figure.svg"), *scans]) == 0
    assert capsys.readouterr().out.startswith("Every digit agrees")


def test_a_changed_scan_is_status_3_and_named(scans: list[str], tmp_path: Path, capsys) -> None:
    assert run(["compare", *scans, "--out", str(tmp_path / "out"), "--only", "json"]) == 0
    write(HeightMap(np.ones((16, 16)).cumsum(axis=0) ** 2 * 1e-9, pitch=(1e-8, 1e-8)), scans[1])
    capsys.readouterr()
    assert run(["replay", str(tmp_path / "out" / "sheet.json"), *scans, "--json"]) == 3
    told = json.loads(capsys.readouterr().out)
    assert told["changed"] == ["mica spot 2"]
    assert {difference["where"] for difference in told["differences"]} <= {"mica spot 2", "mica", ""}


def test_what_carries_nothing_is_status_4(scans: list[str], tmp_path: Path, capsys) -> None:
    (tmp_path / "a.csv").write_text("level,note\n")
    assert run(["replay", str(tmp_path / "a.csv"), *scans]) == 4
    assert "carries no comparison" in capsys.readouterr().err
