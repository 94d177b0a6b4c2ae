"""Polynomial fits by blocks and weights against a dense least-squares solution over all points."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from core.errors import TreatmentError
from core.heightmap import HeightMap
from core.polynomials.basis import orthonormal
from core.polynomials.fit import DEGREES, fit_polynomial

PITCH = (3e-8, 0.7e-8)
quick = settings(max_examples=40, deadline=None)


def dense(scan: HeightMap, degree: int) -> NDArray[np.float64]:
    """The surface of best fit: a design matrix of products of Legendre polynomials and numpy's least squares."""
    ny, nx = scan.shape
    down = np.polynomial.legendre.legvander(np.linspace(-1, 1, ny), degree)
    across = np.polynomial.legendre.legvander(np.linspace(-1, 1, nx), degree)
    design = np.stack(
        [np.outer(down[:, i], across[:, j]).ravel() for i in range(degree + 1) for j in range(degree + 1 - i)], axis=1
    )
    used = scan.used.ravel()
    form, *_ = np.linalg.lstsq(design[used], scan.z.ravel()[used], rcond=None)
    return np.asarray((design @ form).reshape(scan.shape))


def rough(seed: int, rows: int, columns: int) -> NDArray[np.float64]:
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:rows, 0:columns]
    return np.asarray(1e-9 * (rng.standard_normal((rows, columns)) + 0.3 * x - 0.2 * y + 0.01 * x * y + 50))


@quick
@given(st.integers(0, 10**6), st.integers(12, 150), st.integers(12, 90), st.sampled_from(list(DEGREES)))
def test_complete_maps(seed: int, rows: int, columns: int, degree: int) -> None:
    scan = HeightMap(rough(seed, rows, columns), PITCH)
    fit = fit_polynomial(scan, degree)
    wanted = dense(scan, degree)
    assert fit.evaluate() == pytest.approx(wanted, rel=1e-9, abs=1e-19)
    assert fit.residual == pytest.approx(scan.z - wanted, abs=1e-19)  # 1e-10 of Sq, which the dense solution reaches
    assert fit.rms == pytest.approx(np.std(wanted), rel=1e-9)


@quick
@given(
    st.integers(0, 10**6),
    st.integers(12, 90),
    st.integers(12, 90),
    st.sampled_from(list(DEGREES)),
    st.floats(0.01, 0.6),
)
def test_holes_and_masks_by_weights(seed: int, rows: int, columns: int, degree: int, share: float) -> None:
    rng = np.random.default_rng(seed + 1)
    z = rough(seed, rows, columns)
    mask = rng.random(z.shape) < share / 2
    holed = np.where(rng.random(z.shape) < share / 2, np.nan, z)
    scan = HeightMap(holed, PITCH, mask=mask)
    fit = fit_polynomial(scan, degree)
    wanted = dense(scan, degree)
    used = scan.used
    spread = float(np.std(z))
    # Points without neighbours at the edge are extrapolated to; there both solutions have fewer digits.
    assert fit.residual[used] == pytest.approx((z - wanted)[used], abs=1e-9 * spread)
    assert np.array_equal(np.isnan(fit.residual), np.isnan(holed))
    assert fit.residual[used].mean() == pytest.approx(0, abs=1e-13 * spread)
    assert fit.rms == pytest.approx(np.std(wanted[used]), rel=1e-7)


def test_what_lies_under_holes_and_masks_does_not_matter() -> None:
    z = rough(3, 40, 30)
    mask = np.zeros(z.shape, bool)
    mask[5:9, 5:9] = True
    wild = z.copy()
    wild[5:9, 5:9] = 1.0
    one, other = (fit_polynomial(HeightMap(h, PITCH, mask=mask), 2) for h in (z, wild))
    assert other.evaluate() == pytest.approx(one.evaluate(), rel=1e-13)
    assert other.residual[6, 6] == pytest.approx(1.0)  # masked points keep their heights


@pytest.mark.parametrize("holes", [False, True])
def test_plane_is_found_with_oblong_pixels(holes: bool) -> None:
    y, x = np.mgrid[0:70, 0:50]
    z = 2e-9 + 0.02 * x * PITCH[1] - 0.005 * y * PITCH[0]
    if holes:
        z[np.random.default_rng(1).random(z.shape) < 0.3] = np.nan
    fit = fit_polynomial(HeightMap(z, PITCH), 1)
    assert fit.tilt == pytest.approx((-0.005, 0.02), rel=1e-12)
    assert np.nanmax(np.abs(fit.residual)) < 1e-22


@pytest.mark.parametrize("degree", [1, 3])
@pytest.mark.parametrize("holes", [False, True])
def test_far_from_zero_and_steep(degree: int, holes: bool) -> None:
    """Offset 10⁶ Sq, tilt 10⁴ Sq: the residual agrees with long double to 3e-11 Sq.

    A surface of 1.5·10⁴ Sq is rounded to 3e-12 Sq in each of its up to ten terms. (Plain least squares: 1e-9.)
    """
    rng = np.random.default_rng(4)
    n = 128
    tilt = np.linspace(-1e4, 1e4, n)
    z = 1e-9 * (rng.standard_normal((n, n)) + tilt + 0.5 * tilt[:, None] + 1e6)
    if holes:
        z[rng.random(z.shape) < 0.1] = np.nan
    fit = fit_polynomial(HeightMap(z, PITCH), degree)
    wanted = residual_in_long_double(z, degree)
    assert np.nanmax(np.abs(fit.residual - wanted)) < 3e-11 * 1e-9


def residual_in_long_double(z: NDArray[np.float64], degree: int) -> NDArray[np.longdouble]:
    """Normal equations in long double, refined: far more digits than asked for."""
    n = len(z)
    along = np.polynomial.legendre.legvander(np.linspace(-1, 1, n), degree).astype(np.longdouble)
    terms = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
    design = np.stack([np.multiply.outer(along[:, i], along[:, j]).ravel() for i, j in terms], axis=1)
    used = ~np.isnan(z.ravel())
    left = z.ravel()[used].astype(np.longdouble)
    left -= left.mean()
    part = design[used]
    inverse = np.linalg.inv((part.T @ part).astype(float))
    for _ in range(6):
        left -= part @ (inverse @ (part.T @ left))
    out = np.full(z.size, np.nan, np.longdouble)
    out[used] = left
    return out.reshape(z.shape)


@quick
@given(st.integers(0, 10**6), st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(-1e-6, 1e-6))
def test_an_added_plane_goes_again(seed: int, slope_x: float, slope_y: float, up: float) -> None:
    """Reference 1.23: z + c + a x + b y, then plane levelling, leaves Sq as it was."""
    z = rough(seed, 40, 30)
    y, x = np.mgrid[0:40, 0:30]
    tilted = z + slope_x * x * PITCH[1] + slope_y * y * PITCH[0] + up
    before, after = (fit_polynomial(HeightMap(h, PITCH), 1) for h in (z, tilted))
    assert after.residual == pytest.approx(before.residual, abs=1e-9 * float(np.std(before.residual)))
    assert after.tilt[1] - before.tilt[1] == pytest.approx(slope_x, abs=1e-9)


def test_narrow_cluster_is_fitted_where_it_lies() -> None:
    """All points in one corner of a large map: the basis is made over them, not over the map."""
    z = np.full((600, 600), np.nan)
    z[:12, 580:592] = rough(8, 12, 12)
    fit = fit_polynomial(HeightMap(z, PITCH), 5)
    alone = fit_polynomial(HeightMap(z[:12, 580:592], PITCH), 5)
    assert fit.residual[:12, 580:592] == pytest.approx(alone.residual, abs=1e-18)


def on(points: list[tuple[int, int]], shape: tuple[int, int] = (20, 20)) -> HeightMap:
    z = np.full(shape, np.nan)
    for row, column in points:
        z[row, column] = 1e-9 * (row + column)
    return HeightMap(z, PITCH)


@pytest.mark.parametrize(
    "scan",
    [
        on([]),
        on([(3, 3)]),
        on([(3, 3), (7, 9)]),
        on([(k, k) for k in range(20)]),
        on([(4, k) for k in range(20)]),
        on([(k, 4) for k in range(20)]),
        HeightMap([[1.0, 2.0, 3.0]], PITCH),
    ],
    ids=["none", "one", "two", "diagonal", "one row", "one column", "single line"],
)
def test_points_that_determine_no_plane(scan: HeightMap) -> None:
    with pytest.raises(TreatmentError) as refusal:
        fit_polynomial(scan, 1)
    assert refusal.value.fix


def test_three_points_determine_a_plane() -> None:
    fit = fit_polynomial(on([(0, 0), (19, 3), (2, 19)]), 1)
    assert np.nanmax(np.abs(fit.residual)) < 1e-22


@pytest.mark.parametrize("degree", [0, 8, -1])
def test_degrees_that_are_not_offered(degree: int) -> None:
    with pytest.raises(TreatmentError):
        fit_polynomial(HeightMap(np.zeros((9, 9)), PITCH), degree)


@pytest.mark.parametrize(("n", "degree"), [(2, 1), (6, 5), (64, 5), (4096, 5), (8, 7), (4096, 7)])
def test_basis_is_orthonormal(n: int, degree: int) -> None:
    columns = orthonormal(n, degree)
    assert columns.T @ columns / n == pytest.approx(np.eye(degree + 1), abs=1e-13)
    assert (columns[:, 0] == 1).all()
    assert (columns[-1] > 0).all()
    assert not columns.flags.writeable
