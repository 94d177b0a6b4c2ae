"""``lowrelief compare --repeats``: noise from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from app.cli import run
from core.formats import write
from core.heightmap import HeightMap
from core.synthetic import gaussian_texture


@pytest.fixture
def scans(tmp_path: Path) -> list[str]:
    """Film, 0.3 nm, once more at a shift, and glass: all under 0.1 nm of noise."""
    rng = np.random.default_rng(3)
    field = gaussian_texture((100, 100), (1e-8, 1e-8), sq=3e-10, length=4e-8, rng=rng)
    other = gaussian_texture((96, 96), (1e-8, 1e-8), sq=3e-10, length=4e-8, rng=rng)
    files = []
    for name, z in (("film", field[:96, :96]), ("film_again", field[4:, 3:99]), ("glass", other)):
        file = tmp_path / f"{name}.x3p"
        write(HeightMap(z + 1e-10 * rng.standard_normal(z.shape), (1e-8, 1e-8), name), file)
        files.append(str(file))
    return files


def told(out: Path) -> dict[str, object]:
    sheet: dict[str, object] = json.loads((out / "sheet.json").read_text(encoding="utf-8"))
    return sheet


@pytest.mark.parametrize("by_name", [True, False])
def test_repeats_by_name_or_file(scans: list[str], tmp_path: Path, by_name: bool) -> None:
    pair = "film,film_again" if by_name else ",".join(scans[:2])
    out = tmp_path / "out"
    assert run(["compare", *scans, "--repeats", pair, "--out", str(out), "--only", "json"]) == 0
    sheet = told(out)
    assert sheet["repeats"] == [["film", "film_again"]]
    film, glass = sheet["specimens"]  # type: ignore[misc]
    assert film["scans"] == ["film", "film_again"]
    assert film["noise"]["floor"]["value_m"] == pytest.approx(1e-10, rel=0.05)
    assert film["noise"]["low_m"] < 3e-10 < film["noise"]["high_m"]
    assert film["readings"]["Sq"]["n"] == 1
    assert glass["noise"]["floor"]["scans"] == ["film", "film_again"]
    assert glass["noise"]["limited"] is False


@pytest.mark.parametrize("pair", ["film,nothing", "film", ""])
def test_wrong_use(scans: list[str], tmp_path: Path, pair: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["compare", *scans, "--repeats", pair, "--out", str(tmp_path / "out"), "--only", "json"]) == 2
    assert "--repeats" in capsys.readouterr().err


def test_replay_repeats_it(scans: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    run(["compare", *scans, "--repeats", "film,film_again", "--out", str(out), "--only", "html"])
    capsys.readouterr()
    assert run(["replay", str(out / "sheet.html"), *scans]) == 0
    assert "Every digit agrees" in capsys.readouterr().out
