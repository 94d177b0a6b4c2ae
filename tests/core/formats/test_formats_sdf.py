"""Surface data files, ISO 25178-71, and ASCII grids: both forms, every type, missing points, broken sections."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest

from core.errors import DamagedFile, LowreliefError, NoHeights
from core.formats import read

Z = np.array([[1, 2, 3], [40, 5, 6]])
TYPES = {0: "u1", 1: "<u2", 2: "<u4", 3: "<f4", 4: "i1", 5: "<i2", 6: "<i4", 7: "<f8"}


def binary(
    data: bytes, *, points: int = 3, profiles: int = 2, z: float = 1e-9, x: float = 2e-6, packed: int = 0, kind: int = 7
) -> bytes:
    """The header field by field, as the standard lists them."""
    return (
        b"bISO-1.0"
        + b"by hand".ljust(10)
        + b"040320261200"
        + b"040320261200"
        + struct.pack("<HH", points, profiles)
        + struct.pack("<dddd", x, 1e-6, z, -1.0)
        + struct.pack("<bbb", packed, kind, 0)
        + data
    )


def text(values: str, *, points: object = 3, profiles: object = 2, z: object = 1e-9, end: str = "*\n") -> str:
    return (
        "aISO-1.0\nManufacID   = by hand\nCreateDate  = 040320261200\nModDate     = 040320261200\n"
        f"NumPoints   = {points}\nNumProfiles = {profiles}\nXscale      = 2E-6\nYscale      = 1E-6\nZscale      = {z}\n"
        f"Zresolution = -1\nCompression = 0\nDataType    = 7\nCheckType   = 0\n*\n{values}\n{end}"
    )


def put(folder: Path, content: bytes | str, name: str = "scan.sdf") -> Path:
    (folder / name).write_bytes(content.encode("latin-1") if isinstance(content, str) else content)
    return folder / name


@pytest.mark.parametrize("kind", TYPES)
def test_every_binary_type(tmp_path: Path, kind: int) -> None:
    scan = read(put(tmp_path, binary(Z.astype(TYPES[kind]).tobytes(), kind=kind)))[0]
    np.testing.assert_allclose(scan.z, Z * 1e-9, rtol=1e-15)
    assert scan.pitch == (1e-6, 2e-6)
    assert scan.source.format == "SDF"
    assert scan.metadata["manufacturer"] == "by hand"


@pytest.mark.parametrize(("kind", "bad"), [(3, np.finfo("f4").max), (4, -128), (5, -32768), (6, -(2**31)), (7, np.nan)])
def test_binary_marks_of_missing_points(tmp_path: Path, kind: int, bad: float) -> None:
    values = Z.astype(TYPES[kind])
    values[0, 1] = bad
    assert np.argwhere(np.isnan(read(put(tmp_path, binary(values.tobytes(), kind=kind)))[0].z)).tolist() == [[0, 1]]


def test_a_trailer_behind_binary_heights_is_no_harm(tmp_path: Path) -> None:
    assert read(put(tmp_path, binary(Z.astype("<f8").tobytes() + b"trailer")))[0].shape == (2, 3)


@pytest.mark.parametrize(
    "values",
    ["1 2 3\n40 5 6", "1\n2\n3\n40\n5\n6\n", "1 2 3 40 5 6", "1.0 2e0 3 4.0E+1 5 6", "1, 2, 3, 40, 5, 6"],
)
def test_text_heights_however_broken_into_lines(tmp_path: Path, values: str) -> None:
    scan = read(put(tmp_path, text(values)))[0]
    np.testing.assert_allclose(scan.z, Z * 1e-9, rtol=1e-15)
    assert scan.pitch == (1e-6, 2e-6)


def test_text_with_missing_points_trailer_and_crlf(tmp_path: Path) -> None:
    content = text("1 BAD 3\n40 5 bad", end="*\nany words * here\n*\n").replace("\n", "\r\n")
    assert np.argwhere(np.isnan(read(put(tmp_path, content))[0].z)).tolist() == [[0, 1], [1, 2]]


WRONG: dict[str, tuple[bytes | str, type[LowreliefError], str]] = {
    "short header": (b"bISO-1.0" + bytes(20), DamagedFile, "cut short"),
    "short heights": (binary(Z.astype("<f8").tobytes()[:-1]), DamagedFile, "promises 48 bytes of heights and 47"),
    "one profile": (binary(bytes(48), points=6, profiles=1), NoHeights, "profile, not a map"),
    "no points": (binary(b"", points=0), DamagedFile, "2 × 0 points"),
    "scale zero": (binary(bytes(48), z=0.0), DamagedFile, "Zscale is 0"),
    "scale nan": (binary(bytes(48), x=float("nan")), DamagedFile, "Xscale is nan"),
    "compressed": (binary(bytes(48), packed=1), DamagedFile, "compressed"),
    "unknown type": (binary(bytes(48), kind=9), DamagedFile, "DataType 9"),
    "text, no sections": ("aISO-1.0\nNumPoints = 3\n", DamagedFile, "header is not closed"),
    "text, not closed": (text("1 2 3 40 5 6", end=""), DamagedFile, "heights are not closed"),
    "text, too few": (text("1 2 3 40 5"), DamagedFile, "promises 6 heights and 5"),
    "text, too many": (text("1 2 3 40 5 6 7"), DamagedFile, "promises 6 heights and 7"),
    "text, no number": (text("1 2 3 forty 5 6"), DamagedFile, "forty"),
    "text, bad size": (text("1 2", points="many"), DamagedFile, "no number for numpoints"),
    "text, endless size": (text("1 2", points="inf"), DamagedFile, "numpoints"),
    "text, huge": (text("1 2", points=10**6, profiles=10**6), DamagedFile, "more than"),
    "text, no scale": (text("1 2 3 4 5 6", z=""), DamagedFile, "zscale"),
    "nothing measured": (text("BAD BAD BAD BAD BAD BAD"), NoHeights, "Nothing was measured"),
}


@pytest.mark.parametrize(("content", "error", "words"), WRONG.values(), ids=WRONG.keys())
def test_what_is_wrong_is_said(tmp_path: Path, content: bytes | str, error: type[LowreliefError], words: str) -> None:
    with pytest.raises(error, match=words):
        read(put(tmp_path, content))


GRID = "ncols 3\nnrows 2\nxllcorner 7.5\nyllcorner 0\ncellsize 2\nNODATA_value -9999\n1 2 3\n40 -9999 6\n"


def test_ascii_grid(tmp_path: Path) -> None:
    scan = read(put(tmp_path, GRID, "scan.asc"))[0]
    np.testing.assert_array_equal(scan.z, [[1, 2, 3], [40, np.nan, 6]])
    assert scan.pitch == (2.0, 2.0)
    assert scan.metadata["xllcorner"] == "7.5"
    assert "metres" in scan.metadata["assumed"]


@pytest.mark.parametrize(
    "content",
    [
        GRID.replace("cellsize 2", "dx 2\ndy 2"),
        GRID.replace("corner", "center"),
        GRID.upper(),
        GRID.replace("1 2 3\n40 -9999 6", "1 2\n3 40 -9999\n6"),
        GRID.replace("\n", "\r\n"),
        GRID.replace("nrows 2\n", "").replace("ncols 3\n", "nrows 2\nncols 3\n"),
        GRID.replace("NODATA_value -9999\n", ""),
    ],
)
def test_ascii_grid_in_other_dress(tmp_path: Path, content: str) -> None:
    scan = read(put(tmp_path, content, "scan.txt"))[0]
    np.testing.assert_array_equal(scan.z, [[1, 2, 3], [40, np.nan, 6]])
    assert scan.source.format == "ascii grid"


def test_the_caller_may_say_another_unit_and_pixel(tmp_path: Path) -> None:
    scan = read(put(tmp_path, GRID, "scan.asc"), pixel="1um", unit="nm")[0]
    assert scan.pitch == (1e-6, 1e-6)
    assert scan.z[0, 0] == pytest.approx(1e-9, rel=1e-15)


@pytest.mark.parametrize(
    ("content", "error", "words"),
    [
        (GRID.replace("6\n", "\n"), DamagedFile, "promises 6 heights and 5"),
        (GRID + "7\n", DamagedFile, "more than 6"),
        (GRID.replace("nrows 2", "nrows two"), DamagedFile, "line 2"),
        (GRID.replace("cellsize 2\n", ""), DamagedFile, "cellsize"),
        (GRID.replace("cellsize 2", "cellsize -2"), DamagedFile, "cellsize"),
        (GRID.replace("nrows 2", "nrows 1"), NoHeights, "profile"),
        (GRID.replace("40", "forty"), DamagedFile, "forty"),
        (GRID.replace("nrows 2", "nrows 1e9").replace("ncols 3", "ncols 1e9"), DamagedFile, "more than"),
        ("ncols 3\n", DamagedFile, "nrows"),
    ],
)
def test_broken_grids(tmp_path: Path, content: str, error: type[LowreliefError], words: str) -> None:
    with pytest.raises(error, match=words):
        read(put(tmp_path, content, "scan.asc"))
