"""``lowrelief log`` and ``compare --log`` as a user types them."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from app.cli import run
from core.formats import write
from core.heightmap import HeightMap
from core.log import Log, LogEntry


@pytest.fixture
def own_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "data" / "log.sqlite"
    monkeypatch.setattr("app.places.log_file", lambda: file)
    return file


def test_comparisons_are_kept_once_and_shown(tmp_path: Path, own_log: Path, capsys) -> None:
    rng = np.random.default_rng(4)
    for spot in (1, 2):
        write(HeightMap(1e-9 * rng.standard_normal((16, 16)), pitch=(1e-8, 1e-8)), tmp_path / f"mica spot {spot}.x3p")
    words = ["compare", *map(str, sorted(tmp_path.glob("*.x3p"))), "--out", str(tmp_path / "out"), "--only", "json"]
    assert run([*words, "--log"]) == 0
    assert "1 new entries" in capsys.readouterr().err
    assert run(words) == 0  # without --log nothing is kept
    assert len(Log(own_log).entries()) == 1
    capsys.readouterr()
    assert run(["log"]) == 0
    told = capsys.readouterr().out
    assert "mica, Sq" in told and "Limits need 5 entries" in told


def test_table_out_and_in(tmp_path: Path, own_log: Path, capsys) -> None:
    days = [
        LogEntry(at=f"2024-05-0{day}", kind="floor", subject="mica", symbol="noise", value=day * 1e-11, unit="m")
        for day in range(1, 8)
    ]
    Log(own_log).add(days)
    assert run(["log", "--csv", str(tmp_path / "log.csv")]) == 0
    other = tmp_path / "other.sqlite"
    assert run(["log", "--file", str(other), "--import", str(tmp_path / "log.csv"), "--json"]) == 0
    printed = capsys.readouterr().out
    assert [day["value"] for day in json.loads(printed[printed.index("[") :])] == [day.value for day in days]
    assert Log(other).entries() == days


def test_an_empty_log_is_status_4(own_log: Path, capsys) -> None:
    assert run(["log"]) == 4
    assert "compare --log" in capsys.readouterr().err
    assert not own_log.exists()
