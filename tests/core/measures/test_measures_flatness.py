"""Flatness: reference values, the convex hull as second way to the minimum zone, and what must hold on any map."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError
from scipy.special import ndtri

from core.heightmap import HeightMap
from core.measures import Surface
from core.measures.flatness import ENTRIES, flatness_of
from core.measures.minimum_zone import minimum_zone

Expected = Callable[..., Any]
Heights = NDArray[np.float64]
PITCH = (1.1e-8, 0.7e-8)
SYMBOLS = [quantity.symbol for quantity in ENTRIES]
quick = settings(max_examples=30, deadline=None)
seeds = st.integers(0, 2**32 - 1)


def values(
    z: Heights, pitch: tuple[float, float] = PITCH, mask: NDArray[np.bool_] | None = None
) -> dict[str, float | None]:
    surface = Surface(HeightMap(z, pitch, mask=mask))
    return {quantity.symbol: quantity.function(surface).value for quantity in ENTRIES}


def numbers(z: Heights, pitch: tuple[float, float] = PITCH) -> dict[str, float]:
    return {symbol: value for symbol, value in values(z, pitch).items() if value is not None}


def hull_width(z: Heights) -> float:
    """Least vertical width between parallel planes, from the convex hull of all points: the dual of the programme.

    The upper hull is the least concave function above the points, the lower the greatest convex one below. Both are
    linear between the corners of their facets, so their greatest distance is met over a corner of either, or over a
    crossing of two edges; and it is the width of the minimum zone (strong duality).
    """
    ny, nx = z.shape
    y, x = np.mgrid[:ny, :nx].astype(float)
    size = np.ptp(z)
    hull = ConvexHull(np.column_stack([y.ravel(), x.ravel(), z.ravel() / size]))
    slanted = hull.equations[np.abs(hull.equations[:, 2]) > 1e-9]
    planes = -slanted[:, [0, 1, 3]] / slanted[:, 2:3]
    upper, lower = planes[slanted[:, 2] > 0], planes[slanted[:, 2] < 0]
    place = _corners_and_crossings(hull)
    ones = np.column_stack([place, np.ones(len(place))])
    return float(size * np.max((ones @ upper.T).min(axis=1) - (ones @ lower.T).max(axis=1)))


def _corners_and_crossings(hull: ConvexHull) -> Heights:
    points = hull.points[:, :2]
    up = {edge for face, n in zip(hull.simplices, hull.equations, strict=True) if n[2] > 1e-9 for edge in _edges(face)}
    down = {
        edge for face, n in zip(hull.simplices, hull.equations, strict=True) if n[2] < -1e-9 for edge in _edges(face)
    }
    a, b = (points[list(side)] for side in zip(*up, strict=True))
    c, d = (points[list(side)] for side in zip(*down, strict=True))
    u, v = (b - a)[:, None], (d - c)[None]
    w = c[None] - a[:, None]
    turn = u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        s = (w[..., 0] * v[..., 1] - w[..., 1] * v[..., 0]) / turn
        t = (w[..., 0] * u[..., 1] - w[..., 1] * u[..., 0]) / turn
    cross = (s >= 0) & (s <= 1) & (t >= 0) & (t <= 1)
    where = np.argwhere(cross)
    crossings = a[where[:, 0]] + s[cross][:, None] * (b - a)[where[:, 0]]
    return np.vstack([points[hull.vertices], crossings])


def _edges(face: NDArray[Any]) -> list[tuple[int, int]]:
    i, j, k = sorted(int(corner) for corner in face)
    return [(i, j), (i, k), (j, k)]


def brute_width(z: Heights) -> float:
    """Least width by trying every plane through three points and every pair of parallel edges (small maps)."""
    ny, nx = z.shape
    y, x = (grid.ravel().astype(float) for grid in np.mgrid[:ny, :nx])
    flat = z.ravel()
    pairs = list(itertools.combinations(range(flat.size), 2))
    steps = np.array([[y[j] - y[i], x[j] - x[i]] for i, j in pairs])
    rises = np.array([flat[j] - flat[i] for i, j in pairs])
    best = np.inf
    for k in range(len(pairs)):
        turn = steps[k, 0] * steps[:, 1] - steps[k, 1] * steps[:, 0]
        ok = np.abs(turn) > 1e-9
        p = (rises[k] * steps[ok, 1] - rises[ok] * steps[k, 1]) / turn[ok]
        q = (steps[k, 0] * rises[ok] - steps[ok, 0] * rises[k]) / turn[ok]
        rest = flat - p[:, None] * y - q[:, None] * x
        best = min(best, float(np.ptp(rest, axis=1).min()))
    return best


def test_corner_of_nine_points(expected: Expected) -> None:
    z = np.zeros((3, 3))
    z[2, 2] = 1.0
    found = values(z, (1.0, 1.0))
    assert found["FLTt"] == expected("3.01|FLTt least squares")
    assert found["FLTp"] == expected("3.01|FLTp")
    assert found["FLTv"] == expected("3.01|FLTv")
    assert found["FLTq"] == expected("3.01|FLTq (divide by n)")
    assert found["FLTt(MZ)"] == expected("3.01|FLTt minimum zone", rel=1e-12)  # four points: a solver's vertex is exact


def test_cubic(expected: Expected) -> None:
    x = np.linspace(-1, 1, 2001)
    found = values(np.tile(x**3, (5, 1)), (1.0, 1e-3))
    assert found["FLTt"] == expected("3.02|FLTt least squares")
    assert found["FLTt(MZ)"] == expected("3.02|FLTt minimum zone")


def test_cubic_converges_in_the_second_order() -> None:
    """The extremes at x = 1/2 lie between points: the zone is too narrow by less than a curvature times step²."""
    for n in (30, 100, 301, 1000):  # 0.5 is on no lattice of these
        x = np.linspace(-1, 1, n)
        width = minimum_zone(np.tile(x**3, (3, 1))).width
        assert 0 <= 0.5 - width <= 3 * (1 / (n - 1)) ** 2  # |z''| at 1/2 is 3; half a step away, both sides


def test_saddle(expected: Expected) -> None:
    z = np.array([[2.0, -2.0], [-2.0, 2.0]])
    found = values(z, (3.0, 5.0))
    assert found["FLTt"] == expected("3.03|FLTt LS /h", unit=2.0)
    assert found["FLTt(MZ)"] == expected("3.03|FLTt MZ /h", unit=2.0)


def test_bowl(expected: Expected) -> None:
    along = np.linspace(-0.5, 0.5, 1001)
    found = numbers(along[:, None] ** 2 + along**2, (1e-3, 1e-3))
    assert found["FLTt"] == expected("3.04|FLTt (LS=MZ)")
    assert found["FLTt(MZ)"] == expected("3.04|FLTt (LS=MZ)")
    assert found["FLTp"] == expected("3.04|FLTp")
    assert found["FLTv"] == expected("3.04|FLTv")
    assert found["FLTq"] == expected("3.04|FLTq")
    assert found["FLTt"] / found["FLTq"] == expected("3.04|PV/RMS")


TABLE = np.array([[0, 3, 5, 6, 4], [2, 6, 8, 9, 6], [3, 8, 11, 10, 7], [4, 7, 9, 8, 5], [1, 4, 6, 5, 2.0]])


def test_table(expected: Expected) -> None:
    flat = flatness_of(HeightMap(TABLE, (1.0, 1.0)))
    assert flat.plane.tilt[1] == expected("3.05|LS plane a (per x)")
    assert flat.plane.tilt[0] == expected("3.05|LS plane b (per y)")
    assert flat.plane.evaluate()[0, 0] == expected("3.05|LS plane c")
    found = values(TABLE, (1.0, 1.0))
    assert found["FLTt"] == expected("3.05|FLTt LS")
    assert found["FLTp"] == expected("3.05|FLTp")
    assert found["FLTv"] == expected("3.05|FLTv")
    assert found["FLTq"] == expected("3.05|FLTq")
    assert found["FLTt(MZ)"] == expected("3.05|FLTt MZ", rel=1e-12)


def test_exact_plane(expected: Expected) -> None:
    y, x = np.mgrid[:200, :200] * 5e-8
    found = numbers(1e-6 * (x + 0.3 * y) / 10e-6, (5e-8, 5e-8))
    for symbol in SYMBOLS:
        assert found[symbol] == expected("3.09|FLTt of an exact plane, tilt 1 um over 10 um", unit=1e-9)


def test_legendre_surface(expected: Expected) -> None:
    def surface(n: int, ends: bool) -> dict[str, float]:
        along = np.linspace(-1, 1, n) if ends else (np.arange(n) - (n - 1) / 2) * 2 / n
        return numbers(2 * (3 * along**2 - 1) + 1.5 * (5 * along**3 - 3 * along)[:, None], (1.0, 1.0))

    assert surface(1000, ends=False)["FLTq"] == expected("1.21|Sq (continuous)")  # means want the cells' middles
    found = [surface(n, ends=True) for n in (501, 1001)]  # extremes want the ends; there the plane leans by a part in N
    assert found[1]["FLTt(MZ)"] == expected("1.21|minimum-zone flatness")
    for symbol, entry in [("FLTp", "Sp"), ("FLTv", "Sv"), ("FLTt", "Sz (LS reference)")]:
        extrapolated = 2 * found[1][symbol] - found[0][symbol]  # the first order in 1/N, taken out
        assert abs(extrapolated / found[1][symbol] - 1) < 4e-3
        assert extrapolated == expected(f"1.21|{entry}")


def test_trimmed_range_of_gaussian_heights(expected: Expected) -> None:
    n = 10**6
    z = np.random.default_rng(4).permutation(ndtri((np.arange(n) + 0.5) / n)).reshape(1000, 1000)
    assert values(z)["PV99"] == expected("3.08|PV99/Sq for Gaussian heights")


@pytest.mark.parametrize(("rows", "columns", "left_out"), [(10, 19, 0), (10, 20, 1), (25, 40, 5)])
def test_trimmed_range_leaves_out_whole_points(rows: int, columns: int, left_out: int) -> None:
    z = np.random.default_rng(columns).standard_normal((rows, columns))
    flat = flatness_of(HeightMap(z, (1.0, 1.0)))
    assert flat.trimmed_range == np.ptp(np.sort(flat.departures)[left_out : rows * columns - left_out])


def test_robust_range(expected: Expected) -> None:
    """A form of 20 nm that the 36 terms hold exactly, and a residual of 1.5 nm that they cannot see."""
    along = np.linspace(-1, 1, 60)
    form = along[:, None] ** 2 * along**3 - 0.3 * along**7
    rough = np.random.default_rng(6).standard_normal((60, 60))
    across, down = np.meshgrid(along, along)
    terms = np.polynomial.legendre.legvander2d(down.ravel(), across.ravel(), [7, 7])
    degree = np.add.outer(np.arange(8), np.arange(8)).ravel()
    terms = terms[:, degree <= 7]
    assert terms.shape[1] == 36

    def rest(z: Heights, among: NDArray[Any]) -> Heights:
        return np.asarray(z.ravel() - among @ np.linalg.lstsq(among, z.ravel(), rcond=None)[0]).reshape(60, 60)

    plane = np.column_stack([grid.ravel() for grid in (np.ones((60, 60)), *np.mgrid[:60, :60])])
    form, rough = rest(form, plane), rest(rough, terms)
    z = 20e-9 * form / np.ptp(form) + 1.5e-9 * rough / rough.std()
    assert values(z)["PVr"] == expected("3.08|PVr for fit PV 20 nm + residual 1.5 nm", unit=1e-9, rel=1e-11)


@quick
@given(seeds, st.integers(3, 40), st.integers(3, 40))
def test_minimum_zone_equals_the_hull(seed: int, rows: int, columns: int) -> None:
    rng = np.random.default_rng(seed)
    z = 1e-9 * (rng.standard_normal((rows, columns)) + 0.1 * rng.standard_normal() * np.arange(columns) ** 1.5)
    zone = minimum_zone(z)
    assert zone.certain
    try:
        assert zone.width == pytest.approx(hull_width(z), rel=1e-9)
    except QhullError:  # pragma: no cover - all points in one plane
        assert zone.width == pytest.approx(0, abs=1e-20)


@quick
@given(seeds, st.integers(2, 4), st.integers(2, 4))
def test_minimum_zone_equals_brute_force(seed: int, rows: int, columns: int) -> None:
    z = np.random.default_rng(seed).integers(0, 6, (rows, columns)).astype(float)
    assert minimum_zone(z).width == pytest.approx(brute_width(z), rel=1e-9, abs=1e-9)


def smooth(seed: int, shape: tuple[int, int] = (24, 31)) -> Heights:
    rng = np.random.default_rng(seed)
    y, x = (np.linspace(-1, 1, n) for n in shape)
    bow = rng.standard_normal() * y[:, None] ** 2 + rng.standard_normal() * x**3
    return np.asarray(1e-9 * (bow + 0.2 * rng.standard_normal(shape)))


@quick
@given(seeds, st.floats(0, 0.4))
def test_what_always_holds(seed: int, share: float) -> None:
    rng = np.random.default_rng(seed)
    z = smooth(seed)
    out = rng.random(z.shape) < share
    holes = np.where(out, np.nan, z)
    found = numbers(holes)
    assert found["FLTt"] == found["FLTp"] + found["FLTv"]
    assert found["FLTt(MZ)"] <= found["FLTt"] * (1 + 1e-12)
    assert found["PV99"] <= found["FLTt"]
    assert found["FLTq"] <= found["FLTt"] / 2
    masked = values(z, mask=out)
    for symbol in SYMBOLS:
        assert masked[symbol] == pytest.approx(found[symbol], rel=1e-9)


@quick
@given(seeds)
def test_sign_flip_scaling_tilt_and_turns(seed: int) -> None:
    z = smooth(seed)
    here = numbers(z)
    there = numbers(-z)
    assert there["FLTp"] == pytest.approx(here["FLTv"], rel=1e-10)
    assert there["FLTv"] == pytest.approx(here["FLTp"], rel=1e-10)
    for symbol in ("FLTt", "FLTq", "FLTt(MZ)", "PV99", "PVr"):
        assert there[symbol] == pytest.approx(here[symbol], rel=1e-10)
    y, x = np.mgrid[: z.shape[0], : z.shape[1]]
    for moved, factor, rel in [
        (3 * z, 3.0, 1e-10),
        (z + 5e-9 + 1e-10 * x - 3e-10 * y, 1.0, 1e-10),
        (z.T, 1.0, 1e-10),
        (z[::-1], 1.0, 1e-10),
        (np.rot90(z), 1.0, 1e-10),
        (z.astype(np.float32).astype(float), 1.0, 1e-6),  # single precision keeps 6e-8 of the largest height
    ]:
        found = numbers(moved)
        for symbol in SYMBOLS:
            assert found[symbol] == pytest.approx(factor * here[symbol], rel=rel), symbol


def test_minimum_zone_with_holes_knows_only_what_counts() -> None:
    z = smooth(3)
    used = np.random.default_rng(3).random(z.shape) < 0.6
    inside = minimum_zone(z, used)
    filled = np.where(used, z, np.median(z))
    assert inside.certain
    assert inside.width <= minimum_zone(z).width
    assert inside.width <= minimum_zone(filled).width * (1 + 1e-12)
    assert minimum_zone(np.where(used, z, 1e3), used).width == inside.width


def test_zone_of_a_large_map_with_its_proof() -> None:
    z = smooth(9, (700, 500))
    zone = minimum_zone(z)
    down, across = np.arange(700)[:, None], np.arange(500)
    leaning = z - zone.slope[0] * down - zone.slope[1] * across
    assert zone.certain
    assert np.ptp(leaning) == pytest.approx(zone.width, rel=1e-12)
    assert zone.width == pytest.approx(hull_width(z), rel=1e-9)


def test_even_map() -> None:
    assert values(np.full((20, 20), 3e-9)) == dict.fromkeys(SYMBOLS, 0.0)


def test_oblong_pixels_change_nothing_vertical() -> None:
    z = smooth(5)
    assert values(z, (1e-8, 9e-8)) == pytest.approx(values(z, (3e-8, 1e-8)), rel=1e-12)


def test_steep_planes_say_how_much_shorter_the_normal_is() -> None:
    x = np.arange(50) * 1e-8
    bumpy = np.random.default_rng(1).standard_normal((50, 50)) * 1e-12
    surface = Surface(HeightMap(bumpy + 0.75 * x, (1e-8, 1e-8)))
    for quantity in ENTRIES[:5]:
        assert "times 0.8 for" in quantity.function(surface).note  # 1 / √(1 + 0.75²)
    gentle = Surface(HeightMap(bumpy + 1e-4 * x, (1e-8, 1e-8)))
    assert {quantity.function(gentle).note for quantity in ENTRIES} == {""}


@pytest.mark.parametrize("z", [np.full((5, 5), np.nan), np.ones((1, 9)), np.diag(np.full(6, np.nan)) + np.nan])
def test_no_plane_no_flatness(z: Heights) -> None:
    surface = Surface(HeightMap(z, PITCH))
    for quantity in ENTRIES:
        outcome = quantity.function(surface)
        assert outcome.value is None
        assert outcome.note.endswith(".")


def test_too_few_rows_for_the_form() -> None:
    found = values(np.random.default_rng(0).standard_normal((5, 40)))
    assert [symbol for symbol, value in found.items() if value is None] == ["PVr"]


def test_entries_are_complete() -> None:
    for quantity in ENTRIES:
        assert quantity.unit == "m"
        assert quantity.positive
        assert all((quantity.name, quantity.clause, quantity.meaning, quantity.formula, quantity.misleads))
