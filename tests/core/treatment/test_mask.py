"""Masking outliers: who is found, how the mask grows, and that heights survive."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from core.errors import TreatmentError
from core.heightmap import HeightMap
from core.treatment import Mask
from core.treatment.mask import grown

PITCH = (1e-8, 1e-8)


def film(seed: int = 1, side: int = 96) -> np.ndarray:
    return 1e-10 * np.random.default_rng(seed).standard_normal((side, side))


def test_specks_are_found_and_heights_survive() -> None:
    z = film()
    z[20:23, 30:33] = 20e-9
    z[70, 10] = -5e-9
    masked = Mask(k=6.0, grow="0 px").apply(HeightMap(z, PITCH))
    wanted = np.zeros(z.shape, bool)
    wanted[20:23, 30:33] = wanted[70, 10] = True
    assert masked.mask is not None
    assert np.array_equal(masked.mask, wanted)
    assert np.array_equal(masked.z, z)
    figures = masked.history[-1].figures
    assert (figures["points_masked"], figures["fraction"]) == (10, 10 / z.size)
    assert figures["sigma_m"] == pytest.approx(1e-10, rel=0.03)


def test_a_tilt_hides_no_speck() -> None:
    z = film() + 1e-9 * np.arange(96)
    z[50, 50] += 2e-9
    masked = Mask(k=6.0, grow="0 px").apply(HeightMap(z, PITCH))
    assert masked.masked == 1
    assert masked.mask is not None
    assert masked.mask[50, 50]


def test_a_giant_hides_no_speck() -> None:
    """A grain of 10⁴ sigma in a corner tilts the first plane so much that a speck of 12 sigma shows only without it."""
    z = film()
    z[:6, :6] += 1e-6
    z[60, 60] = 1.2e-9
    masked = Mask(k=6.0, grow="0 px").apply(HeightMap(z, PITCH))
    wanted = np.zeros(z.shape, bool)
    wanted[:6, :6] = wanted[60, 60] = True
    assert masked.mask is not None
    assert np.array_equal(masked.mask, wanted)
    assert masked.history[-1].figures["rounds"] == 3  # the giant, the speck, nothing more


def test_existing_masks_are_added_to_and_missing_points_never_counted() -> None:
    z = film()
    z[20, 20] = 9e-9
    z[5, 5] = np.nan
    before = np.zeros(z.shape, bool)
    before[0] = True
    masked = Mask(k=6.0, grow="0 px").apply(HeightMap(z, PITCH, mask=before))
    assert masked.masked == 96 + 1
    assert masked.history[-1].figures["points_masked"] == 1
    assert masked.missing == 1


@pytest.mark.parametrize("z", [np.zeros((20, 20)), np.where(np.arange(400).reshape(20, 20) % 7 == 0, 1e-9, 0.0)])
def test_no_robust_sigma_no_mask(z: np.ndarray) -> None:
    masked = Mask().apply(HeightMap(z, PITCH))
    # A plane through equal heights leaves residuals of rounding only where the heights differ.
    assert masked.masked == 0 or masked.history[-1].figures["sigma_m"] > 0
    if not z.any():
        assert masked.mask is None
        assert "nothing masked" in masked.history[-1].removed


def test_false_alarms_are_as_rare_as_stated() -> None:
    """Beyond 4 sigma lie 33.2 of 1024² Gaussian points on either side (reference 9.03); 5 scatters are allowed."""
    masked = Mask(k=4.0, grow="0 px").apply(HeightMap(film(3, 1024), PITCH))
    assert masked.masked == pytest.approx(2 * 33.21, abs=5 * np.sqrt(66))


@pytest.mark.parametrize(("down", "across"), [(0, 0), (1, 1), (2, 2), (2.5, 2.5), (3, 1.2), (1, 4), (0.4, 3), (50, 50)])
def test_growth_equals_distance(down: float, across: float) -> None:
    rng = np.random.default_rng(2)
    mask = rng.random((40, 33)) < 0.01
    mask[0, 0] = mask[-1, 5] = True
    tiny = 1e-6
    distance = ndimage.distance_transform_edt(~mask, sampling=(1 / max(down, tiny), 1 / max(across, tiny)))
    assert np.array_equal(grown(mask, down, across), distance <= 1 + 1e-9)


def test_growth_by_a_length_is_a_disc_on_the_specimen() -> None:
    z = film()
    z[48, 48] = 9e-9
    masked = Mask(k=6.0, grow="40 nm").apply(HeightMap(z, (2e-8, 1e-8)))
    assert masked.mask is not None
    rows, columns = np.nonzero(masked.mask)
    assert (rows.min(), rows.max(), columns.min(), columns.max()) == (46, 50, 44, 52)


def test_growth_of_nothing() -> None:
    assert not grown(np.zeros((5, 5), bool), 3, 3).any()


def test_mask_that_would_leave_nothing() -> None:
    z = film(side=16)
    z[8, 8] = 9e-9
    with pytest.raises(TreatmentError):
        Mask(k=6.0, grow="1 um").apply(HeightMap(z, PITCH))
