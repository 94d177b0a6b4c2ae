"""Which reader, which channel, which pixel, which unit; and every way a file may not be there."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import numpy as np
import pytest

from core.errors import (
    DamagedFile,
    FileProblem,
    LowreliefError,
    NoHeights,
    PixelMissing,
    QuantityError,
    UnitMissing,
    UnknownFormat,
)
from core.formats import read
from core.formats.sidecar import Sidecar, beside, read_sidecar, write_sidecar
from core.heightmap import HeightMap

Z = np.array([[0.0, 1.0, 2.5], [3.0, 4.0, -1.0]])


@pytest.fixture
def array(tmp_path: Path) -> Path:
    file = tmp_path / "film.npy"
    np.save(file, Z)
    return file


@pytest.fixture
def channels(tmp_path: Path) -> Path:
    """A file of points with five channels: two heights, volts, degrees, one without a unit."""
    i, j = (index.ravel() for index in np.mgrid[:3, :3])
    columns = [j, i, 0.1 * i, 10 + i, i + j, i - j, i * j]
    file = tmp_path / "film.csv"
    head = "x_um,y_um,U (V),deflection (nm),height (nm),phase (deg),gain"
    np.savetxt(file, np.column_stack(columns), delimiter=",", header=head, comments="")
    return file


def told(file: Path, text: str) -> None:
    beside(file).write_text(text, encoding="utf-8")


# Who wins


def test_the_caller_wins_over_the_sidecar(array: Path) -> None:
    told(array, 'pixel = "5nm"\nunit = "um"\n')
    scan = read(array)[0]
    assert scan.pitch == (5e-9, 5e-9)
    np.testing.assert_allclose(scan.z, Z * 1e-6, rtol=1e-15)
    scan = read(array, pixel=(1e-9, 2e-9), unit="nm")[0]
    assert scan.pitch == (1e-9, 2e-9)
    np.testing.assert_allclose(scan.z, Z * 1e-9, rtol=1e-15)


def test_the_sidecar_wins_over_the_file(tmp_path: Path) -> None:
    file = tmp_path / "film.txt"
    file.write_text("# pixel: 1nm\n# unit: nm\n1 2\n3 5\n")
    told(file, 'pixel = "7nm"\nunit = "pm"\n')
    scan = read(file)[0]
    assert scan.pitch == (7e-9, 7e-9)
    assert scan.z[0, 0] == pytest.approx(1e-12, rel=1e-15)


@pytest.mark.parametrize(
    ("pixel", "pitch"), [("10nmx12nm", (10e-9, 12e-9)), (2e-8, (2e-8, 2e-8)), ("9,8 nm", (9.8e-9, 9.8e-9))]
)
def test_pixel_as_text_number_or_pair(array: Path, pixel: str | float, pitch: tuple[float, float]) -> None:
    assert read(array, pixel=pixel, unit="nm")[0].pitch == pytest.approx(pitch, rel=1e-15)


@pytest.mark.parametrize(
    "wrong", [{"pixel": "wide", "unit": "nm"}, {"pixel": "0nm", "unit": "nm"}, {"pixel": "1nm", "unit": "V"}]
)
def test_a_wrong_pixel_or_unit_is_the_callers_error(array: Path, wrong: dict[str, str]) -> None:
    with pytest.raises(QuantityError):
        read(array, **wrong)


def test_what_nobody_says_is_asked_for(array: Path) -> None:
    with pytest.raises(PixelMissing, match=r"--pixel 9\.8nm --unit nm.*film\.npy\.toml"):
        read(array)
    with pytest.raises(UnitMissing, match="--unit nm"):
        read(array, pixel="1nm")
    with pytest.raises(PixelMissing, match="--pixel"):
        read(array, unit="nm")


# Which channel


def test_a_channel_called_height_comes_first_and_all_are_named(channels: Path) -> None:
    maps = read(channels)
    assert [scan.source.channel for scan in maps] == ["height", "deflection"]
    assert [scan.name for scan in maps] == ["film", "film · deflection"]
    assert maps[0].source.channels == ("U", "deflection", "height", "phase", "gain")


def test_the_callers_channel_wins_over_the_sidecars(channels: Path) -> None:
    told(channels, 'channel = "Deflection"\n')
    assert read(channels)[0].source.channel == "deflection"
    assert read(channels, channel="height")[0].source.channel == "height"


def test_a_channel_without_a_unit_needs_one_only_when_asked_for(channels: Path) -> None:
    with pytest.raises(UnitMissing, match="“gain”"):
        read(channels, channel="gain")
    assert read(channels, channel="gain", unit="nm")[0].z.max() == pytest.approx(4e-9, rel=1e-15)


def test_a_channel_in_volts_is_taken_only_with_the_callers_unit(channels: Path) -> None:
    with pytest.raises(NoHeights, match="is in V"):
        read(channels, channel="U")
    maps = read(channels, channel="U", unit="um")
    assert maps[0].z.max() == pytest.approx(0.2e-6, rel=1e-12)
    assert "phase" not in [scan.source.channel for scan in maps]  # the unit makes no other channel a height


def test_a_channel_that_is_not_there_is_refused_with_the_list(channels: Path) -> None:
    with pytest.raises(NoHeights, match="“phase”, “gain”"):
        read(channels, channel="friction")
    told(channels, 'channel = "friction"\n')
    with pytest.raises(NoHeights, match=r"film\.csv\.toml"):
        read(channels)


def test_a_sidecar_may_name_the_only_channel_of_a_file(array: Path) -> None:
    told(array, 'pixel = "1nm"\nunit = "nm"\nchannel = "height, retrace"\n')
    assert read(array)[0].metadata["channel"] == "height, retrace"


def test_no_height_channel_at_all(tmp_path: Path) -> None:
    file = tmp_path / "film.csv"
    file.write_text("x_um,y_um,U (V)\n0,0,1\n1,0,2\n0,1,3\n1,1,5\n")
    with pytest.raises(NoHeights, match="no heights, only U in V"):
        read(file)


# What a map knows of its file


def test_the_source_names_file_hash_and_format(array: Path) -> None:
    source = read(str(array), pixel="1nm", unit="nm")[0].source
    assert source.file == str(array)
    assert source.sha256 == hashlib.sha256(array.read_bytes()).hexdigest()
    assert source.format == "NumPy"


def test_reading_changes_neither_file_nor_folder(array: Path) -> None:
    before = {file.name: (file.stat().st_mtime_ns, file.read_bytes()) for file in array.parent.iterdir()}
    read(array, pixel="1nm", unit="nm")
    assert {file.name: (file.stat().st_mtime_ns, file.read_bytes()) for file in array.parent.iterdir()} == before


def test_heights_are_read_only(array: Path) -> None:
    with pytest.raises(ValueError, match="read-only"):
        read(array, pixel="1nm", unit="nm")[0].z[0, 0] = 1.0


# The sidecar


def test_known_keys_of_a_sidecar_are_si_and_unknown_ones_text(array: Path) -> None:
    told(
        array,
        """
        pixel = "1nmx2nm"
        unit = "nm"
        specimen = "film A"
        spot = 3
        line_rate = "0,5 Hz"
        probe_radius = "8 nm"
        direction = "Retrace"
        role = "Reference"
        date = 2026-03-04
        operator = "A. B."
        cleaned = true
        "set point" = 0.25
        [probe]
        type = "sharp"
        """,
    )
    assert dict(read(array)[0].metadata) == {
        "pixel": (1e-9, 2e-9),
        "unit": "nm",
        "specimen": "film A",
        "spot": "3",
        "line_rate": 0.5,
        "probe_radius": 8e-9,
        "direction": "retrace",
        "role": "reference",
        "date": "2026-03-04",
        "operator": "A. B.",
        "cleaned": "true",
        "set_point": "0.25",
        "probe.type": "sharp",
    }


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("pixel = ", "not valid TOML"),
        ("pixel = 9.8", "not a pixel size in metres"),
        ('pixel = "9.8"', "key pixel"),
        ("pixel = [1e-9, 2e-9, 3e-9]", "not a pixel size"),
        ('unit = "V"', "not a unit of length"),
        ('line_rate = "fast"', "not a rate"),
        ('line_rate = "0 Hz"', "not a rate"),
        ('probe_radius = "sharp"', "not a length"),
        ("probe_radius = -1e-9", "no size"),
        ('direction = "up"', "no scan direction"),
        ('role = "judge"', "no role of a scan"),
        ("a = " + "[" * 3000, "not valid TOML"),
    ],
)
def test_a_broken_sidecar_is_refused_by_name(array: Path, text: str, words: str) -> None:
    told(array, text)
    with pytest.raises(DamagedFile, match=words) as caught:
        read(array, pixel="1nm", unit="nm")
    assert "film.npy.toml" in str(caught.value)


def test_a_sidecar_in_another_code_or_without_end_is_refused(array: Path) -> None:
    beside(array).write_bytes(b'operator = "\xff\xfe"')
    with pytest.raises(DamagedFile, match="TOML"):
        read(array)
    beside(array).write_bytes(b"#" * (2**20 + 1))
    with pytest.raises(DamagedFile, match="too long"):
        read(array)


def test_bare_metres_in_a_sidecar(array: Path) -> None:
    told(array, 'pixel = [1e-8, 2e-8]\nunit = "nm"\n')
    assert read(array)[0].pitch == (1e-8, 2e-8)


def test_no_sidecar_says_nothing(array: Path) -> None:
    assert read_sidecar(array) == Sidecar()


def test_a_written_sidecar_reads_back(tmp_path: Path) -> None:
    said = {"operator": 'Zoë "Z" \\ \n\x7f', "line_rate": 1.5, "probe_radius": 8e-9, "spot": "1", "odd key = ": "ü😀"}
    scan = HeightMap(Z, (1e-9 / 3, 2e-9), metadata=said)
    assert write_sidecar(scan, tmp_path / "scan.npy") == tmp_path / "scan.npy.toml"
    again = read_sidecar(tmp_path / "scan.npy")
    assert again.pixel == scan.pitch
    assert again.unit == "m"
    assert {key: again.metadata[key] for key in ("operator", "line_rate", "probe_radius", "spot")} == {
        key: said[key] for key in ("operator", "line_rate", "probe_radius", "spot")
    }


# Files that are none


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match="no such file"):
        read(tmp_path / "absent.x3p")


def test_a_folder(tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match="folder, not a file"):
        read(tmp_path)


def test_an_empty_file(tmp_path: Path) -> None:
    (tmp_path / "scan.npy").touch()
    with pytest.raises(FileProblem, match="empty"):
        read(tmp_path / "scan.npy")


def test_an_impossible_name(tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match="cannot be opened"):
        read(f"{tmp_path}/a\0b")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes in folders")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "scan.txt")
    with pytest.raises(FileProblem, match="device or pipe"):
        read(tmp_path / "scan.txt")


@pytest.mark.parametrize(
    ("head", "words"),
    [
        (b"\x89PNG\r\n\x1a\n", "PNG picture"),
        (b"\xff\xd8\xff\xe0", "JPEG"),
        (b"%PDF-1.7", "PDF"),
        (b"\0\1\2\3", "No reader"),
    ],
)
def test_foreign_bytes(tmp_path: Path, head: bytes, words: str) -> None:
    (tmp_path / "scan.x3p").write_bytes(head + bytes(100))
    with pytest.raises(UnknownFormat, match=words):
        read(tmp_path / "scan.x3p")


def test_every_refusal_offers_a_fix(tmp_path: Path, array: Path) -> None:
    (tmp_path / "prose.txt").write_text("A fine day.\n")
    for file in (array, tmp_path / "prose.txt", tmp_path, tmp_path / "absent"):
        with pytest.raises(LowreliefError) as caught:
            read(file)
        assert caught.value.what
        assert caught.value.fix
        assert str(file) in caught.value.where
