"""Measured surfaces are read as they are: the facts stand in README.md beside this file, with their sources."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from core.errors import NoHeights, PixelMissing
from core.formats import SUFFIXES, read
from core.heightmap import FloatArray, HeightMap

HERE = Path(__file__).parent
SENSOR = HERE / "sensor-flatness" / "ccd_sensor_20915_40x40.csv"
MIRROR = HERE / "mirror-7x771" / "mirror_2d.dat"
TERRAIN = HERE / "terrain-ascii" / "hugo_site.asc"
X3P = HERE / "x3p-samples"


def about_plane(scan: HeightMap) -> FloatArray:
    """Heights about the least-squares plane, by the library's own solver and no code under test."""
    i, j = np.mgrid[: scan.shape[0], : scan.shape[1]].astype(float)
    valid = np.isfinite(scan.z)
    design = np.column_stack([np.ones(valid.sum()), i[valid] - i.mean(), j[valid] - j.mean()])
    heights = scan.z[valid] - scan.z[valid].mean()
    return np.asarray(heights - design @ np.linalg.lstsq(design, heights, rcond=None)[0])


def test_sensor_agrees_with_the_report_of_the_measuring_machine() -> None:
    scan = read(SENSOR)[0]
    assert scan.shape == (40, 40)
    assert scan.missing == 0
    assert scan.source.format == "text, points"
    # 40 positions rounded and jittered by up to 10 µm: the step is known to 1e-5 of itself.
    assert scan.pitch == pytest.approx((1e-3, 1e-3), rel=1e-5)
    # z is rounded to 10 nm in the file, the report gives 1 nm: single points within 5 nm, the mean far better.
    assert scan.z.mean() == pytest.approx(12.991024e-3, abs=1e-9)
    assert 2 * scan.z.std(ddof=1) == pytest.approx(0.002421e-3, abs=1e-9)
    assert scan.z.min() == pytest.approx(12.986812e-3, abs=5.1e-9)
    assert scan.z.max() == pytest.approx(12.993454e-3, abs=5.1e-9)


def test_sensor_flatness() -> None:
    residual = about_plane(read(SENSOR)[0])
    assert np.ptp(residual) == pytest.approx(6.468e-6, abs=0.5e-9)
    assert np.ptp(residual) == pytest.approx(6.464e-6, abs=10e-9)  # the report, from unrounded heights
    assert residual.std() == pytest.approx(1.1627e-6, abs=0.05e-9)


def test_sensor_keeps_the_place_of_every_point() -> None:
    """The file lists the points line by line, x rising first."""
    listed = np.loadtxt(SENSOR, delimiter=",", skiprows=3)
    np.testing.assert_allclose(read(SENSOR)[0].z, listed[:, 2].reshape(40, 40) * 1e-3, rtol=1e-15)


def test_mirror_states_no_unit_and_is_refused_with_its_step() -> None:
    with pytest.raises(PixelMissing, match=r"0\.00116906 apart down and 0\.001362 across.*--pixel .* --unit nm"):
        read(MIRROR)


def test_mirror_with_heights_in_metres_has_its_coordinates_in_metres_too() -> None:
    scan = read(MIRROR, unit="m")[0]
    assert scan.pitch == pytest.approx((1.169057e-3, 1.362e-3), rel=1e-6)
    assert "metres" in scan.metadata["assumed"]


@pytest.mark.parametrize("by", ["caller", "sidecar"])
def test_mirror(tmp_path: Path, by: str) -> None:
    file = tmp_path / MIRROR.name
    shutil.copyfile(MIRROR, file)
    if by == "sidecar":
        file.with_name("mirror_2d.dat.toml").write_text('pixel = "1.169057mm x 1.362mm"\nunit = "m"\n')
        scan = read(file)[0]
    else:
        scan = read(file, pixel="1.169057mmx1.362mm", unit="m")[0]
    assert scan.shape == (771, 7)
    assert scan.pitch == pytest.approx((1.169057e-3, 1.362e-3), rel=1e-12)
    residual = about_plane(scan)
    assert residual.std() == pytest.approx(19.40e-9, abs=0.005e-9)
    assert np.ptp(residual) == pytest.approx(124.0e-9, abs=0.05e-9)


def test_terrain() -> None:
    scan = read(TERRAIN)[0]
    assert scan.shape == (55, 76)
    assert scan.pitch == (10.0, 10.0)
    assert scan.missing_fraction == pytest.approx(0.48517, abs=5e-6)
    residual = about_plane(scan)
    assert residual.std() == pytest.approx(10.41, abs=0.005)
    assert np.ptp(residual) == pytest.approx(47.67, abs=0.005)
    assert "metres" in scan.metadata["assumed"]


def test_rubber() -> None:
    scan = read(X3P / "rubber_focus_variation.x3p")[0]
    assert scan.shape == (634, 860)
    assert scan.pitch == (0.000002279794519, 0.000002279984215)
    assert scan.missing_fraction == pytest.approx(0.00971, abs=5e-6)
    residual = about_plane(scan)
    assert residual.std() == pytest.approx(3.398e-6, abs=0.5e-9)
    assert np.ptp(residual) == pytest.approx(25.59e-6, abs=5e-9)
    assert scan.metadata["date"] == "2009-06-09T13:40:58"


def test_the_two_forms_of_a_sample_give_equal_heights() -> None:
    listed, binary = (read(X3P / name)[0] for name in ("ISO5436-sample1.x3p", "ISO5436-sample1_bin.x3p"))
    assert listed.pitch == binary.pitch == (0.016016, 0.016016)
    assert np.argwhere(np.isnan(listed.z)).tolist() == [[1, 3]]
    np.testing.assert_array_equal(listed.z, binary.z)


def test_a_sample_with_an_absolute_axis() -> None:
    """y is stored as 1, 2, 3, 4 with increment 2 m and offset 1 m; z has the offset 2 m."""
    scan = read(X3P / "ISO5436-sample3.x3p")[0]
    assert scan.pitch == (2.0, 0.016016)
    np.testing.assert_allclose(scan.z, read(X3P / "ISO5436-sample1.x3p")[0].z + 2.0, rtol=1e-15)


@pytest.mark.parametrize("name", ["dabam-010.dat", "dabam-011.dat", "dabam-083.dat"])
def test_measured_profiles_are_refused(name: str) -> None:
    with pytest.raises(NoHeights, match="This is a profile, not a map"):
        read(HERE / "mirror-profiles" / name)


def test_every_sample_has_a_suffix_that_a_folder_drop_tries() -> None:
    assert {file.suffix for file in (SENSOR, MIRROR, TERRAIN)} | {".x3p"} <= set(SUFFIXES)


@pytest.mark.parametrize(
    "folder", ["sensor-flatness", "mirror-7x771", "terrain-ascii", "mirror-profiles", "x3p-samples"]
)
def test_every_folder_carries_its_licence(folder: str) -> None:
    assert (HERE / folder / "LICENSE.origin.txt").stat().st_size > 500
