"""What is written is read back to the last bit, by its own reader."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from core.errors import FileProblem, UnknownFormat
from core.formats import SUFFIXES, formats, read, write
from core.heightmap import HeightMap, Source

WRITTEN = {
    ".x3p": "X3P",
    ".h5": "HDF5",
    ".hdf5": "HDF5",
    ".nxs": "HDF5",
    ".npz": "NumPy",
    ".tif": "TIFF",
    ".tiff": "TIFF",
    ".txt": "text, matrix",
    ".csv": "text, matrix",
    ".tsv": "text, matrix",
    ".sdf": "SDF",
}

_lengths = st.floats(min_value=5e-324, max_value=1e300, allow_nan=False, allow_infinity=False)
_heights = st.one_of(
    st.floats(allow_nan=True, allow_infinity=False, width=64),
    st.floats(min_value=-1e-6, max_value=1e-6),
    st.just(float("nan")),
    st.sampled_from([0.0, -0.0, 5e-324, -2.2e-308, 1.7976931348623157e308]),
)


@st.composite
def scans(draw: st.DrawFn) -> HeightMap:
    shape = draw(st.tuples(st.integers(2, 6), st.integers(2, 6)))
    z = draw(hnp.arrays(np.float64, shape, elements=_heights, fill=st.nothing()))
    z[0, 0] = 1e-9 if np.isnan(z).all() else z[0, 0]
    return HeightMap(z, pitch=(draw(_lengths), draw(_lengths)), name="any")


def same_bits(one: HeightMap, other: HeightMap) -> bool:
    """Equal heights with equal signs, missing where missing, and the same pitch."""
    return (
        one.pitch == other.pitch
        and np.array_equal(one.z, other.z, equal_nan=True)
        and np.array_equal(np.signbit(one.z[one.valid]), np.signbit(other.z[other.valid]))
    )


@pytest.mark.parametrize("suffix", [".x3p", ".h5", ".npz", ".tif", ".txt", ".csv", ".tsv"])
@given(scan=scans())
@settings(max_examples=40, deadline=None)
def test_heights_missing_points_and_pitch_come_back_to_the_last_bit(suffix: str, scan: HeightMap) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"scan{suffix}"
        write(scan, file)
        assert same_bits(read(file)[0], scan)


@given(scan=scans())
@settings(max_examples=40, deadline=None)
def test_an_array_and_its_sidecar_come_back_to_the_last_bit(scan: HeightMap) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "scan.npy"
        write(scan, file, sidecar=True)
        assert same_bits(read(file)[0], scan)


def odd_maps() -> Iterator[tuple[str, HeightMap]]:
    """Maps whose shape or content could be taken for another form of text."""
    i, j = np.mgrid[:5, :3].astype(float)
    pitch = (2e-8, 1e-8)
    yield "constant", HeightMap(np.full((4, 4), 2.5e-9), pitch)
    yield "all zero", HeightMap(np.zeros((3, 3)), pitch)
    yield "a tilted plane through 0, like coordinates", HeightMap(i + 2 * j, pitch)
    yield "three columns that are a lattice of points", HeightMap([[0, 0, 1], [1, 0, 2], [0, 1, 3], [1, 1, 4]], pitch)
    yield "two columns, the first even", HeightMap(np.column_stack([np.arange(9), np.ones(9)]), pitch)
    yield "a corner of 0 between even edges", HeightMap([[0, 1, 2], [1, 7, 8], [2, 9, 5]], pitch)
    yield "a whole missing row first", HeightMap([[np.nan, np.nan, np.nan], [1.0, 2.0, 3.0], [4.0, 5.0, 7.0]], pitch)


@pytest.mark.parametrize(("what", "scan"), list(odd_maps()))
@pytest.mark.parametrize("suffix", WRITTEN)
def test_every_written_file_is_read_by_its_own_reader(tmp_path: Path, suffix: str, what: str, scan: HeightMap) -> None:
    file = tmp_path / f"scan{suffix}"
    write(scan, file)
    again = read(file)[0]
    assert again.source.format == WRITTEN[suffix]
    assert same_bits(again, scan)


@pytest.mark.parametrize("suffix", WRITTEN)
def test_the_content_and_not_the_suffix_chooses_the_reader(tmp_path: Path, suffix: str) -> None:
    scan = HeightMap([[0.0, 1e-9], [2e-9, 5e-9]], pitch=(1e-8, 2e-8))
    write(scan, tmp_path / f"right{suffix}")
    for wrong in ("scan.dat", "scan.x3p", "scan.npy", "scan"):
        (tmp_path / wrong).write_bytes((tmp_path / f"right{suffix}").read_bytes())
        again = read(tmp_path / wrong)[0]
        assert again.source.format == WRITTEN[suffix]
        assert same_bits(again, scan)


@pytest.mark.parametrize("suffix", [".h5", ".npz", ".tif", ".txt"])
def test_known_metadata_comes_back_in_si(tmp_path: Path, suffix: str) -> None:
    said = {"line_rate": 1.5, "probe_radius": 8e-9, "operator": "Zoë: the “first”\nsecond line", "direction": "trace"}
    scan = HeightMap([[0.0, 1e-9], [2e-9, 5e-9]], pitch=(1e-8, 2e-8), metadata=said)
    write(scan, tmp_path / f"scan{suffix}")
    again = read(tmp_path / f"scan{suffix}")[0].metadata
    assert again["line_rate"] == 1.5
    assert again["probe_radius"] == 8e-9
    assert again["direction"] == "trace"
    assert again["operator"].startswith("Zoë: the “first”")


@pytest.mark.parametrize("suffix", [".txt", ".csv", ".h5", ".npz", ".tif"])
def test_metadata_cannot_change_the_map(tmp_path: Path, suffix: str) -> None:
    """Keys that mean something in a header are not written as metadata; a line break does not start a new line."""
    said = {"missing": 0.0, "pixel": (1.0, 1.0), "unit": "mm", "rows": 7, "note\n# missing": "1e-9", "x": "0\n9,9\n"}
    scan = HeightMap([[0.0, 1e-9], [2e-9, 5e-9]], pitch=(1e-8, 2e-8), metadata=said)
    write(scan, tmp_path / f"scan{suffix}")
    assert same_bits(read(tmp_path / f"scan{suffix}")[0], scan)


@pytest.mark.parametrize("suffix", [".h5", ".tif", ".txt", ".csv"])
def test_the_channel_keeps_its_name(tmp_path: Path, suffix: str) -> None:
    scan = HeightMap([[0.0, 1e-9], [2e-9, 5e-9]], (1e-8, 2e-8), source=Source(channel="Height (retrace)"))
    write(scan, tmp_path / f"scan{suffix}")
    assert read(tmp_path / f"scan{suffix}")[0].source.channel == "Height (retrace)"


def test_the_same_map_gives_the_same_bytes(tmp_path: Path) -> None:
    scan = HeightMap([[0.0, np.nan], [2e-9, 5e-9]], (1e-8, 2e-8))
    for suffix in (".x3p", ".txt", ".npy", ".tif"):
        for name in ("one", "two"):
            write(scan, tmp_path / f"{name}{suffix}")
        assert (tmp_path / f"one{suffix}").read_bytes() == (tmp_path / f"two{suffix}").read_bytes()


def test_no_sidecar_unless_asked(tmp_path: Path) -> None:
    write(HeightMap([[0.0, 1.0], [2.0, 3.0]], (1e-8, 2e-8)), tmp_path / "scan.npy")
    assert [file.name for file in tmp_path.iterdir()] == ["scan.npy"]


def test_an_unknown_suffix_is_refused_and_names_the_known_ones(tmp_path: Path) -> None:
    with pytest.raises(UnknownFormat, match=r"\.x3p"):
        write(HeightMap([[0.0, 1.0], [2.0, 3.0]], (1e-8, 2e-8)), tmp_path / "scan.docx")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match="folder is not there"):
        write(HeightMap([[0.0, 1.0], [2.0, 3.0]], (1e-8, 2e-8)), tmp_path / "absent" / "scan.x3p")


def test_formats_are_listed_with_their_suffixes() -> None:
    listed = formats()
    assert {suffix for form in listed for suffix in form.writes} == {*WRITTEN, ".npy"}
    assert set(SUFFIXES) == {suffix for form in listed for suffix in form.suffixes}
    assert {".x3p", ".sdf", ".asc", ".csv", ".txt", ".npy", ".npz", ".tif", ".h5", ".nxs"} <= set(SUFFIXES)
    assert ".toml" not in SUFFIXES
