"""Row corrections against a plain loop over the rows."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from core.heightmap import HeightMap
from core.treatment import Rows
from core.treatment.rows import row_medians

PITCH = (1e-8, 1e-8)
quick = settings(max_examples=30, deadline=None)
kinds = st.sampled_from(
    [
        Rows(),
        Rows(by="median-of-differences"),
        Rows(remove="polynomial", degree=1),
        Rows(remove="polynomial", degree=2),
        Rows(remove="polynomial", degree=3),
    ]
)


def removed_by_loop(z: NDArray[np.float64], step: Rows) -> NDArray[np.float64]:
    """What is to be taken off, before the mean is given back: a loop over rows, NaN where a row is left as it is."""
    out = np.full(z.shape, np.nan)
    x = np.linspace(-1, 1, z.shape[1])
    offset, previous = 0.0, None
    for row, line in enumerate(z):
        used = ~np.isnan(line)
        if step.remove == "polynomial":
            assert step.degree is not None
            if used.sum() >= step.degree + 2:
                form = np.polynomial.legendre.legfit(x[used], line[used], step.degree)
                out[row] = np.polynomial.legendre.legval(x, form)
        elif used.sum() >= 2:
            if step.by == "median":
                offset = float(np.median(line[used]))
            elif previous is not None:
                difference = line - z[previous]
                difference = difference[~np.isnan(difference)]
                offset += float(np.median(difference)) if difference.size >= 2 else 0.0
            previous = row
            out[row] = offset
    return out


def striped(seed: int, rows: int, columns: int) -> NDArray[np.float64]:
    rng = np.random.default_rng(seed)
    slope = rng.standard_normal(rows)[:, None] * np.linspace(0, 1, columns)
    return np.asarray(1e-9 * (rng.standard_normal((rows, columns)) + 3 * rng.standard_normal((rows, 1)) + slope + 20))


@quick
@given(st.integers(0, 10**6), st.integers(1, 150), st.integers(6, 50), kinds, st.sampled_from([0.0, 0.1, 0.5]))
def test_equals_a_loop_over_rows(seed: int, rows: int, columns: int, step: Rows, share: float) -> None:
    z = striped(seed, rows, columns)
    rng = np.random.default_rng(seed + 1)
    mask = rng.random(z.shape) < share / 2
    holed = np.where(rng.random(z.shape) < share / 2, np.nan, z)
    scan = HeightMap(holed, PITCH, mask=mask)
    treated = step.apply(scan)

    counted = np.where(scan.used, z, np.nan)
    removed = removed_by_loop(counted, step)
    decided = ~np.isnan(removed[:, 0])
    used = scan.used & decided[:, None]
    removed -= removed[used].mean() if used.any() else 0.0
    removed[~decided] = 0.0
    wanted = holed - removed

    assert treated.z == pytest.approx(wanted, abs=1e-17, nan_ok=True)  # heights of 2e-8
    figures = treated.history[-1].figures
    total = np.count_nonzero(scan.used)
    rms = np.sqrt(np.sum(removed[used] ** 2) / total) if total else 0.0
    assert figures["removed_rms_m"] == pytest.approx(rms, rel=1e-6, abs=1e-18)
    assert figures["rows_skipped"] >= np.count_nonzero(~decided)


@quick
@given(st.integers(0, 10**6), kinds)
def test_the_mean_stays_and_stripes_go(seed: int, step: Rows) -> None:
    z = striped(seed, 40, 60)
    offsets = 1e-8 * np.random.default_rng(seed + 9).standard_normal((40, 1))
    offsets -= offsets.mean()
    plain, shifted = (step.apply(HeightMap(h, PITCH)).z for h in (z, z + offsets))
    assert plain.mean() == pytest.approx(z.mean(), rel=1e-12)
    assert shifted == pytest.approx(plain, abs=1e-20)


@pytest.mark.parametrize("step", [Rows(), Rows(by="median-of-differences"), Rows(remove="polynomial", degree=2)])
def test_rows_without_points_stay_and_are_counted(step: Rows) -> None:
    z = striped(1, 20, 30)
    mask = np.zeros(z.shape, bool)
    mask[7] = True
    z[3, 1:] = np.nan
    treated = step.apply(HeightMap(z, PITCH, mask=mask))
    assert treated.history[-1].figures["rows_skipped"] == 2
    assert np.array_equal(treated.z[7], z[7])
    assert treated.z[3, 0] == z[3, 0]


def test_differences_bridge_a_lost_row() -> None:
    """The row after a gap is compared with the last row before it, so one offset on either side still goes."""
    surface = np.broadcast_to(np.sin(np.arange(50.0)), (9, 50))
    offsets = np.array([0.0, 1, 2, 3, 0, 7, 8, 9, 10])[:, None]
    z = surface + offsets
    z[4] = np.nan
    treated = Rows(by="median-of-differences").apply(HeightMap(z, PITCH))
    rest = np.delete(treated.z, 4, axis=0)
    assert rest == pytest.approx(np.broadcast_to(rest[0], rest.shape), abs=1e-13)


def test_rows_that_share_no_columns_are_counted() -> None:
    z = np.ones((4, 10))
    z[:2, 5:] = np.nan
    z[2:, :5] = np.nan
    treated = Rows(by="median-of-differences").apply(HeightMap(z, PITCH))
    assert treated.history[-1].figures["rows_skipped"] == 1


def test_differences_do_not_see_a_terrace() -> None:
    """A step along the slow axis half across the map: differences keep it, medians would tilt every row to 0."""
    z = np.zeros((20, 31))
    z[10:, :15] = 3.0
    kept = Rows(by="median-of-differences").apply(HeightMap(z, PITCH))
    assert np.array_equal(kept.z, z)


@pytest.mark.parametrize("step", [Rows(), Rows(by="median-of-differences"), Rows(remove="polynomial", degree=3)])
def test_nothing_measured(step: Rows) -> None:
    treated = step.apply(HeightMap(np.full((5, 6), np.nan), PITCH))
    assert treated.history[-1].figures == {"removed_rms_m": 0.0, "rows_skipped": 5.0}


def test_too_few_columns_for_a_polynomial() -> None:
    z = striped(1, 5, 3)
    treated = Rows(remove="polynomial", degree=3).apply(HeightMap(z, PITCH))
    assert treated.z == pytest.approx(z, rel=1e-15)
    assert treated.history[-1].figures["rows_skipped"] == 5


@quick
@given(st.integers(0, 10**6), st.integers(1, 30), st.floats(0, 1))
def test_row_medians(seed: int, columns: int, share: float) -> None:
    rng = np.random.default_rng(seed)
    z = np.where(rng.random((9, columns)) < share, np.nan, rng.standard_normal((9, columns)))
    medians, points = row_medians(z)
    for line, middle, count in zip(z, medians, points, strict=True):
        good = line[~np.isnan(line)]
        assert count == good.size
        assert middle == pytest.approx(np.median(good) if good.size else 0.0, rel=1e-14, abs=1e-14)


def test_no_row_is_disturbed_by_rounding_far_from_zero() -> None:
    z = striped(2, 30, 80) + 1e-3
    treated = Rows(remove="polynomial", degree=2).apply(HeightMap(z, PITCH))
    near = Rows(remove="polynomial", degree=2).apply(HeightMap(z - 1e-3, PITCH))
    assert treated.z - 1e-3 == pytest.approx(near.z, abs=1e-18)  # the spacing of doubles at 1 mm is 2e-19
