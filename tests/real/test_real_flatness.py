"""Flatness and profiles of measured surfaces: published figures, and the hull of all points as second way."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import linprog

from core.formats import read
from core.heightmap import HeightMap
from core.measures import Surface
from core.measures.flatness import ENTRIES
from core.measures.profile_texture import texture
from core.measures.profiles import Profiles

HERE = Path(__file__).parent
PROFILES = HERE / "mirror-profiles"


def values(scan: HeightMap) -> dict[str, float]:
    surface = Surface(scan)
    found = {quantity.symbol: quantity.function(surface).value for quantity in ENTRIES}
    return {symbol: value for symbol, value in found.items() if value is not None}


def all_points_zone(scan: HeightMap) -> float:
    """The minimum zone by one linear programme over all points, no active set."""
    y, x = (grid[scan.used].astype(float) for grid in np.mgrid[: scan.shape[0], : scan.shape[1]])
    z = scan.heights() - np.median(scan.heights())
    size = np.ptp(z)
    one, none = np.ones(z.size), np.zeros(z.size)
    y, x = y / y.max(), x / x.max()
    limits = np.vstack([np.column_stack([-y, -x, -one, none]), np.column_stack([y, x, none, one])])
    found = linprog([0, 0, 1, -1], A_ub=limits, b_ub=np.concatenate([-z, z]) / size, bounds=(None, None))
    assert found.fun is not None
    return float(found.fun * size)


def test_sensor() -> None:
    """Published 6.464 µm from unrounded heights; 6.468 and 5.856 µm from the heights in the file, rounded to 10 nm."""
    scan = read(HERE / "sensor-flatness" / "ccd_sensor_20915_40x40.csv")[0]
    found = values(scan)
    assert found["FLTt"] == pytest.approx(6.464e-6, abs=10e-9)
    assert found["FLTt"] == pytest.approx(6.468e-6, abs=0.5e-9)
    assert found["FLTq"] == pytest.approx(1.1627e-6, abs=0.05e-9)
    assert found["FLTt(MZ)"] == pytest.approx(5.856e-6, abs=0.5e-9)
    assert found["FLTt(MZ)"] == pytest.approx(all_points_zone(scan), rel=1e-9)


def test_mirror() -> None:
    scan = read(HERE / "mirror-7x771" / "mirror_2d.dat", pixel=(1.16905714e-3, 1.362e-3), unit="m")[0]
    found = values(scan)
    assert found["FLTt"] == pytest.approx(124.0e-9, abs=0.05e-9)
    assert found["FLTq"] == pytest.approx(19.40e-9, abs=0.005e-9)
    assert found["FLTt(MZ)"] == pytest.approx(all_points_zone(scan), rel=1e-9)
    assert "PVr" not in found  # seven columns do not hold a polynomial of degree 7


def test_terrain_with_half_of_it_missing() -> None:
    scan = read(HERE / "terrain-ascii" / "hugo_site.asc", unit="m")[0]
    found = values(scan)
    assert found["FLTt"] == pytest.approx(47.67, abs=0.005)
    assert found["FLTq"] == pytest.approx(10.41, abs=0.005)
    assert found["FLTt(MZ)"] == pytest.approx(all_points_zone(scan), rel=1e-9)
    assert found["FLTt(MZ)"] < found["FLTt"]


def columns(name: str) -> NDArray[np.float64]:
    return np.loadtxt(PROFILES / name, skiprows=1)


PUBLISHED = {"dabam-010.dat": (3.048414e-9, 0.232e-6, 1e-9), "dabam-011.dat": (3.23343e-9, 0.2290927e-6, 1e-13)}
"""Height RMS, slope RMS (both n − 1), and a unit of the last digit published of the slope: 0.232 was cut off there."""


def mirror(name: str, column: int) -> Profiles:
    table = columns(name)
    return Profiles(1e-9 * table[:, column], 1e-3 * (table[-1, 0] - table[0, 0]) / (len(table) - 1))


def sample_rms(found: float | None, points: int) -> float:
    """What ISO divides by n, the database by n − 1."""
    assert found is not None
    return found * math.sqrt(points / (points - 1))


@pytest.mark.parametrize("name", PUBLISHED)
def test_height_rms_of_mirror_profiles(name: str) -> None:
    rms = PUBLISHED[name][0]
    residual, measured = mirror(name, 2), mirror(name, 1)
    n = residual.heights.size
    found = texture(residual, family="P", shortest=None, longest=None, form=1)
    # the column is rounded to 0.01 nm and less another parabola: 4 digits
    assert sample_rms(found.values["Pq"], n) == pytest.approx(rms, rel=1e-4)
    found = texture(measured, family="P", shortest=None, longest=None, form=2)
    assert sample_rms(found.values["Pq"], n) == pytest.approx(rms, rel=2e-6)
    assert found.evaluation_length == pytest.approx(n * 1.02e-3, rel=1e-9)


@pytest.mark.parametrize("name", PUBLISHED)
def test_slope_rms_of_mirror_profiles(name: str) -> None:
    """The database takes central differences less a line; the seven-point derivative passes shorter waves, so more."""
    _, slope, digit = PUBLISHED[name]
    raw = mirror(name, 1)
    slopes = Profiles(np.gradient(raw.heights[0], raw.spacing), raw.spacing).without_form(1)
    assert slopes.heights.std(ddof=1) == pytest.approx(slope, abs=digit)
    found = texture(raw, family="P", shortest=None, longest=None, form=2).values["Pdq"]
    assert found is not None
    assert slope < found < 1.3 * slope


def test_a_mirror_profile_parted_at_a_cut_off() -> None:
    """083: what is longer and shorter than 20 mm make up the profile; little is left below."""
    table = np.loadtxt(PROFILES / "dabam-083.dat")
    whole = Profiles(1e-3 * table[:, 1], 1e-3 * (table[-1, 0] - table[0, 0]) / (len(table) - 1))
    found = {
        family: texture(whole, family=family, shortest=None, longest=20e-3).values[f"{family}q"]
        for family in ("W", "R")
    }
    total = texture(whole, family="P", shortest=None, longest=None).values["Pq"]
    assert total == pytest.approx(2.1836e-9, rel=1e-4)  # derived here: numpy's polyfit and std
    assert found["W"] is not None
    assert found["R"] is not None
    assert found["R"] < found["W"] < 1.1 * 2.1836e-9
