"""Masking: who is found, how the mask grows, and that heights survive."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from core.errors import TreatmentError
from core.heightmap import HeightMap
from core.synthetic import streaks
from core.synthetic.artefacts import clipped
from core.synthetic.features import specks
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


def test_a_clipped_range_is_masked_and_its_level_counterpart_is_not() -> None:
    z = clipped(film() + 1e-12 * np.arange(96)[:, None], share=0.01)
    masked = Mask(what="clipped", grow="0 px").apply(HeightMap(z, PITCH))
    assert masked.mask is not None
    assert np.array_equal(masked.mask, z == z.max())
    assert masked.masked == 93  # 1 % of 96², rounded up
    levelled = Mask(what="clipped").apply(HeightMap(z - 1e-12 * np.arange(96)[:, None], PITCH))
    assert levelled.mask is None
    assert "levelling hides" in levelled.history[-1].removed


def test_both_ends_of_the_range_are_masked() -> None:
    z = clipped(clipped(film(), share=0.002), share=0.003, end="bottom")
    masked = Mask(what="clipped", grow="0 px").apply(HeightMap(z, PITCH))
    assert masked.mask is not None
    assert np.array_equal(masked.mask, (z == z.max()) | (z == z.min()))


def test_streaks_are_masked_and_a_tilt_does_not_hide_them() -> None:
    added, truth = streaks((96, 96), share=0.005, height=2e-9, length=12, rng=np.random.default_rng(3))
    z = film() + added + 5e-9 * np.arange(96)[:, None]
    masked = Mask(what="streaks").apply(HeightMap(z, PITCH))
    assert masked.mask is not None
    inner = truth.copy()
    inner[[0, -1]] = False  # these rows have one neighbour only
    assert np.array_equal(masked.mask, inner)
    assert np.array_equal(masked.z, z)
    assert Mask(what="streaks").apply(HeightMap(film(), PITCH)).mask is None


def test_the_top_of_a_dome_is_no_streak() -> None:
    y, x = np.mgrid[0:96, 0:96]
    z = film() + np.maximum(0.0, 3e-8 * (1 - ((y - 40) ** 2 + (x - 50) ** 2) / 10**2))
    assert Mask(what="streaks").apply(HeightMap(z, PITCH)).mask is None


def test_a_rectangle_is_masked_and_cut_off_at_the_edge() -> None:
    scan = HeightMap(film(), (2e-8, 1e-8))
    masked = Mask(what="rectangle", top="40 nm", height="60 nm", left="90 px", width="20 px").apply(scan)
    wanted = np.zeros(scan.shape, bool)
    wanted[2:5, 90:] = True
    assert masked.mask is not None
    assert np.array_equal(masked.mask, wanted)
    assert Mask(what="rectangle", left="200 px").apply(scan).mask is None
    with pytest.raises(TreatmentError, match="no point"):
        Mask(what="rectangle").apply(scan)


@pytest.mark.parametrize(
    "values",
    [
        {"what": "clipped", "k": 5.0},
        {"what": "rectangle", "grow": "2 px"},
        {"what": "outliers", "left": "2 px"},
        {"what": "streaks", "height": "2 px"},
        {"what": "rectangle", "width": "2 parsec"},
        {"what": "dust"},
        {"what": "bumps", "particle": "2 parsec"},
        {"what": "bumps", "particle": "-2 nm"},
        {"what": "outliers", "particle": "20 nm"},
        {"what": "bumps", "left": "2 px"},
    ],
)
def test_parameters_that_would_do_nothing_are_refused(values: dict[str, object]) -> None:
    with pytest.raises(TreatmentError):
        Mask(**values)  # type: ignore[arg-type]


def test_bumps_are_masked_whole_on_a_tilt_and_heights_survive() -> None:
    """Paraboloids of known base: the mask covers all of it down to 1.5 σ, and takes little ground besides."""
    rng = np.random.default_rng(4)
    pitch = (4e-9, 4e-9)
    bare, truth = specks((256, 256), pitch, diameter=(40e-9, 60e-9), height=(8e-9, 12e-9), count=6, rng=rng)
    z = bare + 1e-10 * rng.standard_normal(bare.shape) + np.arange(256) * 1e-9
    masked = Mask(what="bumps").apply(HeightMap(z, pitch))
    assert masked.mask is not None
    assert np.array_equal(masked.z, z)
    assert masked.history[-1].figures["bumps"] == len(truth)
    assert masked.mask[bare > 2e-10].all()
    base = sum(np.pi * speck.diameter**2 / 4 for speck in truth) / (pitch[0] * pitch[1])
    assert masked.masked < 1.6 * base  # grown by one pixel on a radius of 5 to 7
    assert "bumps masked (5 σ" in Mask(what="bumps").describe()


def test_no_bumps_no_mask_and_a_map_too_small_is_refused() -> None:
    flat = HeightMap(film(2, 128), (4e-9, 4e-9))
    assert Mask(what="bumps").apply(flat).masked == 0
    with pytest.raises(TreatmentError, match="too small"):
        Mask(what="bumps").apply(HeightMap(film(2, 16), (4e-9, 4e-9)))
