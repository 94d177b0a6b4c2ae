"""What campaigns found, each as the smallest file that shows it."""

from __future__ import annotations

import sqlite3
import struct
from contextlib import closing
from pathlib import Path

import h5py
import numpy as np
import pytest

from core import benchfile
from core.errors import BenchError, DamagedFile, LayoutError, LogError, QuantityError, TreatmentError
from core.formats import read
from core.formats.layouts import Layout, guess
from core.log import Log, from_csv
from core.treatment import Treatment
from core.units import parse_length
from tests.fuzz.seeds import bench


@pytest.mark.parametrize(
    ("at", "value"),
    [
        (0, struct.pack("<I", 2**31 - 2)),  # its length: memory for all of it was taken
        (4, struct.pack("<Q", 96)),  # its heap: the library looped for a minute
        (12, struct.pack("<I", 999)),  # its number in the heap
    ],
)
def test_a_text_whose_pointer_leads_astray(tmp_path: Path, at: int, value: bytes) -> None:
    path = tmp_path / "bench.h5"
    benchfile.save(bench(), path)
    with h5py.File(path) as file:
        place = file["entry/bench"].id.get_offset() + at
    data = bytearray(path.read_bytes())
    data[place : place + len(value)] = value
    path.write_bytes(data)
    with pytest.raises(BenchError, match="leads to no text"):
        benchfile.load(path)


def test_a_bench_file_whose_heap_is_damaged(tmp_path: Path) -> None:
    path = tmp_path / "bench.h5"
    benchfile.save(bench(), path)
    data = bytearray(path.read_bytes())
    data[data.index(b"GCOL") + 16 + 8] ^= 0x40
    path.write_bytes(data)
    assert not benchfile.is_benchfile(path)
    with pytest.raises(BenchError, match="damaged"):
        benchfile.load(path)


def test_an_array_whose_header_is_gigabytes_long(tmp_path: Path) -> None:
    np.save(tmp_path / "map.npy", np.eye(3))
    data = (tmp_path / "map.npy").read_bytes()
    (tmp_path / "map.npy").write_bytes(data[:6] + b"\x02\0" + struct.pack("<I", 2**32 - 200) + data[10:])
    with pytest.raises(DamagedFile):
        read(tmp_path / "map.npy", pixel="1nm", unit="nm")


@pytest.mark.parametrize(
    "text", ["at,kind\rx,subject", "at,kind,subject,symbol,value,unit\r\n1,2\r3,4,5,6\n", 'a,"' + "x" * 200_000]
)
def test_tables_that_are_no_log(text: str) -> None:
    with pytest.raises(LogError):
        from_csv(text)


@pytest.mark.parametrize(
    "damage", ["PRAGMA user_version = -3", "UPDATE entry SET value = 'much'", "UPDATE entry SET at = x'ff'"]
)
def test_logs_that_are_damaged(tmp_path: Path, damage: str) -> None:
    from tests.fuzz.targets import CORPUS

    path = tmp_path / "log.sqlite"
    path.write_bytes((CORPUS / "log_file" / "log.sqlite").read_bytes())
    with closing(sqlite3.connect(path)) as file:
        file.execute(damage)
        file.commit()
    with pytest.raises(LogError):
        Log(path).entries()


@pytest.mark.parametrize("text", ["1e999999999999999999 nm", "1e-99999999999999999999 m"])
def test_exponents_beyond_all_numbers(text: str) -> None:
    with pytest.raises(QuantityError):
        parse_length(text)


@pytest.mark.parametrize("size", range(0, 160, 7))
def test_a_guess_at_files_too_short_for_one(tmp_path: Path, size: int) -> None:
    rng = np.random.default_rng(size)
    (tmp_path / "map.raw").write_bytes(rng.bytes(size))
    found = guess(tmp_path / "map.raw")
    assert found is None or found.layout.columns > 0


@pytest.mark.parametrize(
    "line", ['at = { after = "x", nth = nan }', 'at = { after = "x", nth = true }', f"missing = [{'9' * 400}]"]
)
def test_layouts_with_numbers_that_are_none(line: str) -> None:
    with pytest.raises(LayoutError):
        Layout.from_toml(f'schema = 1\nname = "mine"\n{line}\n')


def test_numbers_beyond_their_type_are_read_without_a_word(tmp_path: Path) -> None:
    """Signalling NaNs made the terminal speak of casts; here warnings are errors."""
    heights = np.full((3, 3), 2.0, "<f4")
    data = bytearray(heights.tobytes())
    data[0:4] = b"\x01\x00\xa0\x7f"
    np.save(tmp_path / "map.npy", np.frombuffer(bytes(data), "<f4").reshape(3, 3))
    scan = read(tmp_path / "map.npy", pixel="1nm", unit="nm")[0]
    assert scan.missing == 1


@pytest.mark.parametrize("value", ["9" * 5000, "[" * 5000])
def test_toml_that_python_cannot_hold(tmp_path: Path, value: str) -> None:
    np.save(tmp_path / "map.npy", np.eye(3))
    (tmp_path / "map.npy.toml").write_text(f"unit = {value}\n", encoding="utf-8")
    with pytest.raises(DamagedFile):
        read(tmp_path / "map.npy", pixel="1nm")
    with pytest.raises(LayoutError):
        Layout.from_toml(f"columns = {value}\n")
    with pytest.raises(TreatmentError):
        Treatment.from_toml(f"schema = {value}\n")
