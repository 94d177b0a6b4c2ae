"""The areal filters against plain weighted sums over all pairs of points, on holes, masks and oblong pixels."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from core.errors import MapError, QuantityError
from core.filters import band_pass, low_pass, regression_low_pass, robust_low_pass
from core.filters.gaussian import AreaGaussian, quicker_way
from core.filters.line import WaveLine, line
from core.filters.regression import LocalFits
from core.filters.weights import ALPHA, SIGMA
from core.heightmap import HeightMap

WAYS = ("direct", "waves")
Array = NDArray[np.float64]


def plain(scan: HeightMap, cutoff: float, order: int = 0) -> tuple[Array, Array]:
    """Least-squares fit around every point by the textbook: all points, all weights, no shortcut. Fit and share."""
    ny, nx = scan.shape
    y, x = (a.reshape(-1).astype(float) for a in np.mgrid[0:ny, 0:nx])
    y, x = y * scan.pitch[0], x * scan.pitch[1]
    used, z = scan.used.reshape(-1), scan.z.reshape(-1)
    out, share = np.full(z.size, np.nan), np.zeros(z.size)
    for point in range(z.size):
        dy, dx = (y - y[point]) / cutoff, (x - x[point]) / cutoff
        s = np.exp(-math.pi * (dy**2 + dx**2) / ALPHA**2)
        share[point] = s[used].sum() / s.sum()
        terms = [dy**i * dx**j for i in range(order + 1) for j in range(order + 1 - i)]
        root = np.sqrt(s[used])
        design = np.stack(terms, axis=1)[used] * root[:, None]
        if used.any():
            out[point] = np.linalg.lstsq(design, z[used] * root, rcond=None)[0][0]
    return out.reshape(scan.shape), share.reshape(scan.shape)


@st.composite
def maps(draw: st.DrawFn, largest: int = 22) -> HeightMap:
    """Small maps of any shape, oblong pixels, some points missing, some masked."""
    shape = draw(st.tuples(st.integers(1, largest), st.integers(1, largest)))
    pitch = draw(st.tuples(st.floats(0.5, 2), st.floats(0.5, 2)))
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    z = rng.standard_normal(shape) + draw(st.sampled_from([0.0, 1e3]))
    z[rng.random(shape) < draw(st.sampled_from([0.0, 0.05, 0.4]))] = np.nan
    masked = draw(st.sampled_from([0.0, 0.1]))
    return HeightMap(z, pitch, mask=rng.random(shape) < masked if masked else None)


@settings(max_examples=80, deadline=None)
@given(maps(), st.floats(2, 40), st.sampled_from(WAYS))
def test_equals_the_plain_sum(scan: HeightMap, cutoff: float, way: Any) -> None:
    """1e-10 of Sq = 1 is what the two ways promise; heights 10³ away from 0 cost three digits of sixteen."""
    found = low_pass(scan, cutoff, edges="kept", way=way)
    mean, share = plain(scan, cutoff)
    answered = scan.valid & (share >= 0.5)
    edge_cases = abs(share - 0.5) < 1e-12  # rounding decides
    assert np.array_equal(~np.isnan(found.z) | edge_cases, answered | edge_cases)
    both = answered & ~np.isnan(found.z)
    np.testing.assert_allclose(found.z[both], mean[both], rtol=0, atol=1e-10)
    if not (edge_cases | (abs(share - 0.9) < 1e-12)).any():
        assert found.sparse == np.count_nonzero(scan.valid & (share < 0.9)) / max(1, np.count_nonzero(scan.valid))
        assert found.lost == np.count_nonzero(scan.valid & ~answered)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("order", [1, 2])
def test_regression_equals_the_plain_fit(order: int, way: Any) -> None:
    """The normal equations square the condition of the plain fit: 1e-9."""
    rng = np.random.default_rng(order)
    z = rng.standard_normal((21, 26))
    z[rng.random(z.shape) < 0.2] = np.nan
    scan = HeightMap(z, (1.0, 1.4), mask=rng.random(z.shape) < 0.1)
    found = regression_low_pass(scan, 10.0, order=order, edges="kept", way=way).z
    fit, _ = plain(scan, 10.0, order)
    known = ~np.isnan(found)
    assert np.count_nonzero(known) > 0.9 * np.count_nonzero(scan.valid)
    np.testing.assert_allclose(found[known], fit[known], rtol=0, atol=1e-9)


@pytest.mark.parametrize("holes", [0.0, 0.02, 0.3])
@pytest.mark.parametrize("cutoff", [2.0, 4.1, 10.0, 31.0, 130.0, 500.0])
@pytest.mark.parametrize("pitch", [(1.0, 1.0), (3.1, 0.9)])
def test_both_ways_agree(cutoff: float, holes: float, pitch: tuple[float, float]) -> None:
    """1e-10 of Sq, with cut-offs from under two pixels of one axis to far beyond the map."""
    rng = np.random.default_rng(3)
    z = rng.standard_normal((149, 203)).cumsum(axis=1)
    z[rng.random(z.shape) < holes] = np.nan
    z[40:70, 90:130] = np.nan if holes else z[40:70, 90:130]
    scan = HeightMap(z, pitch)
    direct, waves = (low_pass(scan, cutoff, edges="kept", way=way) for way in ("direct", "waves"))
    assert np.array_equal(np.isnan(direct.z), np.isnan(waves.z))
    assert np.nanmax(abs(direct.z - waves.z)) < 1e-10 * np.nanstd(z)
    assert (direct.lost, direct.sparse) == (waves.lost, waves.sparse)


@pytest.mark.parametrize("power", [0, 1, 2, 3, 4])
@pytest.mark.parametrize(("points", "cutoff"), [(97, 11.0), (130, 60.0), (20, 90.0), (1, 5.0), (64, 2.0)])
def test_moments_along_a_line(points: int, cutoff: float, power: int) -> None:
    """Σ g(k) (k/σ)^p z(i + k), down and across, both ways, against the sum written out."""
    z = np.random.default_rng(7).standard_normal((points, 3))
    k = np.arange(points) - np.arange(points)[:, None]
    g = np.exp(-math.pi * (k / (ALPHA * cutoff)) ** 2)
    whole = np.exp(-math.pi * (np.arange(-2000, 2001) / (ALPHA * cutoff)) ** 2).sum()
    wanted = (g / whole * (k / (SIGMA * cutoff)) ** power) @ z
    for way in ("direct", "waves"):
        sums = line(points, cutoff, way, power)  # type: ignore[arg-type]
        down, across = np.empty_like(z), np.empty((3, points))
        sums.down(z, down)
        sums.across(np.ascontiguousarray(z.T), across)
        np.testing.assert_allclose(down, wanted, rtol=0, atol=1e-13)
        np.testing.assert_allclose(across, wanted.T, rtol=0, atol=1e-13)


@pytest.mark.parametrize("power", [0, 1])
def test_complex_columns(power: int) -> None:
    """The waves of the rows go down the columns as complex numbers: real and imaginary part on their own."""
    rng = np.random.default_rng(8)
    parts = rng.standard_normal((2, 50, 4))
    sums = WaveLine(50, 12.0, power)
    columns = np.zeros((sums.padded, 4), np.complex128)
    columns[:50] = parts[0] + 1j * parts[1]
    together = sums.both_ways(columns)
    for part, found in zip(parts, (together.real, together.imag), strict=True):
        alone = np.empty_like(part)
        sums.down(part, alone)
        np.testing.assert_allclose(found, alone, rtol=0, atol=1e-14)


def test_the_quicker_way() -> None:
    assert quicker_way((512, 512), (19.0, 19.0)) == "direct"
    assert quicker_way((512, 512), (30.0, 12.0)) == "waves"
    assert quicker_way((512, 512), (6000.0, 6000.0)) == "direct"  # too many zeros


def random_map(seed: int = 5, holes: float = 0.1, shape: tuple[int, int] = (40, 55)) -> HeightMap:
    rng = np.random.default_rng(seed)
    z = rng.standard_normal(shape)
    z[rng.random(shape) < holes] = np.nan
    return HeightMap(z, (1.0, 1.5))


@settings(max_examples=25, deadline=None)
@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(2, 60))
def test_linear(a: float, b: float, cutoff: float) -> None:
    """Same holes, any sum: the filter of the sum is the sum of the filters; a constant passes."""
    first = random_map()
    second = first.with_(z=first.z**2)
    together = low_pass(first.with_(z=a * first.z + b * second.z + 3), cutoff, edges="kept").z
    apart = a * low_pass(first, cutoff, edges="kept").z + b * low_pass(second, cutoff, edges="kept").z + 3
    np.testing.assert_allclose(together, apart, rtol=0, atol=1e-12 * 60)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("cutoff", [5.0, 40.0])
def test_turned_and_mirrored(way: Any, cutoff: float) -> None:
    scan = random_map()
    smooth = low_pass(scan, cutoff, edges="kept", way=way).z
    transposed = low_pass(HeightMap(scan.z.T, scan.pitch[::-1]), cutoff, edges="kept", way=way).z
    np.testing.assert_allclose(transposed.T, smooth, rtol=0, atol=1e-14)
    turned = low_pass(HeightMap(np.rot90(scan.z), scan.pitch[::-1]), cutoff, edges="kept", way=way).z
    np.testing.assert_allclose(np.rot90(turned, -1), smooth, rtol=0, atol=1e-14)
    flipped = low_pass(scan.with_(z=-scan.z[::-1]), cutoff, edges="kept", way=way).z
    np.testing.assert_allclose(-flipped[::-1], smooth, rtol=0, atol=1e-14)


def test_translation() -> None:
    """A map cut out elsewhere gives the same surface wherever both see the whole footprint."""
    whole = random_map(shape=(80, 90))
    cut = whole.with_(z=whole.z[7:75, 11:80])
    cutoff = 12.0
    there, here = (low_pass(scan, cutoff, edges="kept").z for scan in (whole, cut))
    np.testing.assert_allclose(here[21:-21, 14:-14], there[28:54, 25:66], rtol=0, atol=1e-13)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("cutoff", [3.0, 15.0, 60.0, 900.0])
def test_constant_and_plane_pass(way: Any, cutoff: float) -> None:
    """A constant everywhere and exactly; a plane where the footprint is whole; at any height above 0."""
    flat = low_pass(HeightMap(np.full((50, 61), 1e6 + 1 / 3), (1.0, 2.0)), cutoff, edges="kept", way=way).z
    assert np.array_equal(flat, np.full((50, 61), 1e6 + 1 / 3))
    with_holes = random_map().with_(z=np.where(np.isnan(random_map().z), np.nan, 7e5))
    passed = low_pass(with_holes, cutoff, edges="kept", way=way).z
    assert set(np.unique(passed[~np.isnan(passed)])) == {7e5}
    if cutoff == 15.0:
        y, x = np.mgrid[0:80, 0:80]
        plane = HeightMap(5.0 * x - 3.0 * y + 1e4, (1.0, 1.0))
        smooth = low_pass(plane, cutoff, edges="kept", way=way).z
        inner = (slice(26, -26),) * 2
        np.testing.assert_allclose(smooth[inner], plane.z[inner], rtol=0, atol=1e-11)


def test_far_from_zero() -> None:
    """10⁶ Sq above 0: the digits that the input still has survive (1e-10 of Sq is its rounding)."""
    scan = random_map()
    lifted = scan.with_(z=scan.z + 1e6)
    low, high = (low_pass(s, 9.0, edges="kept").z for s in (scan, lifted))
    np.testing.assert_allclose(high - 1e6, low, rtol=0, atol=5e-10)


def test_a_hole_is_never_filled_nor_the_filter_wider_than_its_data() -> None:
    rng = np.random.default_rng(9)
    z = rng.standard_normal((60, 60))
    z[20:50, 20:50] = np.nan
    z[35, 35] = 5.0  # an island: its footprint is empty all round
    smooth = low_pass(HeightMap(z, (1.0, 1.0)), 10.0, edges="kept")
    assert np.isnan(smooth.z[20:50, 20:50]).all()
    assert not np.isnan(smooth.z[19, 20:50]).any()  # beside a straight edge a little over half is there
    corners = [(19, 19), (19, 50), (50, 19), (50, 50)]
    assert not any(np.isnan(smooth.z[corner]) for corner in corners)
    assert smooth.lost == 1
    y, x = np.mgrid[0:60, 0:60]
    beside = np.minimum(np.minimum(abs(y - 34.5), abs(x - 34.5)), 100)
    assert 0 < smooth.sparse < np.count_nonzero(beside >= 0) / np.count_nonzero(~np.isnan(z))
    # 10 % of the weight lies beyond 1.2816 standard deviations: 2.4 px. The two rows beside the hole are sparse.
    assert smooth.sparse == pytest.approx(4 * 2 * 30 / (60 * 60 - 900 + 1), rel=0.1)


def test_masked_points_do_not_matter_and_keep_their_heights() -> None:
    scan = random_map(holes=0.0)
    mask = np.zeros(scan.shape, bool)
    mask[10:14, 20:25] = True
    wild = scan.with_(z=np.where(mask, 1e6, scan.z), mask=mask)
    tame = scan.with_(mask=mask)
    one, other = (band_pass(s, 5.0, 20.0, edges="kept") for s in (tame, wild))
    np.testing.assert_allclose(one.z[~mask], other.z[~mask], rtol=0, atol=1e-12)
    assert (one.short_rms, one.long_rms) == pytest.approx((other.short_rms, other.long_rms), rel=1e-12)
    short = np.where(mask, scan.z, low_pass(tame, 5.0, edges="kept").z)
    ground = low_pass(tame.with_(z=short), 20.0, edges="kept").z
    np.testing.assert_allclose(other.z[mask], 1e6 - ground[mask], rtol=0, atol=1e-9)


@pytest.mark.parametrize("way", WAYS)
def test_a_map_of_nothing(way: Any) -> None:
    smooth = low_pass(HeightMap(np.full((9, 9), np.nan), (1.0, 1.0)), 4.0, edges="kept", way=way)
    assert np.isnan(smooth.z).all()
    assert (smooth.lost, smooth.sparse) == (0, 0)
    assert robust_low_pass(HeightMap(np.full((9, 9), np.nan), (1.0, 1.0)), 4.0, edges="kept", way=way).converged


@pytest.mark.parametrize("way", WAYS)
def test_one_point(way: Any) -> None:
    assert low_pass(HeightMap([[4.0]], (1.0, 1.0)), 3.0, edges="kept", way=way).z.tolist() == [[4.0]]


def test_edges_are_cut_by_half_a_cutoff_on_oblong_pixels() -> None:
    smooth = low_pass(random_map(), 10.0, edges="cut")
    assert smooth.keep == (slice(5, 35), slice(4, 51))
    assert low_pass(random_map(), 10.0, edges="kept").keep == (slice(0, 40), slice(0, 55))


def test_a_band_keeps_what_its_two_filters_leave() -> None:
    scan = random_map(holes=0.0)
    banded = band_pass(scan, 5.0, 12.0, edges="cut")
    short = low_pass(scan, 5.0, edges="kept").z
    long = low_pass(scan.with_(z=short), 12.0, edges="kept").z
    assert banded.keep == (slice(6, 34), slice(4, 51))
    np.testing.assert_allclose(banded.z, (short - long)[banded.keep], rtol=0, atol=1e-15)
    assert banded.short_rms == pytest.approx((scan.z - short)[banded.keep].std(), rel=1e-12)
    assert banded.long_rms == pytest.approx(long[banded.keep].std(), rel=1e-12)
    assert banded.removed_rms == pytest.approx((scan.z[banded.keep] - banded.z).std(), rel=1e-12)
    assert not banded.z.flags.writeable
    assert not np.may_share_memory(banded.z, scan.z)


@pytest.mark.parametrize("cutoff", [0.0, -1.0, math.nan, math.inf])
def test_bad_cutoffs(cutoff: float) -> None:
    for call in (low_pass, robust_low_pass):
        with pytest.raises(QuantityError):
            call(random_map(), cutoff, edges="kept")
    with pytest.raises(QuantityError):
        LocalFits((9, 9), (1.0, 1.0), cutoff, 1)


def test_refusals() -> None:
    scan = random_map()
    with pytest.raises(MapError, match="Edges"):
        low_pass(scan, 5.0, edges="mirrored")  # type: ignore[arg-type]
    with pytest.raises(MapError, match="nothing"):
        low_pass(scan, 40.0, edges="cut")
    with pytest.raises(MapError, match="order"):
        regression_low_pass(scan, 5.0, order=3, edges="kept")
    with pytest.raises(MapError, match="empty"):
        band_pass(scan, 9.0, 9.0, edges="kept")
    with pytest.raises(MapError, match="without limits"):
        band_pass(scan, None, None, edges="kept")


def test_made_once_used_often() -> None:
    """One lattice, many sets of weights: nothing is left over from the call before."""
    lattice = AreaGaussian((30, 31), (1.0, 1.0), 7.0)
    rng = np.random.default_rng(4)
    z = rng.standard_normal((30, 31))
    before = lattice.mean(lambda rows: z[rows])
    lattice.weighted(lambda rows: np.maximum(z[rows], 0), lambda rows: (z[rows] > 0).astype(float))
    assert np.array_equal(lattice.mean(lambda rows: z[rows]), before)


def test_robust_search_stops_and_says_how() -> None:
    rng = np.random.default_rng(12)
    z = rng.standard_normal((90, 90))
    z[rng.random(z.shape) < 0.02] += 30
    scan = HeightMap(z, (1.0, 1.0))
    settled = robust_low_pass(scan, 20.0, edges="kept")
    hasty = robust_low_pass(scan, 20.0, edges="kept", most_rounds=2)
    assert settled.converged
    assert 3 < settled.rounds < 40
    assert (hasty.rounds, hasty.converged) == (2, False)
    # white ground of Sq 1 leaves 1.5·(1/20)·… = 0.075 in the low-pass; spikes of 30 on 2 % would lift it by 0.6
    assert abs(np.nanmean(settled.z)) < 0.05
    assert low_pass(scan, 20.0, edges="kept").z.mean() > 0.5


@pytest.mark.parametrize("order", [0, 1])
def test_robust_leaves_what_has_no_outliers(order: int) -> None:
    """On a smooth wave far longer than the cut-off, robust and linear surfaces are nearly the same one."""
    x = np.arange(120.0)
    rng = np.random.default_rng(13)
    scan = HeightMap(
        np.cos(2 * np.pi * x / 100) * np.ones((120, 1)) + 0.3 * rng.standard_normal((120, 120)), (1.0, 1.0)
    )
    linear, robust = low_pass(scan, 20.0, edges="cut"), robust_low_pass(scan, 20.0, edges="cut", order=order)
    difference = (linear.z - robust.z)[linear.keep]
    # the biweight spares 90 % of Gaussian residuals' weight: the means differ by a fraction of their own noise, 0.02
    assert difference.std() < 0.02


@pytest.mark.parametrize("order", [0, 1, 2])
def test_robust_on_ground_that_is_met_exactly(order: int) -> None:
    """Far from one bump a flat ground is met to the last digit, so the median residual is 0 from the first round on."""
    z = np.full((120, 120), 2.0)
    z[60:63, 60:63] = 9.0
    smooth = robust_low_pass(HeightMap(z, (1.0, 1.0)), 20.0, edges="kept", order=order)
    assert smooth.converged
    np.testing.assert_allclose(smooth.z, 2.0, rtol=0, atol=1e-3)


def test_robust_with_holes_both_ways() -> None:
    scan = random_map(holes=0.2)
    direct, waves = (robust_low_pass(scan, 12.0, edges="kept", way=way) for way in ("direct", "waves"))
    assert direct.rounds == waves.rounds
    np.testing.assert_allclose(direct.z, waves.z, rtol=0, atol=1e-9)


def test_robust_ground_under_bumps_on_a_bow() -> None:
    """Order 1 finds the ground of a bowed, smooth specimen under bumps; order 0 eats its way in from the edges."""
    rng = np.random.default_rng(1)
    y, x = (np.mgrid[:160, :160] - 80) / 160
    bow = 4 * (x**2 + y**2) + 2 * x
    z = bow + 0.05 * rng.standard_normal(bow.shape)
    for top, left in rng.integers(20, 130, (8, 2)):
        z[top : top + 6, left : left + 6] += 5
    errors = []
    for order in (0, 1):
        smooth = robust_low_pass(HeightMap(z, (1.0, 1.0)), 40.0, edges="cut", order=order)
        errors.append(float(((smooth.z - bow)[smooth.keep]).std()))
    assert errors[1] < 0.01 < errors[0]
