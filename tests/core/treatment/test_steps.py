"""Level, crop, zero: what each does to a map, what it logs, and what it refuses."""

from __future__ import annotations

import numpy as np
import pytest

from core.errors import TreatmentError
from core.heightmap import HeightMap
from core.treatment import Crop, Level, Zero
from core.treatment.extent import Extent

PITCH = (2e-8, 1e-8)


def scan(rows: int = 30, columns: int = 40, *, holes: bool = False, masked: bool = False) -> HeightMap:
    rng = np.random.default_rng(11)
    z = 1e-9 * rng.standard_normal((rows, columns)) + 5e-9
    if holes:
        z[rng.random(z.shape) < 0.05] = np.nan
    return HeightMap(z, PITCH, "film", mask=rng.random(z.shape) < 0.05 if masked else None)


def test_level_logs_what_it_took() -> None:
    y, x = np.mgrid[0:30, 0:40]
    tilted = HeightMap(1e-9 * (2.0 * x - 3.0 * y), PITCH, "film")
    entry = Level().apply(tilted).history[-1]
    assert entry.step == {"do": "level", "form": "plane"}
    assert entry.figures["slope_x"] == pytest.approx(0.2)
    assert entry.figures["slope_y"] == pytest.approx(-0.15)
    assert entry.figures["removed_rms_m"] == pytest.approx(np.std(tilted.z))


def test_level_keeps_holes_mask_and_name() -> None:
    raw = scan(holes=True, masked=True)
    levelled = Level(form="polynomial", degree=3).apply(raw)
    assert np.array_equal(np.isnan(levelled.z), np.isnan(raw.z))
    assert levelled.mask is not None and np.array_equal(levelled.mask, raw.mask)
    assert (levelled.name, levelled.pitch) == ("film", PITCH)
    assert not levelled.z.flags.writeable
    assert set(levelled.history[-1].figures) == {"removed_rms_m"}


def test_levelling_twice_changes_nothing() -> None:
    once = Level().apply(scan(holes=True))
    assert Level().apply(once).z == pytest.approx(once.z, abs=1e-24, nan_ok=True)


def test_crop_in_pixels_and_lengths() -> None:
    raw = scan(masked=True, holes=True)
    cropped = Crop(left="100 nm", top="3 px", width="20 px", height="200 nm").apply(raw)
    assert cropped.shape == (10, 20)
    assert np.array_equal(cropped.z, raw.z[3:13, 10:30], equal_nan=True)
    assert raw.mask is not None
    assert cropped.mask is not None
    assert np.array_equal(cropped.mask, raw.mask[3:13, 10:30])
    figures = cropped.history[-1].figures
    assert figures == pytest.approx({"left_m": 1e-7, "top_m": 6e-8, "width_m": 2e-7, "height_m": 2e-7})


def test_crop_lets_the_large_map_go() -> None:
    raw = scan()
    assert not np.may_share_memory(Crop(width="5 px").apply(raw).z, raw.z)


@pytest.mark.parametrize(
    "crop",
    [
        Crop(left="40 px"),
        Crop(left="39 px"),
        Crop(top="1 mm"),
        Crop(width="41 px"),
        Crop(left="30 px", width="11 px"),
        Crop(height="1 px"),
        Crop(width="0 px"),
        Crop(width="1 nm"),
    ],
    ids=lambda crop: crop.describe(),
)
def test_crop_that_leaves_too_little_or_reaches_beyond(crop: Crop) -> None:
    with pytest.raises(TreatmentError) as refusal:
        crop.apply(scan())
    assert refusal.value.fix


@pytest.mark.parametrize(
    ("step", "place"),
    [
        (Zero(), np.mean),
        (Zero(at="median"), np.median),
        (Zero(at="lowest"), np.min),
        (Zero(at="percentile", percent=12.5), lambda z: np.percentile(z, 12.5)),
    ],
    ids=lambda value: value.describe() if isinstance(value, Zero) else "",
)
def test_zero_lies_where_it_says(step: Zero, place: object) -> None:
    assert callable(place)
    raw = scan(holes=True, masked=True)
    shifted = step.apply(raw)
    assert place(shifted.heights()) == pytest.approx(0, abs=1e-23)
    shift = shifted.history[-1].figures["shift_m"]
    assert shift == pytest.approx(place(raw.heights()), rel=1e-12)
    assert np.array_equal(shifted.z, raw.z - shift, equal_nan=True)


def test_zero_without_points() -> None:
    with pytest.raises(TreatmentError):
        Zero().apply(HeightMap(np.full((4, 4), np.nan), PITCH))


@pytest.mark.parametrize("text", ["-1 px", "-2 nm", "2", "px", "2 V", "1e999 nm", "", "٢ px"])
def test_extent_refuses(text: str) -> None:
    with pytest.raises(TreatmentError, match="grow"):
        Extent.parse(text, "grow")


@pytest.mark.parametrize("value", [2, None, 2.0, ["2 px"]])
def test_extent_needs_text(value: object) -> None:
    with pytest.raises(TreatmentError, match="grow"):
        Extent.parse(value, "grow")


def test_extent_understands_a_decimal_comma() -> None:
    assert Extent.parse("1,5 px", "grow").pixels(1e-9) == 1.5
    assert Extent.parse("1,5 nm", "grow").pixels(5e-10) == pytest.approx(3)
