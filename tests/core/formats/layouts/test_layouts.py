"""Files of an invented instrument, written here byte by byte, read by a layout."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.errors import DamagedFile, LayoutError, LowreliefError, UnknownFormat
from core.formats import read
from core.formats.layouts import After, Layout, guess, load_folder, read_channels
from core.gather import gather
from core.synthetic import gaussian_texture

HEADER = (
    "MOLEHILL 3\r\nSamples per line: {columns}\r\nLines: {rows}\r\nScan size: {width} um x {height} um\r\n"
    "Z scale: 0.02 nm/count\r\nData at: {at}\r\nRate: 1.5 Hz\r\nOperator: A. B.\r\n"
)
AT = 512


def file_of(
    path: Path,
    counts: np.ndarray,
    dtype: str,
    *,
    width: float = 1.2,
    height: float = 0.5,
    more: tuple[np.ndarray, ...] = (),
) -> Path:
    rows, columns = counts.shape
    header = HEADER.format(columns=columns, rows=rows, width=width, height=height, at=AT).encode()
    blocks = [block.astype(dtype).tobytes() for block in (counts, *more)]
    path.write_bytes(header.ljust(AT, b"\x1a") + b"".join(blocks))
    return path


@pytest.fixture
def counts() -> np.ndarray:
    return np.random.default_rng(2).integers(-3000, 3000, (20, 30))


LAYOUT = Layout(
    name="molehill",
    files=("*.mole",),
    starts="MOLEHILL",
    type="int16",
    order="little",
    at=After("Data at:"),
    columns=After("Samples per line:"),
    rows=After("Lines:"),
    gain=After("Z scale:"),
    width=After("Scan size:"),
    height=After("um x"),
    metadata={"line_rate": After("Rate:"), "operator": After("Operator:")},
)


@pytest.mark.parametrize(("dtype", "kind", "order"), [
    ("<i2", "int16", "little"), (">i2", "int16", "big"), ("<i4", "int32", "little"), (">i4", "int32", "big"),
    ("<i8", "int64", "little"), ("<f4", "float32", "little"), (">f4", "float32", "big"), (">f8", "float64", "big"),
])  # fmt: skip
def test_every_type_and_order(tmp_path: Path, counts: np.ndarray, dtype: str, kind: str, order: str) -> None:
    from dataclasses import replace

    scan = read(file_of(tmp_path / "a.mole", counts, dtype), layouts=[replace(LAYOUT, type=kind, order=order)])[0]
    assert scan.z == pytest.approx(counts * 0.02e-9, rel=1e-12, abs=1e-25)
    assert scan.pitch == pytest.approx((0.5e-6 / 20, 1.2e-6 / 30), rel=1e-12)
    assert scan.metadata["line_rate"] == 1.5
    assert scan.metadata["operator"] == "A. B."
    assert scan.source.format == "layout, molehill"


def test_order_of_lines_and_points(tmp_path: Path, counts: np.ndarray) -> None:
    from dataclasses import replace

    path = file_of(tmp_path / "a.mole", counts, "<i2")
    plain = read_channels(path, LAYOUT)[0].z
    assert (read_channels(path, replace(LAYOUT, first="bottom"))[0].z == plain[::-1]).all()
    assert (read_channels(path, replace(LAYOUT, mirrored=True))[0].z == plain[:, ::-1]).all()
    assert (read_channels(path, replace(LAYOUT, along="columns"))[0].z == plain.T).all()


def test_trace_and_retrace_are_two_channels(tmp_path: Path, counts: np.ndarray) -> None:
    from core.formats.layouts import ChannelLayout

    back = counts[:, ::-1] + 1
    path = file_of(tmp_path / "a.mole", counts, "<i2", more=(back,))
    further = '[[channels]]\nname = "back"\ndirection = "retrace"\nmirrored = true\n\n[metadata]'
    told = Layout.from_toml(LAYOUT.to_toml().replace("[metadata]", further))
    assert told.channels == (ChannelLayout(name="back", direction="retrace", mirrored=True),)
    first, second = read(path, layouts=[told])
    assert second.z - first.z == pytest.approx(0.02e-9, rel=1e-9)
    assert second.metadata["direction"] == "retrace"
    assert read(path, channel="back", layouts=[told])[0].source.channel == "back"


def test_missing_counts_zero_and_the_end_of_the_file(tmp_path: Path, counts: np.ndarray) -> None:
    counts[3, 4] = -32768
    path = tmp_path / "b.raw"
    path.write_bytes(b"junk that nobody knows" + counts.astype(">i2").tobytes())
    layout = Layout(
        name="raw", files=("*.raw",), type="int16", order="big", at="end", columns=30, rows=20, gain=2.0, zero=100,
        unit="A", missing=(-32768.0,), across="5 nm", down="0.01 um",
    )  # fmt: skip
    scan = read(path, layouts=[layout])[0]
    assert scan.missing == 1 and np.isnan(scan.z[3, 4])
    assert scan.z[0, 0] == pytest.approx((counts[0, 0] - 100) * 2e-10)
    assert scan.pitch == (1e-8, 5e-9)


def test_numbers_as_text_with_a_decimal_comma(tmp_path: Path) -> None:
    path = tmp_path / "t.lst"
    path.write_text("list of heights\nHEIGHTS\n1,5; 2,5; 3,5\n--; 5,5; 6,5\n")
    layout = Layout(
        name="list", files=("*.lst",), type="text", decimal=",", at=After("HEIGHTS"), place=True, columns=3,
        unit="nm", across="10 nm",
    )  # fmt: skip
    scan = read(path, layouts=[layout])[0]
    assert scan.shape == (2, 3) and scan.missing == 1
    assert scan.z[1, 2] == pytest.approx(6.5e-9)


def test_a_folder_takes_files_that_a_layout_knows(tmp_path: Path, counts: np.ndarray) -> None:
    file_of(tmp_path / "mica spot 1.mole", counts, "<i2")
    (tmp_path / "letter.doc").write_text("hello")
    assert not gather([tmp_path]).scans
    bench = gather([tmp_path], layouts=[LAYOUT])
    assert [scan.specimen for scan in bench.scans] == ["mica"]


def test_without_the_layout_such_a_file_is_unknown(tmp_path: Path, counts: np.ndarray) -> None:
    with pytest.raises(UnknownFormat):
        read(file_of(tmp_path / "a.mole", counts, "<i2"))


@pytest.mark.parametrize(("change", "said"), [
    ({"columns": After("Punkte:")}, "there is no “Punkte:”"),
    ({"rows": 4000}, "cut short"),
    ({"rows": 10**8}, "more than"),
    ({"columns": 0}, "0 points"),
    ({"at": 10**9}, "cut short"),
    ({"gain": After("MOLE")}, "is no number"),
    ({"width": After("Lines:")}, "no unit of length"),
])  # fmt: skip
def test_what_does_not_fit_is_refused_with_the_reason(
    tmp_path: Path, counts: np.ndarray, change: dict[str, object], said: str
) -> None:
    from dataclasses import replace

    with pytest.raises(DamagedFile, match=said):
        read(file_of(tmp_path / "a.mole", counts, "<i2"), layouts=[replace(LAYOUT, **change)])


def test_layouts_travel_as_toml() -> None:
    assert Layout.from_toml(LAYOUT.to_toml()) == LAYOUT
    for broken, said in [
        ("name = 'a'", "another schema"),
        ("schema = 1", "has no name"),
        ("schema = 1\nname = 'a'\ncolour = 'red'", "no entry “colour”"),
        ("schema = 1\nname = 'a'\ntype = 'int7'", "type = 'int7'"),
        ("schema = 1\nname = 'a'\ncolumns = { before = 'x' }", "unknown entries: before"),
        ("schema = 1\nname = 'a'\nunit = 'furlong'", "unit of length"),
        ("schema = ", "not valid TOML"),
    ]:
        with pytest.raises(LowreliefError, match=said):
            Layout.from_toml(broken)


def test_a_folder_of_layouts_keeps_the_good_ones(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(LAYOUT.to_toml())
    (tmp_path / "b.toml").write_text("nonsense")
    (tmp_path / "c.toml").write_bytes(b"\xff\xfe\x00")
    found, broken = load_folder(tmp_path)
    assert found == [LAYOUT]
    assert [file.name for file, error in broken if isinstance(error, LayoutError)] == ["b.toml", "c.toml"]


@settings(deadline=None, max_examples=150)
@given(data=st.data())
def test_any_layout_on_any_bytes_gives_channels_or_a_refusal(data: st.DataObject, tmp_path_factory) -> None:
    said = st.integers(-5, 10**12) | st.builds(After, st.sampled_from(["a", "Lines:", "\x00"]), st.integers(1, 3))
    layout = Layout(
        name="any",
        type=data.draw(st.sampled_from(["int8", "int16", "float32", "float64", "text"])),
        at=data.draw(said | st.just("end")),
        columns=data.draw(said),
        rows=data.draw(said | st.just("rest")),
        gain=data.draw(said | st.floats(allow_nan=False)),
        across=data.draw(st.none() | st.just("1 nm") | said),
    )
    path = tmp_path_factory.mktemp("any") / "any.bin"
    path.write_bytes(data.draw(st.binary(max_size=400) | st.just(b"Lines: 3\na 4 nm" + bytes(100))))
    try:
        for channel in read_channels(path, layout):
            assert channel.z.size <= 400
    except LowreliefError:
        pass


@pytest.mark.parametrize("shape", [(96, 96), (80, 120)])
@pytest.mark.parametrize("dtype", ["<i2", ">i2", "<i4", "<f4", ">f8", "|u1"])
def test_the_guess_finds_type_order_and_width(tmp_path: Path, shape: tuple[int, int], dtype: str) -> None:
    rng = np.random.default_rng(5)
    z = gaussian_texture(shape, (1e-8, 1e-8), sq=1.0, length=5e-8, rng=rng)
    kind = np.dtype(dtype)
    scaled = z if kind.kind == "f" else np.round(z * (20 if kind.itemsize == 1 else 500) + 128 * (kind.itemsize == 1))
    path = file_of(tmp_path / "a.bin", scaled, dtype)
    found = guess(path)
    assert found is not None and found.likeness > 0.5
    assert (found.layout.dtype, found.layout.columns) == (kind, shape[1])
    read_rows = found.layout.rows
    assert abs(read_rows - shape[0]) <= 1  # a header of equal signs may look like a flat line
    assert (read_channels(path, found.layout)[0].z[-shape[0] :] == scaled.astype(kind)[-read_rows:]).all()


def test_nothing_can_be_guessed_from_nothing(tmp_path: Path) -> None:
    (tmp_path / "a.bin").write_bytes(b"")
    (tmp_path / "b.bin").write_bytes(bytes(10_000))
    assert guess(tmp_path / "a.bin") is None
    assert guess(tmp_path / "b.bin") is None
