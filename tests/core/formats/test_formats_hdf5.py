"""HDF5: NeXus groups, plain data sets, links that lead outside, shapes that are lies."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from core.errors import DamagedFile, NoHeights, PixelMissing, UnitMissing
from core.formats import read

Z = np.array([[1.0, 2.0, 3.0], [40.0, 5.0, 6.0]])


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "scan.h5"


@pytest.fixture
def file(path: Path) -> Iterator[Any]:
    with h5py.File(path, "w") as opened:
        yield opened


def nxdata(file: Any, place: str, *, unit: str | None = "nm", axis_unit: str | None = "um", factor: float = 1.0) -> Any:
    group = file.create_group(place)
    group.attrs.update({"NX_class": "NXdata", "signal": "topo", "axes": ["y", "x"]})
    group["topo"] = Z * factor
    group["x"], group["y"] = np.array([5.0, 5.5, 6.0]), np.array([2.0, 4.0])
    if unit:
        group["topo"].attrs["units"] = unit
    if axis_unit:
        for axis in "xy":
            group[axis].attrs["units"] = axis_unit
    return group


def check(path: Path, factor: float = 1e-9) -> None:
    scan = read(path)[0]
    np.testing.assert_allclose(scan.z, Z * factor, rtol=1e-15)
    assert scan.pitch == pytest.approx((2e-6, 0.5e-6), rel=1e-12)


def test_nexus(file: Any, path: Path) -> None:
    nxdata(file, "entry/data")
    file.close()
    check(path)
    assert read(path)[0].source.channel == "entry/data/topo"


def test_the_older_nexus_way(file: Any, path: Path) -> None:
    group = nxdata(file, "entry/data")
    del group.attrs["signal"], group.attrs["axes"]
    group["topo"].attrs.update({"signal": 1, "axes": "y:x"})
    file.close()
    check(path)


def test_the_default_leads_to_the_signal(file: Any, path: Path) -> None:
    nxdata(file, "a/data", factor=7)
    nxdata(file, "b/data")
    file.attrs["default"] = "b"
    file["b"].attrs["default"] = "data"
    file.close()
    check(path)
    assert [scan.source.channel for scan in read(path)] == ["b/data/topo", "a/data/topo"]


def test_a_default_that_leads_nowhere_is_no_harm(file: Any, path: Path) -> None:
    nxdata(file, "b/data")
    file.attrs["default"] = "nowhere"
    file.close()
    check(path)


def test_axes_without_a_unit_are_asked_for(file: Any, path: Path) -> None:
    nxdata(file, "b/data", axis_unit=None)
    file.close()
    with pytest.raises(PixelMissing, match=r"2 apart down and 0\.5 across"):
        read(path)


def test_uneven_axes_are_said(file: Any, path: Path) -> None:
    nxdata(file, "b/data")["x"][...] = [0.0, 1.0, 5.0]
    file.close()
    with pytest.raises(PixelMissing, match="“x” is not evenly spaced"):
        read(path)


def test_no_unit(file: Any, path: Path) -> None:
    nxdata(file, "b/data", unit=None)
    file.close()
    with pytest.raises(UnitMissing, match="--unit nm"):
        read(path)


@pytest.mark.parametrize(
    "said",
    [
        {"unit": "nm", "pixel": "2 um x 0.5 um"},
        {"units": "nm", "pitch": [2e-6, 0.5e-6]},
        {"unit": np.bytes_("nm"), "dx": 0.5e-6, "dy": 2e-6},
        {"units": ["nm"], "dx": "0.5 µm", "dy": "2 µm"},
        {"unit": "nm", "width": "1.5 um", "height": "4 um"},
        {"unit": "nm", "dx": 0.5, "dy": 2.0, "xy_unit": "um"},
    ],
)
def test_plain_data_sets_with_attributes(file: Any, path: Path, said: dict[str, object]) -> None:
    file.create_dataset("scan/heights", data=Z).attrs.update(said)
    file.close()
    check(path)


def test_several_data_sets_are_channels(file: Any, path: Path) -> None:
    for name, unit in (("phase", "deg"), ("height", "nm"), ("other", "nm"), ("count", None)):
        file[name] = Z.astype(np.int16 if name == "count" else np.float32)
        if unit:
            file[name].attrs["unit"] = unit
    file.attrs["pixel"] = "1 nm"
    file["curve"] = np.arange(5.0)
    file["words"] = np.array([[b"a", b"b"], [b"c", b"d"]])
    file.close()
    maps = read(path)
    assert [scan.source.channel for scan in maps] == ["height", "other"]
    assert set(maps[0].source.channels) == {"phase", "height", "other", "count"}
    assert read(path, channel="count", unit="nm")[0].z[1, 0] == pytest.approx(40e-9, rel=1e-15)


def test_fill_values_are_missing(file: Any, path: Path) -> None:
    file["height"] = Z
    file["height"].attrs.update({"unit": "nm", "pixel": "1nm", "_FillValue": 40.0})
    file.close()
    assert np.argwhere(np.isnan(read(path)[0].z)).tolist() == [[1, 0]]


def test_attributes_are_metadata_in_si(file: Any, path: Path) -> None:
    file["height"] = Z
    file["height"].attrs.update({"unit": "nm", "pixel": "1nm", "line_rate": "2 Hz", "Operator": "A. B."})
    file.attrs["unit"] = "mm"  # the unit of a group is not that of its data sets
    file.close()
    scan = read(path)[0]
    assert scan.metadata == {"line_rate": 2.0, "operator": "A. B."}
    assert scan.z[0, 0] == pytest.approx(1e-9, rel=1e-15)


def test_links_are_not_followed_outside(file: Any, path: Path, tmp_path: Path) -> None:
    with h5py.File(tmp_path / "secret.h5", "w") as other:
        other["height"] = Z
        other["height"].attrs.update({"unit": "nm", "pixel": "1nm"})
    file["outside"] = h5py.ExternalLink("secret.h5", "/height")
    file["soft"] = h5py.SoftLink("/outside")
    file["dangling"] = h5py.SoftLink("/nowhere")
    group = file.create_group("data")
    group.attrs.update({"NX_class": "NXdata", "signal": "topo", "axes": ["y", "x"]})
    group["topo"] = h5py.ExternalLink("secret.h5", "/height")
    file.close()
    with pytest.raises(NoHeights, match="no two-dimensional data set"):
        read(path)


def test_data_kept_in_other_files_is_passed_over(file: Any, path: Path, tmp_path: Path) -> None:
    (tmp_path / "raw.bin").write_bytes(Z.tobytes())
    file.create_dataset("external", shape=Z.shape, dtype="f8", external=[(str(tmp_path / "raw.bin"), 0, 48)])
    with h5py.File(tmp_path / "secret.h5", "w") as other:
        other["height"] = Z
    layout = h5py.VirtualLayout(Z.shape, "f8")
    layout[:] = h5py.VirtualSource(str(tmp_path / "secret.h5"), "height", shape=Z.shape)
    file.create_virtual_dataset("virtual", layout)
    file.close()
    with pytest.raises(NoHeights, match="no two-dimensional data set"):
        read(path, pixel="1nm", unit="nm")


def test_links_in_circles_end(file: Any, path: Path) -> None:
    group = nxdata(file, "entry/data")
    group["again"] = file["entry"]
    file.close()
    check(path)


def test_a_shape_without_bytes_is_refused_before_memory_is_taken(file: Any, path: Path) -> None:
    data = file.create_dataset("height", shape=(16_000, 16_000), dtype="f8", chunks=(1000, 1000), compression="gzip")
    data.attrs.update({"unit": "nm", "pixel": "1nm"})
    file.close()
    with pytest.raises(DamagedFile, match="packed that tightly"):
        read(path)


def test_a_shape_beyond_all_measure_is_refused(file: Any, path: Path) -> None:
    data = file.create_dataset("height", shape=(10**7, 10**7), dtype="f8", chunks=(1000, 1000))
    data.attrs.update({"unit": "nm", "pixel": "1nm"})
    file.close()
    with pytest.raises(DamagedFile, match="more than"):
        read(path)


def test_complex_numbers_and_truth_values_are_no_heights(file: Any, path: Path) -> None:
    file["a"], file["b"], file["c"] = Z + 1j, Z > 2, np.zeros((2, 2, 2))
    file.close()
    with pytest.raises(NoHeights):
        read(path)


@pytest.mark.parametrize("at", ["size of a text", "free space"])
def test_damaged_texts_are_refused_before_the_library_loops_for_ever(file: Any, path: Path, at: str) -> None:
    nxdata(file, "entry/data")
    file.close()
    data = bytearray(path.read_bytes())
    heap = data.index(b"GCOL")
    if at == "size of a text":
        data[heap + 16 + 8] = 0xFF
    else:
        free = heap + 16
        while data[free : free + 2] != b"\0\0":
            free += 16 + (int.from_bytes(data[free + 8 : free + 16], "little") + 7) // 8 * 8
        data[free + 8 : free + 16] = bytes(8)
    path.write_bytes(data)
    with pytest.raises(DamagedFile, match="texts in this HDF5 file are damaged"):
        read(path)


def test_a_truncated_file(file: Any, path: Path) -> None:
    nxdata(file, "entry/data")
    file.close()
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(DamagedFile, match="breaks its rules"):
        read(path)
