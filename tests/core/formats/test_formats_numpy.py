"""NumPy files: never unpickled, sizes checked first, archives that say pitch and unit."""

from __future__ import annotations

import pickle
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from core.errors import DamagedFile, NoHeights, PixelMissing, UnitMissing
from core.formats import read

Z = np.array([[1.0, 2.0, 3.0], [40.0, 5.0, 6.0]])
SAID = {"pixel": "1nm", "unit": "nm"}


@pytest.mark.parametrize("dtype", ["i1", "u2", ">i4", "<i8", "f2", ">f4", "f8", "g"])
@pytest.mark.parametrize("order", ["C", "F"])
def test_types_and_orders(tmp_path: Path, dtype: str, order: Any) -> None:
    np.save(tmp_path / "scan.npy", np.array(Z, dtype=dtype, order=order))
    np.testing.assert_allclose(read(tmp_path / "scan.npy", **SAID)[0].z, Z * 1e-9, rtol=1e-15)


@pytest.mark.parametrize(
    "said",
    [
        {"pitch": np.array([2e-8, 1e-8]), "unit": "nm"},
        {"pixel": "20nmx10nm", "unit": "nm"},
        {"dx": 1e-8, "dy": 2e-8, "unit": "nm"},
        {"dx": 10.0, "dy": 20.0, "xy_unit": "nm", "unit": "nm"},
    ],
)
@pytest.mark.parametrize("name", ["z", "height", "anything"])
def test_archives_that_say_all(tmp_path: Path, said: dict[str, Any], name: str) -> None:
    np.savez(tmp_path / "scan.npz", **{name: Z}, **said)
    scan = read(tmp_path / "scan.npz")[0]
    np.testing.assert_allclose(scan.z, Z * 1e-9, rtol=1e-15)
    assert scan.pitch == pytest.approx((2e-8, 1e-8), rel=1e-15)
    assert scan.source.channel == name


def test_coordinates_without_a_unit_are_asked_for(tmp_path: Path) -> None:
    np.savez(tmp_path / "scan.npz", z=Z, x=np.arange(3) * 0.5, y=np.arange(2) * 2.0, unit="nm")
    with pytest.raises(PixelMissing, match=r"2 apart down and 0\.5 across"):
        read(tmp_path / "scan.npz")


def test_an_archive_without_a_unit_is_asked_for(tmp_path: Path) -> None:
    np.savez(tmp_path / "scan.npz", z=Z, pitch=1e-8)
    with pytest.raises(UnitMissing):
        read(tmp_path / "scan.npz")


def test_several_arrays_are_channels_and_z_comes_first(tmp_path: Path) -> None:
    np.savez(tmp_path / "scan.npz", other=Z * 2, z=Z, curve=np.arange(4.0), pitch=1e-8, unit="nm")
    assert [scan.source.channel for scan in read(tmp_path / "scan.npz")] == ["z", "other"]


class Trap:
    """Unpickling this writes a file."""

    def __init__(self, file: str) -> None:
        self.file = file

    def __reduce__(self) -> Any:
        return (open, (self.file, "w"))


@pytest.mark.parametrize("suffix", [".npy", ".npz"])
def test_nothing_is_unpickled(tmp_path: Path, suffix: str) -> None:
    sprung = tmp_path / "sprung"
    objects = np.empty((2, 2), dtype=object)
    objects[:] = Trap(str(sprung))
    if suffix == ".npy":
        np.save(tmp_path / "scan.npy", objects, allow_pickle=True)
    else:
        np.savez(tmp_path / "scan.npz", z=objects)
    with pytest.raises(DamagedFile, match="Python objects"):
        read(tmp_path / f"scan{suffix}", **SAID)
    (tmp_path / "plain.npy").write_bytes(pickle.dumps(objects))
    with pytest.raises(ValueError):
        read(tmp_path / "plain.npy", **SAID)
    assert not sprung.exists()


@pytest.mark.parametrize(
    ("array", "words"),
    [
        (np.zeros(5), r"shape \(5,\)"),
        (np.zeros((2, 2, 2)), r"shape \(2, 2, 2\)"),
        (np.zeros((3, 3), complex), "complex128"),
        (np.zeros((3, 3), bool), "bool"),
        (np.array([["a", "b"], ["c", "d"]]), "type <U1"),
        (np.zeros((1, 9)), "profile"),
        (np.zeros((0, 3)), "profile"),
        (np.full((3, 3), np.nan), "Nothing was measured"),
    ],
)
def test_arrays_that_are_no_map(tmp_path: Path, array: np.ndarray, words: str) -> None:
    np.save(tmp_path / "scan.npy", array)
    with pytest.raises(NoHeights, match=words):
        read(tmp_path / "scan.npy", **SAID)


def test_a_constant_map_is_valid(tmp_path: Path) -> None:
    np.save(tmp_path / "scan.npy", np.full((3, 3), 7.0))
    assert read(tmp_path / "scan.npy", **SAID)[0].missing == 0


def header(shape: str) -> bytes:
    text = f"{{'descr': '<f8', 'fortran_order': False, 'shape': {shape}}}".ljust(117) + "\n"
    return b"\x93NUMPY\x01\x00" + len(text).to_bytes(2, "little") + text.encode()


@pytest.mark.parametrize("shape", ["(2, 3)", "(100000, 100000)", "(10**9, 3)", "(-2, -3)", "(2, 3", "'ab'", "(2.5, 3)"])
def test_headers_that_lie(tmp_path: Path, shape: str) -> None:
    (tmp_path / "scan.npy").write_bytes(header(shape) + bytes(40))
    with pytest.raises(DamagedFile):
        read(tmp_path / "scan.npy", **SAID)


def test_an_archive_that_is_too_large_in_all_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("core.formats.numpy_files.MOST_POINTS", 20)
    np.savez(tmp_path / "scan.npz", z=Z)
    with pytest.raises(DamagedFile, match="unpacks to"):
        read(tmp_path / "scan.npz", **SAID)


def test_an_archive_without_a_map(tmp_path: Path) -> None:
    np.savez(tmp_path / "scan.npz", curve=np.arange(4.0))
    with pytest.raises(NoHeights):
        read(tmp_path / "scan.npz", **SAID)
