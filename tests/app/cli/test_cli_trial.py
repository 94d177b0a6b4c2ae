"""``lowrelief trial``: keys, exit status, wrong use."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from app.cli import run
from core.synthetic.texture import gaussian_texture


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("film")
    z = gaussian_texture((192, 192), (4e-9, 4e-9), sq=1e-9, length=20e-9, rng=np.random.default_rng(1))
    np.save(folder / "film spot 1.npy", z * 1e9)
    return folder


def _trial(film: Path, *more: str) -> list[str]:
    return ["trial", str(film / "film spot 1.npy"), "--pixel", "4nm", "--unit", "nm", *more]


def test_json_has_the_keys_that_are_promised(film: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(_trial(film, "--diameter", "20nm,30nm", "--probe-radius", "8nm", "--json")) == 0
    (told,) = json.loads(capsys.readouterr().out)["trials"]
    assert told["specimen"] == "film"
    assert 3e-9 < told["smallest_reliable_m"] < 9e-9
    assert told["threshold_m"] == pytest.approx(5 * told["sigma_m"])
    assert told["probe_radius_m"] == pytest.approx(8e-9)
    assert [row["diameter_m"] for row in told["by_diameter"]] == pytest.approx([20e-9, 30e-9])
    for row in told["by_diameter"]:
        assert row["recall"] > 0.98
        assert row["false_per_m2"] == 0.0
        assert abs(row["height_bias_m"]) < 1e-9
        assert 0 < row["height_spread_m"] < 3e-9


def test_a_table_and_a_caution_for_people(film: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([*_trial(film, "--diameter", "20nm"), str(film / "nothing.npy")]) == 3
    said = capsys.readouterr()
    assert "95 % are found from" in said.out
    assert "trained staff decide" in said.out
    assert "refused" in said.err


@pytest.mark.parametrize("words", [["--diameter", "20 parsec"], ["--diameter", "-5nm"], ["--probe-radius", "0nm"],
                                   ["--spread", "2"], ["--pixel", "wide"]])  # fmt: skip
def test_wrong_use(film: Path, words: list[str]) -> None:
    assert run(_trial(film, *words)) == 2


def test_nothing_that_could_be_tried(film: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    np.save(tmp_path / "tiny.npy", np.zeros((8, 8)))
    assert run(["trial", str(tmp_path / "tiny.npy"), "--pixel", "4nm", "--unit", "nm"]) == 4
    assert run(["trial", str(tmp_path / "absent.npy")]) == 4
    assert capsys.readouterr().out == ""
