"""Whatever a file does, reading gives maps or a refusal of this package, never another error."""

from __future__ import annotations

import contextlib
import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.errors import LowreliefError
from core.formats import read, write
from core.heightmap import HeightMap

OWN_PARSERS = (".x3p", ".npz", ".npy", ".tif", ".txt", ".csv")
"""Read by Python code alone; damage inside HDF5 files meets a C library that differs from machine to machine."""

SUFFIXES = (*OWN_PARSERS, ".h5")


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("written")
    z = np.random.default_rng(3).normal(size=(9, 7))
    z[2, 3] = np.nan
    for suffix in SUFFIXES:
        write(HeightMap(z * 1e-9, (1e-8, 2e-8), metadata={"operator": "A. B."}), folder / f"scan{suffix}")
    return {suffix: (folder / f"scan{suffix}").read_bytes() for suffix in SUFFIXES}


def attempt(file: Path, data: bytes) -> None:
    """Read bytes; only a refusal of this package may come out."""
    file.write_bytes(data)
    with contextlib.suppress(LowreliefError):
        for scan in read(file, pixel="1nm", unit="nm"):
            assert scan.z.ndim == 2


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_files_cut_short(tmp_path: Path, written: dict[str, bytes], suffix: str) -> None:
    whole = written[suffix]
    for length in sorted({*range(0, len(whole), max(1, len(whole) // 60)), len(whole) - 1}):
        attempt(tmp_path / "scan", whole[:length])


@pytest.mark.parametrize("suffix", OWN_PARSERS)
def test_files_with_wrong_bytes(tmp_path: Path, written: dict[str, bytes], suffix: str) -> None:
    rng = random.Random(7)
    for _ in range(80):
        data = bytearray(written[suffix])
        for _ in range(rng.randint(1, 4)):
            data[rng.randrange(len(data))] = rng.randrange(256)
        attempt(tmp_path / "scan", bytes(data))


@pytest.mark.long
@pytest.mark.parametrize("suffix", SUFFIXES)
def test_every_single_byte_wrong(tmp_path: Path, written: dict[str, bytes], suffix: str) -> None:
    # A length of gigabytes in an HDF5 file is refused, but only after the library has taken them: small lies there.
    values, step = ((0x00, 0x7F, 0xFF), 1) if suffix in OWN_PARSERS else ((0x07,), 3)
    for at in range(0, len(written[suffix]), step):
        for value in values:
            data = bytearray(written[suffix])
            data[at] = value
            attempt(tmp_path / "scan", bytes(data))


@given(st.binary(max_size=400))
@settings(max_examples=150, deadline=None)
def test_any_bytes(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    attempt(tmp_path_factory.getbasetemp() / "any", data)


@given(st.text(alphabet="0123456789.,;:-+eE \t\n#%/nax=µm()\"'", max_size=200))
@settings(max_examples=300, deadline=None)
def test_any_text_like_a_table(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    attempt(tmp_path_factory.getbasetemp() / "any.csv", text.encode())


@pytest.mark.parametrize(
    "mark",
    [b"PK\x03\x04", b"\x89HDF\r\n\x1a\n", b"\x93NUMPY", b"II*\0", b"MM\0*", b"bISO-1.0", b"aISO-1.0", b"ncols 3"],
)
@given(data=st.binary(max_size=200))
@settings(max_examples=60, deadline=None)
def test_a_known_mark_before_any_bytes(tmp_path_factory: pytest.TempPathFactory, mark: bytes, data: bytes) -> None:
    attempt(tmp_path_factory.getbasetemp() / "any", mark + data)


def test_a_table_as_wide_as_a_file_is_long(tmp_path: Path) -> None:
    attempt(tmp_path / "scan.txt", b"1 " * 200_000)
    attempt(tmp_path / "scan.txt", b"1\n" * 200_000)
    attempt(tmp_path / "scan.txt", b"# " * 200_000 + b"\n1 2\n3 4\n")
