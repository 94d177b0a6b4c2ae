"""Functional and flatness readings against the script: a full sort, every window, a design matrix, the convex hull.

Run with:  pytest tests/benchmarks --benchmark-enable --benchmark-only -m "long or not long"
Both run in one process on the same map, so the ratio of their times is the result; no time is asserted, equality is.
Their floor is one copy and one sort, which are measured beside them: the sort differs ten times between processors.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from pytest_benchmark.fixture import BenchmarkFixture

from core.heightmap import HeightMap
from core.measures import Surface
from core.measures.flatness import ENTRIES as FLATNESS
from core.measures.functional import ENTRIES as FUNCTIONAL
from core.measures.profile_texture import texture
from core.measures.profiles import Profiles

SIDES = [1024, pytest.param(4096, marks=pytest.mark.long)]
KINDS = ["complete", "2 % missing"]
Way = Callable[[HeightMap], dict[str, float]]


def film(side: int, kind: str = "complete") -> HeightMap:
    rng = np.random.default_rng(side)
    z = 1e-9 * rng.standard_normal((side, side)) + 3e-9 * np.linspace(-1, 1, side) ** 2
    if kind != "complete":
        z[rng.random(z.shape) < 0.02] = np.nan
    return HeightMap(z, (1e-8, 1e-8))


def by_buckets(scan: HeightMap) -> dict[str, float]:
    surface = Surface(scan)
    found = {quantity.symbol: quantity.function(surface).value for quantity in FUNCTIONAL}
    return {symbol: value for symbol, value in found.items() if value is not None}


def by_sort(scan: HeightMap) -> dict[str, float]:
    """The curve from a full sort, all windows looked at."""
    h = np.sort(scan.z[np.isfinite(scan.z)])[::-1]
    n = h.size
    p = (np.arange(n) + 0.5) / n
    k = round(0.4 * n)
    start = int(np.argmin(h[: n - k] - h[k:]))
    slope, top = np.polyfit(p[start : start + k + 1], h[start : start + k + 1], 1)
    bottom = top + slope
    mean = h.mean()
    c10, c80, c2, c50 = np.interp([0.1, 0.8, 0.025, 0.5], p, h)
    smr1, smr2 = np.mean(h > top), np.mean(h >= bottom)
    hills, dales = np.mean(np.maximum(h - c10, 0)), np.mean(np.maximum(c80 - h, 0))
    found = {
        "Sk": top - bottom,
        "Spk": 2 * np.mean(np.maximum(h - top, 0)) / smr1,
        "Svk": 2 * np.mean(np.maximum(bottom - h, 0)) / (1 - smr2),
        "Smr1": smr1,
        "Smr2": smr2,
        "Smr": np.mean(h >= mean),
        "Smc": c10 - mean,
        "Sxp": c2 - c50,
        "Vmp": hills,
        "Vmc": np.mean(np.maximum(h - c80, 0)) - hills,
        "Vvc": np.mean(np.maximum(c10 - h, 0)) - dales,
        "Vvv": dales,
    }
    return {symbol: float(value) for symbol, value in found.items()}


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("way", [by_buckets, by_sort], ids=lambda way: way.__name__)
def test_functional(benchmark: BenchmarkFixture, way: Way, kind: str, side: int) -> None:
    scan = film(side, kind)
    benchmark.group = f"functional, {side}², {kind}"
    # polyfit squares its design matrix and loses a few more digits than centred sums
    assert benchmark(way, scan) == pytest.approx(by_sort(scan), rel=1e-9)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("floor", [np.sort, np.copy], ids=["sort", "copy"])
def test_floor(
    benchmark: BenchmarkFixture, floor: Callable[[NDArray[np.float64]], NDArray[np.float64]], side: int
) -> None:
    heights = film(side).heights()
    benchmark.group = f"functional, {side}², complete"
    assert benchmark(floor, heights).size == heights.size


def by_active_set(scan: HeightMap) -> dict[str, float]:
    surface = Surface(scan)
    found = {quantity.symbol: quantity.function(surface).value for quantity in FLATNESS[:6]}
    return {symbol: value for symbol, value in found.items() if value is not None}


def by_all_points(scan: HeightMap) -> dict[str, float]:
    """Design matrix, convex hull of all points, linear programme over its corners."""
    from scipy.optimize import linprog
    from scipy.spatial import ConvexHull

    y, x = (grid[scan.used].astype(float) for grid in np.mgrid[: scan.shape[0], : scan.shape[1]])
    z = scan.z[scan.used]
    design = np.column_stack([np.ones(z.size), y, x])
    r = z - design @ np.linalg.lstsq(design, z, rcond=None)[0]
    size = np.ptp(r)
    hull = ConvexHull(np.column_stack([y, x, r / size])).points
    corners = np.unique(ConvexHull(hull).vertices)
    place, height = hull[corners, :2] / max(scan.shape), hull[corners, 2]
    one, none = np.ones(len(place)), np.zeros(len(place))
    limits = np.vstack([np.column_stack([-place, -one, none]), np.column_stack([place, none, one])])
    zone = linprog([0, 0, 1, -1], A_ub=limits, b_ub=np.concatenate([-height, height]), bounds=(None, None)).fun or 0.0
    left_out = int(0.005 * r.size)
    inside = np.sort(r)[left_out : r.size - left_out]
    found = {
        "FLTt": size,
        "FLTp": r.max(),
        "FLTv": -r.min(),
        "FLTq": np.sqrt(np.mean(r**2)),
        "FLTt(MZ)": zone * size,
        "PV99": np.ptp(inside),
    }
    return {symbol: float(value) for symbol, value in found.items()}


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("way", [by_active_set, by_all_points], ids=lambda way: way.__name__)
def test_flatness(benchmark: BenchmarkFixture, way: Way, kind: str, side: int) -> None:
    scan = film(side, kind)
    benchmark.group = f"flatness, {side}², {kind}"
    assert benchmark(way, scan) == pytest.approx(by_all_points(scan), rel=1e-9)


def test_robust_peak_to_valley(benchmark: BenchmarkFixture) -> None:
    scan = film(1024)
    benchmark.group = "flatness, 1024², complete"
    assert benchmark(lambda: FLATNESS[6].function(Surface(scan)).value) > 0


def test_roughness_of_all_rows(benchmark: BenchmarkFixture) -> None:
    scan = film(1024)
    benchmark.group = "profiles, 1024 rows"
    found = benchmark(lambda: texture(Profiles.rows(scan), family="R", shortest=None, longest=1e-6))
    assert found.profiles == 1024
