"""TIFF: number types, the places where pitch and unit may stand, pages as channels, colours refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tifffile

from core.errors import DamagedFile, NoHeights, PixelMissing, UnitMissing
from core.formats import read

Z = np.array([[1, 2, 3], [40, 5, 6]])
SAID = {"pixel": "1nm", "unit": "nm"}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "scan.tif"


@pytest.mark.parametrize("dtype", ["u1", "u2", "i2", "u4", "i4", "f2", "f4", "f8"])
@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize("bigtiff", [False, True])
def test_number_types(path: Path, dtype: str, byteorder: str, bigtiff: bool) -> None:
    tifffile.imwrite(path, Z.astype(dtype), byteorder=byteorder, bigtiff=bigtiff)
    np.testing.assert_allclose(read(path, **SAID)[0].z, Z * 1e-9, rtol=1e-15)


def test_a_plain_picture_says_neither_pitch_nor_unit(path: Path) -> None:
    tifffile.imwrite(path, Z.astype("f4"))
    with pytest.raises(PixelMissing, match=r"--pixel 9\.8nm --unit nm"):
        read(path)


def test_resolution_tags_of_a_microscope(path: Path) -> None:
    tifffile.imwrite(path, Z.astype("f4"), resolution=(1e6, 5e5), resolutionunit="CENTIMETER")
    with pytest.raises(UnitMissing):
        read(path)
    assert read(path, unit="nm")[0].pitch == pytest.approx((2e-8, 1e-8), rel=1e-9)


@pytest.mark.parametrize(
    ("resolution", "unit"), [((72, 72), "INCH"), ((300, 300), "INCH"), ((118, 118), "CENTIMETER"), ((5, 5), "NONE")]
)
def test_resolution_tags_of_a_printer_say_nothing(path: Path, resolution: tuple[int, int], unit: str) -> None:
    tifffile.imwrite(path, Z.astype("f4"), resolution=resolution, resolutionunit=unit)
    with pytest.raises(PixelMissing):
        read(path, unit="nm")


@pytest.mark.parametrize("unit", ["um", "\\u00B5m", "micron"])
def test_unit_in_lines_of_keys(path: Path, unit: str) -> None:
    tifffile.imwrite(path, Z.astype("f4"), imagej=True, resolution=(50, 25), metadata={"unit": unit})
    scan = read(path, unit="nm")[0]
    assert scan.pitch == pytest.approx((1 / 25 * 1e-6, 1 / 50 * 1e-6), rel=1e-9)
    with pytest.raises(UnitMissing):
        read(path)


def test_ome_physical_size_and_channel_names(path: Path) -> None:
    stack = np.stack([Z, Z * 2]).astype("f4")
    said = {
        "axes": "CYX",
        "PhysicalSizeX": 20.0,
        "PhysicalSizeXUnit": "nm",
        "PhysicalSizeY": 0.01,
        "Channel": {"Name": ["phase", "height"]},
    }
    file = path.with_name("scan.ome.tif")
    tifffile.imwrite(file, stack, photometric="minisblack", metadata=said)
    scan = read(file, unit="nm")[0]
    assert scan.pitch == pytest.approx((1e-8, 2e-8), rel=1e-9)
    assert scan.source.channel == "height"
    np.testing.assert_allclose(scan.z, Z * 2e-9, rtol=1e-15)


@pytest.mark.parametrize(
    "said",
    [
        {"pixel": "10nmx20nm", "unit": "nm"},
        {"pitch_m": [1e-8, 2e-8], "unit": "nm"},
        {"dx": 2e-8, "dy": 1e-8, "units": "nm"},
        {"Pixel size x": "20 nm", "Pixel size y": "0.01 µm", "z unit": "nm"},
    ],
)
def test_json_description(path: Path, said: dict[str, object]) -> None:
    tifffile.imwrite(path, Z.astype("f8"), metadata=said)  # the library adds the shape and stores JSON
    scan = read(path)[0]
    assert scan.pitch == pytest.approx((1e-8, 2e-8), rel=1e-12)
    np.testing.assert_allclose(scan.z, Z * 1e-9, rtol=1e-15)


def test_pages_are_channels(path: Path) -> None:
    with tifffile.TiffWriter(path) as writer:
        for factor in (1, 3):
            writer.write((Z * factor).astype("i2"), photometric="minisblack")
    maps = read(path, **SAID)
    assert [scan.source.channel for scan in maps] == ["page 1", "page 2"]
    np.testing.assert_allclose(maps[1].z, 3 * maps[0].z, rtol=1e-15)


def test_pages_beyond_the_largest_map_are_left_out(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("core.formats.tiff.MOST_POINTS", 10)
    with tifffile.TiffWriter(path) as writer:
        for factor in (1, 3):
            writer.write((Z * factor).astype("i2"), photometric="minisblack")
    assert len(read(path, **SAID)) == 1


def test_compressed_pages(path: Path) -> None:
    values = np.arange(64.0 * 64).reshape(64, 64)
    tifffile.imwrite(path, values, compression="zlib", predictor=False, tile=(32, 32))
    np.testing.assert_allclose(read(path, **SAID)[0].z, values * 1e-9, rtol=1e-15)


def test_the_missing_value_of_geographic_pictures(path: Path) -> None:
    tifffile.imwrite(path, Z.astype("f4"), extratags=[(42113, "s", 0, "40", True)])
    assert np.argwhere(np.isnan(read(path, **SAID)[0].z)).tolist() == [[1, 0]]


def test_zero_is_a_height(path: Path) -> None:
    tifffile.imwrite(path, (Z - 1).astype("f4"))
    assert read(path, **SAID)[0].missing == 0


def test_colours_are_refused(path: Path) -> None:
    tifffile.imwrite(path, np.zeros((4, 5, 3), "u1"), photometric="rgb")
    with pytest.raises(NoHeights, match="colours, not heights"):
        read(path, **SAID)


def test_one_row_is_refused(path: Path) -> None:
    tifffile.imwrite(path, np.ones((1, 5), "f4"))
    with pytest.raises(NoHeights, match="profile"):
        read(path, **SAID)


def test_pixels_that_are_not_there(path: Path) -> None:
    tifffile.imwrite(path, np.random.default_rng(1).normal(size=(64, 64)))
    data = path.read_bytes()
    path.write_bytes(data[:-1000])
    with pytest.raises(DamagedFile, match="cut short"):
        read(path, **SAID)


def test_a_size_that_is_a_lie(path: Path) -> None:
    tifffile.imwrite(path, np.ones((4, 4), "f8"))
    with tifffile.TiffFile(path, mode="r+b") as tif:
        for name in ("ImageWidth", "ImageLength"):
            tif.pages[0].tags[name].overwrite(60_000)
    with pytest.raises(DamagedFile):
        read(path, **SAID)
