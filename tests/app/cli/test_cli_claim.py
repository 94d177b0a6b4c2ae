"""``lowrelief claim``: the fixed keys, people's table, wrong use; claims through the whole comparison."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from app.cli import run
from core import benchfile
from core.bench import Stated
from core.formats import write
from core.heightmap import HeightMap
from core.synthetic import gaussian_texture

WAVE = "PV <= lambda/20 @ 632.8nm over 25mm"
TEXTURE = "Sq <= 0.5nm in 120nm..2um"
SIDE, N = 10e-6, 256


@pytest.fixture
def scans(tmp_path: Path) -> list[str]:
    files = []
    for name, sq in (("mirror", 0.3e-9), ("steel", 5e-9)):
        for spot in (1, 2, 3):
            rng = np.random.default_rng(spot)
            z = gaussian_texture((N, N), (SIDE / N, SIDE / N), sq=sq, length=200e-9, rng=rng)
            file = tmp_path / f"{name}_spot{spot}.x3p"
            write(HeightMap(z, (SIDE / N, SIDE / N), file.stem), file)
            files.append(str(file))
    return files


def test_json_has_the_fixed_keys(scans: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["claim", *scans, "--claim", WAVE, "--claim", TEXTURE, "--json"]) == 0
    told = capsys.readouterr()
    assert told.err == ""
    claims = json.loads(told.out)["claims"]
    assert [(one["specimen"], one["claim"], one["verdict"]) for one in claims] == [
        ("mirror", WAVE, "not testable here"),
        ("mirror", TEXTURE, "supported"),
        ("steel", WAVE, "not testable here" if claims[2]["value_m"] < 31.64e-9 else "contradicted"),
        ("steel", TEXTURE, "contradicted"),
    ]
    for one in claims:
        assert one.keys() >= {"specimen", "claim", "verdict", "value_m", "limit_m", "uncertainty_m", "sentence"}
    assert claims[1]["limit_m"] == 0.5e-9
    assert claims[1]["value_m"] == pytest.approx(0.28e-9, rel=0.2)
    assert "Flatness over 25 mm was not tested" in claims[0]["sentence"]


def test_people_get_a_table_and_the_sentences(scans: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["claim", scans[0], "--claim", WAVE, "--rule", "simple"]) == 0
    told = capsys.readouterr().out
    assert "Verdict" in told
    assert "not testable here" in told
    assert "interferometer is needed" in told


def test_wrong_use_says_where_in_the_claim(scans: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["claim", scans[0], "--claim", "PV < lambda/20 sometimes"]) == 2
    assert "sign 16" in capsys.readouterr().err
    assert run(["claim", scans[0]]) == 2


def test_a_refused_scan_and_none_at_all(scans: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = tmp_path / "bad.txt"
    bad.write_text("no map")
    assert run(["claim", scans[0], str(bad), "--claim", WAVE, "--json"]) == 3
    assert "bad.txt" in capsys.readouterr().err
    assert run(["claim", str(bad), "--claim", WAVE]) == 4


def test_claims_go_through_comparison_sheets_and_bench_file(scans: list[str], tmp_path: Path) -> None:
    out = tmp_path / "out"
    band = tmp_path / "band.toml"
    band.write_text('schema = 1\n[[step]]\ndo = "level"\n[[step]]\ndo = "band"\n')
    words = ["--claim", WAVE, "--claim", TEXTURE, "--rule", "guarded", "--treatment", str(band)]
    assert run(["compare", *scans, "--out", str(out), "--only", "json,html,xlsx,h5", *words]) == 0
    claims = json.loads((out / "sheet.json").read_text(encoding="utf-8"))["claims"]
    assert [one["verdict"] for one in claims if one["claim"] == TEXTURE] == ["supported", "contradicted"]
    page = (out / "sheet.html").read_text(encoding="utf-8")
    assert "<h2>Claims</h2>" in page
    assert claims[0]["sentence"].replace("<", "&lt;") in page
    bench = benchfile.load(out / "bench.h5")
    assert bench.claims == (Stated(WAVE), Stated(TEXTURE))
    assert bench.claim_rule == "guarded"
    assert run(["compare", *scans, "--out", str(out), "--claim", "nonsense"]) == 2


def test_layouts_are_known_to_claims_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    counts = np.random.default_rng(1).integers(-50, 50, (64, 64)).astype("<i2")
    (tmp_path / "a.mole").write_bytes(b"MOLEHILL" + counts.tobytes())
    (tmp_path / "mole.toml").write_text(
        'schema = 1\nname = "molehill"\nfiles = ["*.mole"]\nat = 8\ncolumns = 64\n'
        'gain = 0.01\nunit = "nm"\nacross = "10 nm"\n'
    )
    words = ["claim", str(tmp_path / "a.mole"), "--claim", "PV <= 0.5um", "--json"]
    assert run(words) == 4
    assert run([*words, "--layout", str(tmp_path / "mole.toml")]) == 0
    assert json.loads(capsys.readouterr().out)["claims"][0]["specimen"] == "a"
