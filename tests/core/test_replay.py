"""A comparison repeated from every kind of file it was handed over as, digit by digit."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from core.carried import carried_by
from core.compare import compare
from core.errors import BenchError
from core.formats import write
from core.gather import gather
from core.handover import FILES, write_all
from core.heightmap import HeightMap
from core.replay import replay
from core.scale import Scale
from core.treatment import Treatment

RECIPE = """
schema = 1
[[step]]
do = "level"
form = "plane"
[[step]]
do = "rows"
remove = "offset"
by = "median"
[[step]]
do = "zero"
at = "lowest"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six scans of three candidates, with names that need escaping, in two formats; .npy needs pixel and unit said."""
    folder = tmp_path_factory.mktemp("scans")
    rng = np.random.default_rng(7)
    for name, sq, suffix in [("=1+1 <b>", 1e-10, ".x3p"), ("film", 1e-9, ".npy")]:
        for spot in (1, 2, 3):
            scan = HeightMap(sq * rng.standard_normal((24, 32)), pitch=(1.2e-8, 1e-8), name=f"{name} spot {spot}")
            write(scan, folder / f"{name} spot {spot}{suffix}")
    return folder


@pytest.fixture(scope="module")
def handed_over(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    bench = gather([folder], pixel="12nmx10nm", unit="nm")
    bench = bench.with_specimen(["film spot 3"], "another film")
    out = tmp_path_factory.mktemp("out")
    comparison = compare(bench, treatment=Treatment.from_toml(RECIPE), rank_by="Sq")
    write_all(comparison, out, bench=bench)
    return out


@pytest.mark.parametrize("kind", FILES)
def test_every_kind_repeats_to_the_last_digit(folder: Path, handed_over: Path, kind: str) -> None:
    done = replay(carried_by(handed_over / FILES[kind]), [folder])
    assert done.agrees, done.sentence
    assert done.agreeing > 6 * 30
    assert done.sentence.startswith("Every digit agrees")
    assert [scan.specimen for scan in done.bench.scans].count("another film") == 1


def test_one_changed_byte_names_the_scan(folder: Path, handed_over: Path, tmp_path: Path) -> None:
    shutil.copytree(folder, tmp_path / "copy")
    victim = tmp_path / "copy" / "film spot 2.npy"
    raw = bytearray(victim.read_bytes())
    raw[-100] ^= 0x10  # in the middle of a height's mantissa
    victim.write_bytes(raw)
    done = replay(carried_by(handed_over / "figure.png"), [tmp_path / "copy"])
    assert done.changed == ("film spot 2",)
    assert not done.agrees
    assert "film spot 2" in done.sentence
    assert {difference.where for difference in done.differences} <= {"film spot 2", "film", ""}
    assert any(difference.what == "Sq" for difference in done.differences)


def test_other_names_for_the_same_bytes_do_not_matter(folder: Path, handed_over: Path, tmp_path: Path) -> None:
    for number, file in enumerate(sorted(folder.iterdir())):
        shutil.copy(file, tmp_path / f"renamed {number}{file.suffix}")
    assert replay(carried_by(handed_over / "sheet.json"), [tmp_path]).agrees


def test_a_scan_that_is_not_given_is_named_and_the_others_compared(folder: Path, handed_over: Path) -> None:
    files = [file for file in sorted(folder.iterdir()) if file.stem != "film spot 1"]
    done = replay(carried_by(handed_over / "sheet.json"), files)
    assert done.absent == ("film spot 1",)
    assert not done.differences
    assert "No file was given for: film spot 1" in done.sentence


def test_none_of_the_scans_is_refused_with_their_names(handed_over: Path, tmp_path: Path) -> None:
    with pytest.raises(BenchError, match="film spot 1"):
        replay(carried_by(handed_over / "sheet.json"), [tmp_path])


def test_a_typed_range_and_its_preset_come_back(folder: Path, tmp_path: Path) -> None:
    from dataclasses import replace

    bench = replace(gather([folder], pixel="12nmx10nm", unit="nm"), scale=Scale.parse("-2nm:3nm"))
    write_all(compare(bench), tmp_path, only="json")
    assert replay(carried_by(tmp_path / "sheet.json"), [folder]).bench.scale == bench.scale
