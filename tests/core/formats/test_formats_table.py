"""Formats × variants × the heights that must come out: every file is written by this test's own hand, not by ours.

Where two variants say the same map in two ways, the very same map must come out.
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
import tifffile

from core.errors import DamagedFile, LowreliefError, MapError, NoHeights, PixelMissing, UnknownFormat
from core.formats import read, write
from core.heightmap import HeightMap

COUNTS = np.array([[1, -2, 3, 14], [40, 5, -6, 7], [8, 9, 10, -11]])
"""Heights in nanometres; rows and columns differ in number, and no value comes twice."""

DY, DX = 2e-9, 5e-9


def expect(path: Path, heights: np.ndarray = COUNTS, *, rtol: float = 1e-12, **said: Any) -> HeightMap:
    """The map in nm, to the rounding of one multiplication or two; NaN only where it should be."""
    scan = read(path, **said)[0]
    np.testing.assert_allclose(scan.z, np.asarray(heights, float) * 1e-9, rtol=rtol, atol=1e-24)
    assert scan.pitch == pytest.approx((DY, DX), rel=1e-9)
    return scan


# SDF, ISO 25178-71

SDF_TYPES = {1: "u2", 2: "u4", 3: "f4", 4: "i1", 5: "i2", 6: "i4", 7: "f8"}
SDF_MISSING = {4: -(2**7), 5: -(2**15), 6: -(2**31), 3: np.finfo("f4").max, 7: np.finfo("f8").max}


def sdf(counts: np.ndarray, kind: int, order: str = "<", **other: Any) -> bytes:
    rows, columns = counts.shape
    head = struct.pack(f"{order}8s10s12s12s", b"bISO-1.0", b"by hand", b"0" * 12, b"0" * 12)
    head += struct.pack(f"{order}HHdddd", columns, rows, DX, DY, other.get("z", 1e-9), -1.0)
    head += struct.pack("bbb", other.get("packed", 0), kind, 0)
    return head + counts.astype(f"{order}{SDF_TYPES[kind]}").tobytes()


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("kind", SDF_TYPES)
def test_sdf_types_and_byte_orders(tmp_path: Path, kind: int, order: str) -> None:
    counts = np.abs(COUNTS) if SDF_TYPES[kind].startswith("u") else COUNTS
    (tmp_path / "map.sdf").write_bytes(sdf(counts, kind, order))
    scan = expect(tmp_path / "map.sdf", counts)
    assert ("byte_order" in scan.metadata) is (order == ">")


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("kind", SDF_MISSING)
def test_sdf_missing_codes(tmp_path: Path, kind: int, order: str) -> None:
    counts = COUNTS.astype(float)
    counts[1, 2] = SDF_MISSING[kind]
    (tmp_path / "map.sdf").write_bytes(sdf(counts, kind, order))
    gaps = COUNTS.astype(float)
    gaps[1, 2] = np.nan
    expect(tmp_path / "map.sdf", gaps)


@pytest.mark.parametrize("cut", [1, 40, 81])
@pytest.mark.parametrize("order", ["<", ">"])
def test_sdf_cut_short_is_refused_in_either_order(tmp_path: Path, order: str, cut: int) -> None:
    (tmp_path / "map.sdf").write_bytes(sdf(COUNTS, 6, order)[:-cut])
    with pytest.raises(DamagedFile):
        read(tmp_path / "map.sdf")


@pytest.mark.parametrize("z", [-1e-9, 0.0, float("nan"), float("inf")])
def test_sdf_scales_that_are_none(tmp_path: Path, z: float) -> None:
    (tmp_path / "map.sdf").write_bytes(sdf(COUNTS, 6, z=z))
    with pytest.raises(DamagedFile, match="Zscale"):
        read(tmp_path / "map.sdf")


def test_sdf_written_reads_back_to_the_last_bit_and_by_hand(tmp_path: Path) -> None:
    heights = np.random.default_rng(2).normal(size=(5, 7)) * 1e-9
    heights[2, 3] = np.nan
    scan = HeightMap(heights, (DY, DX), name="map")
    write(scan, tmp_path / "map.sdf")
    again = read(tmp_path / "map.sdf")[0]
    np.testing.assert_array_equal(again.z, heights)
    assert again.pitch == scan.pitch
    raw = (tmp_path / "map.sdf").read_bytes()
    assert struct.unpack_from("<HHdd", raw, 42) == (7, 5, DX, DY)
    np.testing.assert_array_equal(np.frombuffer(raw, "<f8", offset=81)[:3], heights[0, :3])


def test_sdf_has_no_room_for_more_than_its_header_can_say(tmp_path: Path) -> None:
    with pytest.raises(MapError, match="65535"):
        write(HeightMap(np.zeros((2, 65_536)), (DY, DX)), tmp_path / "map.sdf")
    assert not list(tmp_path.iterdir())


# HDF5: NXdata and CF

Fill = Callable[[Any], None]


def nexus(path: Path, fill: Fill, *, z: np.ndarray = COUNTS, axes: tuple[str, str] = ("y", "x")) -> Path:
    """An NXdata group with its signal and axes in nm; `fill` adds what is special."""
    with h5py.File(path, "w") as file:
        group = file.create_group("entry/data")
        group.attrs.update({"NX_class": "NXdata", "signal": "z", "axes": list(axes)})
        group["z"] = z
        group["z"].attrs["units"] = "nm"
        for name, step, count in (("y", 2.0, 3), ("x", 5.0, 4)):
            group[name] = np.arange(count) * step
            group[name].attrs["units"] = "nm"
        fill(group)
    return path


def put(**fields: Any) -> Fill:
    """Fields beside the signal."""
    return lambda group: [group.create_dataset(name, data=value) for name, value in fields.items()] and None


def say(**attributes: Any) -> Fill:
    """Attributes of the signal."""
    return lambda group: group["z"].attrs.update(attributes)


SCALED = {
    "plain": (COUNTS, put()),
    "errors": (COUNTS, put(z_errors=np.ones((3, 4)))),
    "older errors": (COUNTS, put(errors=np.ones((3, 4)))),
    "scaled": (COUNTS * 4, put(z_scaling_factor=0.25)),
    "shifted": (COUNTS + 100, put(z_offset=-100.0)),
    "shifted, then scaled": (COUNTS * 4 + 100, put(z_offset=-100.0, z_scaling_factor=[0.25])),
    "older names": (COUNTS * 4 + 100, put(offset=-100.0, scaling_factor=0.25)),
    "CF": (COUNTS * 4 - 8, say(scale_factor=0.25, add_offset=2.0)),
    "CF in single precision": (COUNTS * 4, say(scale_factor=np.float32(0.25))),
    "big-endian": (COUNTS.astype(">i2"), put()),
    "half precision": (COUNTS.astype("f2"), put()),
    "unsigned": ((COUNTS + 100).astype("u1"), put(z_offset=-100)),
}


@pytest.mark.parametrize("variant", SCALED)
def test_nexus_scaling(tmp_path: Path, variant: str) -> None:
    z, fill = SCALED[variant]
    scan = expect(nexus(tmp_path / "map.nxs", fill, z=z))
    assert scan.source.channels == ("entry/data/z",)


MISSING = {
    "fill value": (COUNTS, say(_FillValue=-6)),
    "missing value": (COUNTS, say(missing_value=-6)),
    "fill value of scaled numbers is as stored": (COUNTS * 2, say(_FillValue=-12, scale_factor=0.5)),
    "pixel mask": (COUNTS, put(pixel_mask=(COUNTS == -6).astype("u4") * 16)),
    "mask of its name": (COUNTS, put(z_mask=(COUNTS == -6).astype("i1"))),
    "not a number": (np.where(COUNTS == -6, np.nan, COUNTS), put()),
    "infinite": (np.where(COUNTS == -6, -np.inf, COUNTS), put()),
}


@pytest.mark.parametrize("variant", MISSING)
def test_nexus_missing_points(tmp_path: Path, variant: str) -> None:
    z, fill = MISSING[variant]
    scan = expect(nexus(tmp_path / "map.nxs", fill, z=z), np.where(COUNTS == -6, np.nan, COUNTS))
    assert scan.source.channels == ("entry/data/z",)


@pytest.mark.parametrize("factor", [0.0, np.nan, np.inf])
def test_a_scaling_factor_that_is_none(tmp_path: Path, factor: float) -> None:
    with pytest.raises(DamagedFile, match="scaled by"):
        read(nexus(tmp_path / "map.nxs", put(z_scaling_factor=factor)))


@pytest.mark.parametrize("unit", ["pm", "nm", "um", "µm", "mm", "m", "angstrom"])
def test_axes_in_any_unit(tmp_path: Path, unit: str) -> None:
    per = {"pm": 1e-12, "nm": 1e-9, "um": 1e-6, "µm": 1e-6, "mm": 1e-3, "m": 1.0, "angstrom": 1e-10}[unit]

    def fill(group: Any) -> None:
        for name, step, count in (("y", DY, 3), ("x", DX, 4)):
            group[name][:] = (np.arange(count) * step + 3 * step) / per
            group[name].attrs["units"] = unit

    expect(nexus(tmp_path / "map.nxs", fill))


def test_an_array_whose_first_direction_is_x_is_turned(tmp_path: Path) -> None:
    expect(nexus(tmp_path / "map.nxs", put(), z=COUNTS.T, axes=("x", "y")))


def test_falling_axes_have_the_same_pitch(tmp_path: Path) -> None:
    def fill(group: Any) -> None:
        group["y"][:] = group["y"][:][::-1]

    expect(nexus(tmp_path / "map.nxs", fill))


def test_a_mask_behind_a_link_to_another_file_is_not_opened(tmp_path: Path) -> None:
    with h5py.File(tmp_path / "other.h5", "w") as other:
        other["mask"] = np.ones((3, 4), "u1")

    def fill(group: Any) -> None:
        group["pixel_mask"] = h5py.ExternalLink("other.h5", "/mask")
        group["z_scaling_factor"] = h5py.ExternalLink("other.h5", "/mask")

    expect(nexus(tmp_path / "map.nxs", fill))


def test_chunks_larger_than_all_memory_are_refused(tmp_path: Path) -> None:
    with h5py.File(tmp_path / "map.h5", "w") as file:
        data = file.create_dataset(
            "z", (2**17, 2**17), "f4", chunks=(2**13, 2**15), maxshape=(None, None), compression="gzip"
        )
        data.attrs.update({"unit": "nm", "pixel": "1 nm"})
    with pytest.raises(LowreliefError):
        read(tmp_path / "map.h5")


# TIFF


def tiff(path: Path, z: np.ndarray, **options: Any) -> Path:
    tifffile.imwrite(path, z, photometric="minisblack", metadata=None, **options)
    return path


FINE = {"resolution": (1e-2 / DX, 1e-2 / DY), "resolutionunit": 3}


@pytest.mark.parametrize("bigtiff", [False, True])
@pytest.mark.parametrize("compression", [None, "zlib", "lzma", "zstd"])
@pytest.mark.parametrize("tile", [None, (16, 16)])
@pytest.mark.parametrize("order", ["<", ">"])
def test_tiff_tiles_compressions_and_sizes(
    tmp_path: Path, bigtiff: bool, compression: str | None, tile: tuple[int, int] | None, order: str
) -> None:
    z = np.tile(COUNTS, (7, 6)).astype("f4")
    try:
        path = tiff(
            tmp_path / "map.tif", z, bigtiff=bigtiff, compression=compression, tile=tile, byteorder=order, **FINE
        )
    except (KeyError, ImportError, ValueError) as error:
        pytest.skip(f"this machine cannot write it: {error}")
    expect(path, z, unit="nm")


def by_hand(order: str, compression: int, strips: list[bytes], *, predictor: int = 1) -> bytes:
    """A TIFF of 16-bit integers, 4 wide, one row a strip."""
    entries = [
        (256, 3, 1, 4), (257, 3, 1, len(strips)), (258, 3, 1, 16), (259, 3, 1, compression), (262, 3, 1, 1),
        (273, 4, len(strips), None), (277, 3, 1, 1), (278, 3, 1, 1), (279, 4, len(strips), None),
        (317, 3, 1, predictor),        (339, 3, 1, 2),
    ]  # fmt: skip
    size = 8 + 2 + 12 * len(entries) + 4
    places = size + 8 * len(strips)
    out = io.BytesIO()
    out.write((b"II*\0" if order == "<" else b"MM\0*") + struct.pack(order + "I", 8))
    out.write(struct.pack(order + "H", len(entries)))
    for tag, kind, count, value in entries:
        out.write(struct.pack(order + "HHI", tag, kind, count))
        if value is None:
            out.write(struct.pack(order + "I", size + (4 * len(strips) if tag == 279 else 0)))
        else:
            out.write(struct.pack(order + "HH", value, 0))
    out.write(struct.pack(order + "I", 0))
    for strip in strips:
        out.write(struct.pack(order + "I", places))
        places += len(strip)
    out.write(struct.pack(f"{order}{len(strips)}I", *map(len, strips)))
    return out.getvalue() + b"".join(strips)


def packbits(data: bytes) -> bytes:
    """Runs of literal bytes: the plainest that the method allows."""
    return b"".join(bytes([len(data[k : k + 128]) - 1]) + data[k : k + 128] for k in range(0, len(data), 128))


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("way", ["plain", "deflate", "old deflate", "packbits", "differences"])
def test_tiff_by_hand(tmp_path: Path, order: str, way: str) -> None:
    rows = [row.astype(f"{order}i2") for row in COUNTS]
    if way == "differences":
        rows = [np.diff(row, prepend=0).astype(f"{order}i2") for row in COUNTS]
    pack = {"plain": bytes, "packbits": packbits}.get(way, zlib.compress)
    number = {"plain": 1, "deflate": 8, "old deflate": 32946, "packbits": 32773, "differences": 8}[way]
    predictor = 2 if way == "differences" else 1
    data = by_hand(order, number, [pack(row.tobytes()) for row in rows], predictor=predictor)
    (tmp_path / "map.tif").write_bytes(data)
    expect(tmp_path / "map.tif", pixel="2nmx5nm", unit="nm")


@pytest.mark.parametrize(("number", "predictor"), [(5, 1), (7, 1), (34712, 1), (50001, 1), (8, 3)])
def test_tiff_compressions_that_need_more_than_is_installed_are_named(
    tmp_path: Path, number: int, predictor: int
) -> None:
    strips = [zlib.compress(row.astype("<i2").tobytes()) for row in COUNTS]
    (tmp_path / "map.tif").write_bytes(by_hand("<", number, strips, predictor=predictor))
    with pytest.raises((UnknownFormat, DamagedFile, NoHeights)):
        read(tmp_path / "map.tif", pixel="1nm", unit="nm")


@pytest.mark.parametrize("axes", ["YX", "CYX", "ZYX"])
def test_tiff_ome_calibration_in_other_units(tmp_path: Path, axes: str) -> None:
    z = COUNTS.astype("f4") if axes == "YX" else np.stack([COUNTS, COUNTS + 1]).astype("f4")
    said = {"axes": axes, "PhysicalSizeX": 5.0, "PhysicalSizeXUnit": "nm", "PhysicalSizeY": 0.002}
    tifffile.imwrite(tmp_path / "map.ome.tif", z, ome=True, metadata=said, photometric="minisblack")
    scan = expect(tmp_path / "map.ome.tif", unit="nm")
    assert len(scan.source.channels) == (1 if axes == "YX" else 2)


# XYZ clouds: gridded only by the stated rule

SIDE = 12


def cloud(*, turned: float = 0.0, jitter: float = 0.0, seed: int = 1) -> np.ndarray:
    rng = np.random.default_rng(seed)
    rows, columns = np.indices((SIDE, SIDE + 2))
    x, y = columns.ravel() * 5.0, rows.ravel() * 2.0
    x, y = x + rng.uniform(-1, 1, x.size) * jitter * 5.0, y + rng.uniform(-1, 1, y.size) * jitter * 2.0
    angle = np.radians(turned)
    return np.c_[x * np.cos(angle) - y * np.sin(angle), x * np.sin(angle) + y * np.cos(angle), np.arange(x.size) * 1.0]


def printed(points: np.ndarray) -> str:
    return "x_nm,y_nm,z_nm\n" + "".join(f"{x:.9g},{y:.9g},{z:.9g}\n" for x, y, z in points)


def test_clouds_regular_jittered_with_holes_and_unordered_agree(tmp_path: Path) -> None:
    whole = np.arange(SIDE * (SIDE + 2)).reshape(SIDE, SIDE + 2) * 1.0
    shuffled = np.random.default_rng(3).permutation(cloud())
    for name, points in {"regular": cloud(), "jittered": cloud(jitter=0.1), "unordered": shuffled}.items():
        (tmp_path / f"{name}.csv").write_text(printed(points), encoding="utf-8")
        scan = read(tmp_path / f"{name}.csv")[0]
        np.testing.assert_allclose(scan.z, whole * 1e-9, rtol=1e-12)
        # the least-squares step of 12 lines jittered by 10 % of a step: 0.1/√3/√(12³/12)/√14 ≈ 0.1 %, five of it
        assert scan.pitch == pytest.approx((DY, DX), rel=5e-3 if name == "jittered" else 1e-9)
        assert ("lattice" in scan.metadata) is (name == "jittered")
    (tmp_path / "holes.csv").write_text(printed(np.delete(cloud(), [3, 40, 77], axis=0)), encoding="utf-8")
    scan = read(tmp_path / "holes.csv")[0]
    assert np.flatnonzero(np.isnan(scan.z)).tolist() == [3, 40, 77]


@pytest.mark.parametrize("points", [cloud(turned=10.0), cloud(turned=45.0), cloud(jitter=0.45)])
def test_clouds_that_are_no_lattice_along_their_axes_are_refused(tmp_path: Path, points: np.ndarray) -> None:
    (tmp_path / "cloud.csv").write_text(printed(points), encoding="utf-8")
    with pytest.raises(NoHeights, match="regular lattice"):
        read(tmp_path / "cloud.csv")


# One map said in many ways

NAMES = [
    "map",
    "map.tar",
    "…",
    "a" * 200,
    "-rf",
    "~",
    "%s%n",
    "=1+1",
    "con",
    "müll\u202etxt",
    "a\nb",
    "'; --",
    "\udc80",
]


@pytest.mark.parametrize("name", NAMES)
def test_names_from_hell(tmp_path: Path, name: str) -> None:
    for suffix in (".npy", ".x3p", ".h5", ".tif", ".sdf", ".txt"):
        path = tmp_path / f"{name}{suffix}"
        try:
            path.touch()
        except (OSError, UnicodeError):
            pytest.skip("this system has no such names")
        path.unlink()
        write(HeightMap(COUNTS * 1e-9, (DY, DX)), path)
        expect(path, pixel="2nmx5nm", unit="m")


@pytest.mark.parametrize("value", [1e300, -1e300, 5e-324, np.inf, -np.inf, np.nan])
@pytest.mark.parametrize("suffix", [".npy", ".x3p", ".h5", ".tif", ".sdf", ".txt", ".npz"])
def test_numbers_from_hell(tmp_path: Path, suffix: str, value: float) -> None:
    """Finite numbers come back as they are or, where a unit makes too much of them, as missing, as others do."""
    heights = COUNTS * 1.0
    heights[1, 1] = value
    write(HeightMap(heights, (DY, DX)), tmp_path / f"map{suffix}")
    for unit in ("m", "km"):
        try:
            scan = read(tmp_path / f"map{suffix}", pixel="1nm", unit=unit)[0]
        except LowreliefError:
            assert unit == "km"
            continue
        assert not np.isinf(scan.z).any()
        assert np.isnan(scan.z[1, 1]) or scan.z[1, 1] == value


@pytest.mark.parametrize("pixel", ["-1nm", "0nm", "nan nm", "inf nm", "1e400 m", "1e999999999999999999999 nm", ""])
def test_pixels_from_hell(tmp_path: Path, pixel: str) -> None:
    np.save(tmp_path / "map.npy", COUNTS)
    with pytest.raises(LowreliefError):
        read(tmp_path / "map.npy", pixel=pixel, unit="nm")
    with pytest.raises(PixelMissing):
        read(tmp_path / "map.npy", unit="nm")
