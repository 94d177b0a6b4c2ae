"""``lowrelief show --ladder``: crystal steps on demand."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from app.cli import run
from core.formats import write
from core.heightmap import HeightMap
from core.synthetic import terraces, white_noise


def test_ladder_on_demand(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rng = np.random.default_rng(1)
    shape, pitch = (160, 160), (1e-8, 1e-8)
    z = terraces(shape, pitch, step=3.136e-10, width=4e-7, angle=30, waviness=4e-8, rng=rng)
    file = tmp_path / "crystal.x3p"
    write(HeightMap(z + white_noise(shape, sq=3e-11, rng=rng), pitch, "crystal"), file)
    assert run(["show", str(file), "--json", "--ladder", "--crystal", "silicon (111)"]) == 0
    told = json.loads(capsys.readouterr().out)["ladder"]
    assert told["kind"] == "ladder"
    assert abs(told["height_m"] - 3.136e-10) < 2 * told["uncertainty_m"]
    assert [match["crystal"] for match in told["matches"]] == ["silicon (111)"]
    assert "a check, not a calibration" in told["sentence"]
    assert run(["show", str(file), "--json"]) == 0
    assert "ladder" not in json.loads(capsys.readouterr().out)
