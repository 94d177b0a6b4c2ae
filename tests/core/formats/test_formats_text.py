"""Every dialect of text: a matrix under comments, with coordinates, with any delimiter, or points."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.errors import DamagedFile, LowreliefError, NoHeights, PixelMissing, UnitMissing
from core.formats import read
from core.heightmap import HeightMap

EXPECTED = np.array([[0.5, -1.25, 3.0], [2e-3, 5.5, -7.75]])
SAID = {"pixel": "10nm", "unit": "nm"}


def put(folder: Path, content: str | bytes, name: str = "scan.txt") -> Path:
    file = folder / name
    file.write_bytes(content.encode() if isinstance(content, str) else content)
    return file


def nanometres(scan: HeightMap) -> np.ndarray:
    return scan.z * 1e9


DIALECTS = {
    "comma": "0.5,-1.25,3\n2e-3,5.5,-7.75\n",
    "comma and blank": "0.5, -1.25, 3\n2e-3, 5.5, -7.75\n",
    "semicolon": "0.5;-1.25;3\n2e-3;5.5;-7.75\n",
    "tab": "0.5\t-1.25\t3\n2e-3\t5.5\t-7.75\n",
    "blanks": "  0.5   -1.25 3\n 2e-3  5.5  -7.75\n",
    "no last line end": "0.5 -1.25 3\n2e-3 5.5 -7.75",
    "CRLF": "0.5,-1.25,3\r\n2e-3,5.5,-7.75\r\n",
    "CR": "0.5,-1.25,3\r2e-3,5.5,-7.75\r",
    "delimiter at every line's end": "0.5,-1.25,3,\n2e-3,5.5,-7.75,\n",
    "tab at every line's end": "0.5\t-1.25\t3\t\n2e-3\t5.5\t-7.75\t\n",
    "decimal comma, semicolon": "0,5;-1,25;3\n2e-3;5,5;-7,75\n",
    "decimal comma, tab": "0,5\t-1,25\t3\n2e-3\t5,5\t-7,75\n",
    "decimal comma, blanks": "0,5 -1,25 3,0\n2e-3 5,5 -7,75\n",
    "blank lines between": "\n0.5,-1.25,3\n\n2e-3,5.5,-7.75\n\n",
    "comment #": "# a remark\n0.5,-1.25,3\n# another\n2e-3,5.5,-7.75\n",
    "comment %": "% a remark\n0.5 -1.25 3\n2e-3 5.5 -7.75\n",
    "comment //": "// a remark\n0.5 -1.25 3\n2e-3 5.5 -7.75\n",
    "comment ;": "; a remark\n0.5 -1.25 3\n2e-3 5.5 -7.75\n",
    "title line": "My best surface\n0.5 -1.25 3\n2e-3 5.5 -7.75\n",
    "quoted, decimal comma": '"0,5","-1,25","3"\n"2e-3","5,5","-7,75"\n',
    "quoted": '"0.5","-1.25","3"\n"2e-3","5.5","-7.75"\n',
    "Fortran exponent": "0.5D0 -1.25D+0 3\n2d-3 5.5 -7.75\n",
}


@pytest.mark.parametrize("content", DIALECTS.values(), ids=DIALECTS.keys())
def test_each_dialect_gives_the_same_map(tmp_path: Path, content: str) -> None:
    scan = read(put(tmp_path, content), **SAID)[0]
    np.testing.assert_allclose(nanometres(scan), EXPECTED, rtol=1e-15)
    assert scan.source.format == "text, matrix"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    content = "# Width: 3 µm\n# Height: 2 µm\n# Value units: nm\n0.5,-1.25,3\n2e-3,5.5,-7.75\n"
    scan = read(put(tmp_path, content.encode(encoding)))[0]
    np.testing.assert_allclose(nanometres(scan), EXPECTED, rtol=1e-15)
    assert scan.pitch == pytest.approx((1e-6, 1e-6), rel=1e-15)


@pytest.mark.parametrize("word", ["NaN", "nan", "--", "", "BAD", "null", "n/a", "inf", "-inf"])
def test_words_for_missing_points(tmp_path: Path, word: str) -> None:
    scan = read(put(tmp_path, f"1,{word},3\n4,5,6\n"), **SAID)[0]
    assert scan.missing == 1
    assert np.isnan(scan.z[0, 1])


def test_an_empty_first_cell_with_semicolons_is_missing_and_no_comment(tmp_path: Path) -> None:
    scan = read(put(tmp_path, ";2;3\n4;5;7\n"), **SAID)[0]
    assert scan.shape == (2, 3)
    assert np.isnan(scan.z[0, 0])


HEADERS = {
    "size": "Width: 6 µm\nHeight: 2 µm\nValue units: nm\n",
    "size in the key": "# Width (nm): 6000\n# Height (nm): 2000\n# Unit: nm\n",
    "x and y size": "# x size = 6 um\n# y size = 2 um\n# z unit = nm\n",
    "pixel": "# pixel: 1um x 2um\n# unit: nm\n",
    "pixel, unit once": "# Pixel size: 1 x 2 um\n# unit: nm\n",
    "steps": "# dx: 2 µm\n# dy: 1 µm\n# units: nm\n",
    "steps with lateral unit": "# dx = 2\n# dy = 1\n# xy unit = um\n# unit = nm\n",
    "spelled out": "# x pitch: 2 micrometres\n# y pitch: 1 micron\n# data units: nanometers\n",
    "equals and CRLF": "pixel = 1umx2um\r\nunit = [nm]\r\n",
}


@pytest.mark.parametrize("header", HEADERS.values(), ids=HEADERS.keys())
def test_headers_say_pitch_and_unit(tmp_path: Path, header: str) -> None:
    scan = read(put(tmp_path, header + "0.5,-1.25,3\n2e-3,5.5,-7.75\n"))[0]
    np.testing.assert_allclose(nanometres(scan), EXPECTED, rtol=1e-15)
    assert scan.pitch == pytest.approx((1e-6, 2e-6), rel=1e-15)


def test_a_scan_size_is_taken_where_its_order_is_clear(tmp_path: Path) -> None:
    rows = "1,2,3,4\n5,6,7,9\n"
    for size in ("4 µm x 2 µm", "2 µm x 4 µm"):  # only one order gives square pixels
        scan = read(put(tmp_path, f"# Scan size: {size}\n# unit: nm\n{rows}"))[0]
        assert scan.pitch == pytest.approx((1e-6, 1e-6), rel=1e-15)
    with pytest.raises(PixelMissing):
        read(put(tmp_path, f"# Scan size: 5 µm x 3 µm\n# unit: nm\n{rows}"))


def test_other_header_lines_are_kept_and_known_ones_brought_to_si(tmp_path: Path) -> None:
    header = (
        "# pixel: 1nm\n# unit: nm\n# Line rate: 2 Hz\n# Probe radius: 8 nm\n# Operator: A. B.\n# Direction: sideways\n"
    )
    said = read(put(tmp_path, header + "1 2\n3 5\n"))[0].metadata
    assert said == {"line_rate": 2.0, "probe_radius": 8e-9, "operator": "A. B.", "direction": "sideways"}


def test_the_missing_value_of_the_header(tmp_path: Path) -> None:
    scan = read(put(tmp_path, "# missing value: -9999\n1 -9999\n3 5\n"), **SAID)[0]
    assert scan.missing == 1


COORDINATES = {
    "corner 0": "0\t-1\t0\t1\n10\t5\t6\t7\n12\t8\t9\t11\n",
    "corner empty, comma": ",-1,0,1\n10,5,6,7\n12,8,9,11\n",
    "corner empty, semicolon": ";-1;0;1\n10;5;6;7\n12;8;9;11\n",
    "corner word": "y\\x,-1,0,1\n10,5,6,7\n12,8,9,11\n",
}


@pytest.mark.parametrize("content", COORDINATES.values(), ids=COORDINATES.keys())
def test_coordinates_around_the_matrix(tmp_path: Path, content: str) -> None:
    scan = read(put(tmp_path, "# xy unit: um\n# unit: nm\n" + content))[0]
    np.testing.assert_allclose(nanometres(scan), [[5, 6, 7], [8, 9, 11]], rtol=1e-15)
    assert scan.pitch == pytest.approx((2e-6, 1e-6), rel=1e-15)


def test_coordinates_without_a_unit_are_refused_with_their_step(tmp_path: Path) -> None:
    with pytest.raises(PixelMissing, match=r"2 apart down and 1 across.*--pixel 2\.0nmx1\.0nm"):
        read(put(tmp_path, COORDINATES["corner 0"]), unit="nm")


def test_a_tilted_plane_is_not_taken_for_coordinates(tmp_path: Path) -> None:
    i, j = np.mgrid[:4, :5]
    content = "\n".join(" ".join(str(value) for value in row) for row in (3 * i + 2 * j).tolist())
    assert read(put(tmp_path, content), **SAID)[0].shape == (4, 5)


REFUSED: dict[str, tuple[str, type[LowreliefError], str]] = {
    "prose": ("It was a fine day.\nThe mica lay on the desk.\n", NoHeights, "no table of numbers"),
    "source code": ("# a script\nimport numpy as np\nx = 1\nprint(x)\n", NoHeights, "no table of numbers"),
    "prose with numbers": ("12\nangry men\nsat down\n", NoHeights, "no height map"),
    "a list with names": ("name,value\nfilm,3.5\nglass,7.5\n", NoHeights, "no table of numbers"),
    "one column": ("1\n2\n3\n4\n", NoHeights, "profile, not a map"),
    "one row": ("1 2 3 4\n", NoHeights, "profile, not a map"),
    "position and height": ("x (mm)\tz (nm)\n0\t1\n1\t2\n2\t0\n3\t5\n", NoHeights, "profile, not a map"),
    "position and two heights": ("x (mm),a (nm),b (nm)\n0,1,5\n1,2,3\n2,0,4\n", NoHeights, "profile, not a map"),
    "bare position and height": ("0 5\n1 7\n2 6\n3 9\n4 1\n", NoHeights, "profile, not a map"),
    "ragged": ("1 2 3\n4 5 6\n7 8\n", DamagedFile, "line 3"),
    "ragged under a header": ("# pixel: 1nm\n\n1 2 3\n4 5 6 7\n", DamagedFile, "line 4"),
    "a word inside": ("1,2,3\n4,five,6\n7,8,9\n", DamagedFile, "“five”.*line 2"),
    "nothing measured": ("nan nan\nnan nan\n", NoHeights, "Nothing was measured"),
    "fewer rows than said": ("# rows: 3\n1 2\n3 4\n", DamagedFile, "3 × 2 points and 2 × 2"),
    "blank": (" \n\t\n", LowreliefError, "."),
}


@pytest.mark.parametrize(("content", "error", "words"), REFUSED.values(), ids=REFUSED.keys())
def test_each_refusal_says_why(tmp_path: Path, content: str, error: type[LowreliefError], words: str) -> None:
    with pytest.raises(error, match=words):
        read(put(tmp_path, content), **SAID)


def test_missing_pixel_and_unit_say_the_very_flags(tmp_path: Path) -> None:
    file = put(tmp_path, "1 2\n3 5\n", "scan.csv")
    with pytest.raises(PixelMissing, match=r"--pixel 9\.8nm --unit nm.*scan\.csv\.toml"):
        read(file)
    with pytest.raises(PixelMissing, match=r"--pixel 9\.8nm,"):
        read(file, unit="nm")
    with pytest.raises(UnitMissing, match=r'--unit nm.*unit = "nm" in scan\.csv\.toml'):
        read(file, pixel="9.8nm")


def test_heights_in_volts_are_no_heights(tmp_path: Path) -> None:
    with pytest.raises(NoHeights, match="in V"):
        read(put(tmp_path, "# pixel: 1nm\n# unit: V\n1 2\n3 5\n"))


@given(
    rows=st.integers(2, 5),
    columns=st.integers(2, 5),
    delimiter=st.sampled_from([",", ";", "\t", "  "]),
    comma=st.booleans(),
    seed=st.integers(0, 10**6),
)
@settings(max_examples=60, deadline=None)
def test_any_table_of_printed_numbers_is_read_as_it_stands(
    tmp_path_factory: pytest.TempPathFactory, rows: int, columns: int, delimiter: str, comma: bool, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    values = rng.normal(size=(rows, columns)).round(3) + 0.0005
    lines = [delimiter.join(repr(value) for value in row) for row in values.tolist()]
    content = "\n".join(lines)
    if comma and delimiter != ",":
        content = content.replace(".", ",")
    file = put(tmp_path_factory.mktemp("table"), "# pixel: 1 nm\n# unit: m\n" + content)
    np.testing.assert_array_equal(read(file)[0].z, values)


@pytest.mark.long
def test_a_large_matrix_takes_a_few_passes_of_the_builtin_conversion(tmp_path: Path) -> None:
    """As a ratio inside one run: reading costs at most four times splitting and converting the same text."""
    values = np.random.default_rng(1).normal(size=(1024, 1024))
    content = "\n".join(" ".join(map(repr, row)) for row in values.tolist())
    file = put(tmp_path, content)

    def once() -> None:
        np.array(list(map(float, file.read_text().split())))

    def best(work: object) -> float:
        times = []
        for _ in range(3):
            start = time.perf_counter()
            work()  # type: ignore[operator]
            times.append(time.perf_counter() - start)
        return min(times)

    assert best(lambda: read(file, **SAID)) < 4 * best(once)


BARE = "0 0.0 0.001 0.002\n0.0 1e-9 2e-9 3e-9\n0.002 2e-9 1e-9 0\n0.004 0 1e-9 5e-9\n"


def test_bare_coordinates_are_metres_only_beside_heights_in_metres(tmp_path: Path) -> None:
    file = tmp_path / "matrix.txt"
    file.write_text(BARE)
    scan = read(file, unit="m")[0]
    assert scan.pitch == pytest.approx((2e-3, 1e-3))
    assert "metres" in scan.metadata["assumed"]
    with pytest.raises(PixelMissing) as asked:
        read(file, unit="nm")
    assert "0.002nmx0.001nm" in asked.value.fix


def test_a_bare_pixel_size_in_the_header_is_never_taken_for_metres(tmp_path: Path) -> None:
    file = tmp_path / "matrix.txt"
    file.write_text("# pixel size = 5\n1e-9 2e-9\n2e-9 1e-9\n")
    with pytest.raises(PixelMissing):
        read(file, unit="m")
