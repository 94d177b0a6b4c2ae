"""Filling, resampling and the plane through three points, against closed forms.

All derived here: harmonic functions solve the discrete equation exactly, means of covered points are worked out by
hand.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.errors import TreatmentError
from core.heightmap import HeightMap
from core.treatment import Fill, Level, Resample, Treatment
from core.treatment.frame import Frame

PITCH = (1e-8, 2e-8)


def test_a_harmonic_surface_is_filled_exactly() -> None:
    # x² − y² and any plane solve the discrete Laplace equation with distances exactly.
    y, x = np.mgrid[0:30, 0:40].astype(float)
    z = (x * PITCH[1]) ** 2 - (y * PITCH[0]) ** 2 + 0.3 * x * PITCH[1]
    holed = z.copy()
    holed[5:9, 10:14] = np.nan
    holed[20, 30] = np.nan
    filled = Fill(largest="100 nm").apply(HeightMap(holed, PITCH))
    assert filled.missing == 0
    assert filled.z == pytest.approx(z, rel=1e-9, abs=1e-22)
    assert (filled.mask == np.isnan(holed)).all()
    assert filled.history[-1].figures["filled_points"] == 17


def test_large_holes_stay_and_are_counted() -> None:
    z = np.zeros((20, 20))
    z[2:9, 2:5], z[15, 15] = np.nan, np.nan
    filled = Fill(largest="5 px").apply(HeightMap(z, PITCH))
    assert filled.missing == 21
    assert filled.history[-1].figures["holes_left"] == 1


def test_without_holes_nothing_changes() -> None:
    scan = HeightMap(np.arange(12.0).reshape(3, 4), PITCH)
    filled = Fill().apply(scan)
    assert filled.z is scan.z or (filled.z == scan.z).all()
    assert filled.mask is None


@settings(deadline=None, max_examples=40)
@given(seed=st.integers(0, 10_000), share=st.floats(0.0, 0.6))
def test_filled_heights_lie_within_their_surroundings(seed: int, share: float) -> None:
    rng = np.random.default_rng(seed)
    z = rng.standard_normal((12, 15))
    z[rng.random(z.shape) < share] = np.nan
    if np.isnan(z).all():
        return
    filled = Fill(largest="20 px").apply(HeightMap(z, PITCH))
    assert filled.missing == 0
    assert np.nanmin(z) - 1e-9 <= filled.z.min() and filled.z.max() <= np.nanmax(z) + 1e-9


def test_pixels_are_means_with_shares() -> None:
    z = np.arange(12.0).reshape(3, 4)
    half = Resample(to="20 nm").apply(HeightMap(np.repeat(np.repeat(z, 2, axis=0), 2, axis=1), (1e-8, 1e-8)))
    assert (half.z == z).all() and half.pitch == pytest.approx((2e-8, 2e-8), rel=1e-12)
    third = Resample(to="15 nm").apply(HeightMap(np.tile([0.0, 1.0, 2.0], (3, 1)), (1e-8, 1e-8)))
    assert third.z == pytest.approx(np.tile([1 / 3, 5 / 3], (2, 1)), rel=1e-12)
    assert third.pitch == pytest.approx((1.5e-8, 1.5e-8))


def test_missing_and_masked_points_are_left_out() -> None:
    z = np.array([[0.0, 4.0, np.nan, np.nan], [np.nan, 4.0, np.nan, 1.0]] * 2)
    mask = np.zeros(z.shape, dtype=bool)
    mask[:, 0] = True
    small = Resample(to="20 nm").apply(HeightMap(z, (1e-8, 1e-8), mask=mask))
    assert small.z[0, 0] == 4.0  # of three measured points two count
    assert np.isnan(small.z[0, 1])  # one of four was measured
    mask[:, 1] = True
    small = Resample(to="20 nm").apply(HeightMap(z, (1e-8, 1e-8), mask=mask))
    assert small.mask is not None and small.mask[0, 0]
    assert small.z[0, 0] == pytest.approx(8 / 3)  # masked, and shown as what was measured there


def test_common_is_the_coarsest_pixel_and_finer_ones_are_refused() -> None:
    frames = [Frame((100, 100), (1e-8, 1e-8)), Frame((64, 64), (4e-8, 2e-8))]
    settled = Resample().resolve(frames)
    assert settled.to == "40 nm"
    assert settled.frame(frames[0]) == Frame((25, 25), (4e-8, 4e-8))
    with pytest.raises(TreatmentError, match="finer"):
        Resample(to="20 nm").frame(frames[1])
    with pytest.raises(TreatmentError, match="leave"):
        Resample(to="1 um").frame(frames[0])
    for wrong in ("", "2", "-3 nm", "red"):
        with pytest.raises(TreatmentError):
            Resample(to=wrong)


def test_the_mean_of_a_complete_map_is_kept() -> None:
    rng = np.random.default_rng(3)
    scan = HeightMap(rng.standard_normal((37, 53)), (1e-8, 1e-8))
    small = Resample(to="31 nm").apply(scan)
    assert small.z.mean() == pytest.approx(scan.z.mean(), abs=1e-12)


def test_three_points_take_a_plane_off_and_leave_them_at_zero() -> None:
    y, x = np.mgrid[0:41, 0:61]
    plane = 1e-9 + 0.02 * x * PITCH[1] - 0.01 * y * PITCH[0]
    bump = np.zeros(plane.shape)
    bump[15:25, 25:35] = 50e-9  # a plane of best fit would lean towards it
    level = Level(form="three-points", points="10% 10%, 90% 10%, 50% 90%").apply(HeightMap(plane + bump, PITCH))
    assert level.z == pytest.approx(bump, abs=1e-20)
    assert level.history[-1].figures["slope_x"] == pytest.approx(0.02, rel=1e-9)
    assert level.history[-1].figures["slope_y"] == pytest.approx(-0.01, rel=1e-9)


def test_points_take_the_median_about_them() -> None:
    z = np.zeros((41, 41))
    z[4, 4] = 1e-6  # a speck on the very point
    level = Level(form="three-points", points="10% 10%, 90% 10%, 50% 90%", about="5 px").apply(HeightMap(z, PITCH))
    assert level.z[20, 20] == 0.0


def test_three_points_that_make_no_plane_are_refused() -> None:
    for points in (None, "10% 10%", "10% 10%, 20% 20%, 30% 30%", "10% 10%, 90% 10%, 50% 900%", "a, b, c"):
        with pytest.raises(TreatmentError):
            Level(form="three-points", points=points)
    with pytest.raises(TreatmentError, match="only with"):
        Level(form="plane", points="10% 10%, 90% 10%, 50% 90%")
    z = np.zeros((20, 20))
    z[:8, :8] = np.nan
    with pytest.raises(TreatmentError, match="Nothing is measured"):
        Level(form="three-points", points="10% 10%, 90% 10%, 50% 90%").apply(HeightMap(z, PITCH))


def test_they_travel_as_toml() -> None:
    treatment = Treatment(
        (
            Fill(largest="40 nm"),
            Level(form="three-points", points="10% 10%, 90% 10%, 50% 90%"),
            Resample(to="20 nm"),
            Fill(on=False),
        )
    )
    assert Treatment.from_toml(treatment.to_toml()) == treatment
    assert treatment.describe() == "holes up to 40 nm filled and masked, levelled by three points, resampled to 20 nm"
