"""From files and folders to scans."""

from pathlib import Path

import numpy as np
import pytest

from core.bench import Refusal, Scan
from core.formats import write
from core.gather import expand, gather, scan_of, take
from core.heightmap import HeightMap
from core.progress import Cancel, Cancelled, Progress

PITCH = (1e-8, 1e-8)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    rng = np.random.default_rng(0)
    for name in ("film_spot10", "film_spot9", "mica 1"):
        write(HeightMap(rng.standard_normal((8, 9)) * 1e-9, PITCH, name), tmp_path / f"{name}.x3p")
    (tmp_path / "notes.md").write_text("not a scan")
    (tmp_path / ".hidden.txt").write_text("1 2\n3 4\n")
    (tmp_path / "mica 1.x3p.toml").write_text('specimen = "mica, cleaved"\nspot = "near the edge"\n')
    return tmp_path


def test_a_folder_gives_its_scans_in_the_order_of_numbers(folder: Path) -> None:
    assert [file.name for file in expand([folder])] == ["film_spot9.x3p", "film_spot10.x3p", "mica 1.x3p"]


def test_a_named_file_is_always_tried_and_never_twice(folder: Path) -> None:
    files = expand([folder / "notes.md", folder / "notes.md", folder])
    assert files[0].name == "notes.md"
    assert len(files) == 4


def test_specimen_and_spot_come_from_the_sidecar_else_from_plain_words_in_the_name(folder: Path) -> None:
    bench = gather([folder])
    assert [(s.name, s.specimen, s.spot) for s in bench.scans] == [
        ("film_spot9", "film", "spot9"),
        ("film_spot10", "film", "spot10"),
        ("mica 1", "mica, cleaved", "near the edge"),
    ]


@pytest.mark.parametrize("name", ["sample1", "sample_2", "film-3", "spot 4"])
def test_a_bare_number_makes_no_spot(name: str) -> None:
    scan = scan_of(HeightMap(np.zeros((2, 2)), PITCH, name))
    assert (scan.specimen, scan.spot) == (name, "")


def test_patterns_name_the_specimens(folder: Path) -> None:
    bench = gather([folder], specimens={"polymer": "film_*.x3p"})
    assert list(bench.specimens) == ["polymer", "mica, cleaved"]


def test_a_bad_file_is_refused_and_the_others_go_on(folder: Path) -> None:
    (folder / "broken.x3p").write_bytes(b"PK\x03\x04 and then nothing")
    (folder / "empty.txt").touch()
    bench = gather([folder, folder / "gone.x3p"])
    assert len(bench.scans) == 3
    assert {Path(refusal.file).name for refusal in bench.refused} == {"broken.x3p", "empty.txt", "gone.x3p"}
    assert all(refusal.reason for refusal in bench.refused)


def test_take_never_raises_and_passes_on_what_the_user_says(tmp_path: Path) -> None:
    np.save(tmp_path / "bare.npy", np.arange(12.0).reshape(3, 4))
    bare = take(tmp_path / "bare.npy")
    assert isinstance(bare, Refusal)
    assert "--pixel" in bare.fix
    scan = take(tmp_path / "bare.npy", pixel="10nm", unit="nm")
    assert isinstance(scan, Scan)
    assert scan.raw.pitch == PITCH
    assert scan.raw.z[2, 3] == pytest.approx(11e-9)
    assert isinstance(take(tmp_path), Refusal)


def test_maps_in_memory_and_files_mix(folder: Path) -> None:
    bench = gather([HeightMap(np.zeros((3, 3)), PITCH, "made"), folder / "mica 1.x3p"])
    assert [scan.name for scan in bench.scans] == ["made", "mica 1"]


def test_progress_is_told_and_cancelling_stops(folder: Path) -> None:
    told: list[Progress] = []
    gather([folder], report=told.append, jobs=1)
    assert [(p.done, p.total) for p in told] == [(1, 3), (2, 3), (3, 3)]
    cancel = Cancel()
    cancel.request()
    with pytest.raises(Cancelled):
        gather([folder], cancel=cancel)


def test_a_pattern_that_names_sidecars_too_refuses_none(tmp_path: Path) -> None:
    write(HeightMap(np.eye(8) * 1e-9, pitch=(1e-8, 1e-8)), tmp_path / "film.npy", sidecar=True)
    bench = gather(sorted(tmp_path.glob("film*")))
    assert [scan.name for scan in bench.scans] == ["film"]
    assert not bench.refused
    (tmp_path / "alone.toml").write_text("a = 1")
    assert len(gather([tmp_path / "alone.toml"]).refused) == 1  # no sidecar of anything: tried, and refused
