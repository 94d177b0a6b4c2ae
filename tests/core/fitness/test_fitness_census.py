"""The census: exact limits, pooled spots, blanks taken off, readings with and without bumps.

Expected values are those of the specks as drawn here (closed form); limits of a Poisson mean: F. Garwood,
Biometrika 28 (1936) 437, for none seen −ln(0.05). Tolerances of heights and radii: the scatter of methods measured
for this program.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from core.fitness.bumps import census, pooled, with_and_without
from core.heightmap import HeightMap
from core.measures import readings
from core.relief import Eye
from core.synthetic.features import specks

PITCH = (4e-9, 4e-9)


def dirty(seed: int, density: float, side: int = 192) -> tuple[HeightMap, np.ndarray]:
    """A quiet map with paraboloids, and the map without them."""
    rng = np.random.default_rng(seed)
    flat = 1e-10 * rng.standard_normal((side, side))
    bare, _ = specks((side, side), PITCH, diameter=36e-9, height=9e-9, density=density, rng=rng)
    return HeightMap(flat + bare, PITCH, name=f"spot {seed}"), flat


def test_none_seen() -> None:
    seen = census(HeightMap(dirty(1, 0.0)[1], PITCH))
    assert seen.rate is not None
    assert (seen.count, seen.rate.low, seen.mean_height) == (0, 0.0, None)
    assert seen.rate.upper == pytest.approx(-math.log(0.05) / seen.rate.area)
    assert "assumed" in seen.note


def test_marks_lie_on_the_bumps() -> None:
    rng = np.random.default_rng(2)
    bare, truth = specks((256, 256), PITCH, diameter=40e-9, height=(8e-9, 12e-9), count=8, rng=rng)
    seen = census(HeightMap(bare + 1e-10 * rng.standard_normal(bare.shape), PITCH, metadata={"probe_radius": 10e-9}))
    assert len(seen.marks) == 8
    assert "assumed" not in seen.note
    for speck in truth:
        mark = min(seen.marks, key=lambda m: math.hypot(m.y - speck.y, m.x - speck.x))
        assert math.hypot(mark.y - speck.y, mark.x - speck.x) < 2e-9
        assert mark.height == pytest.approx(speck.height, abs=0.4e-9)
        assert mark.radius == pytest.approx(20e-9, rel=0.1)
    assert [mark.y for mark in seen.marks] != sorted(mark.x for mark in seen.marks)
    assert seen.mean_height == pytest.approx(np.mean([s.height for s in truth]), rel=0.15)


def test_the_interval_covers_the_density_bumps_were_drawn_from() -> None:
    """60 maps at 8 per µm²: nominal 95 %, and 60 · 0.95 less three binomial sigma is 52."""
    density, inside, total, area = 8e12, 0, 0, 0.0
    for seed in range(60):
        seen = census(dirty(100 + seed, density)[0])
        assert seen.rate is not None
        inside += seen.rate.low <= density <= seen.rate.high
        total, area = total + int(seen.rate.count), area + seen.rate.area
    assert inside >= 52
    assert total / area == pytest.approx(density, rel=4 / math.sqrt(total))


def test_spots_are_pooled_and_patches_are_told() -> None:
    spots = [census(dirty(seed, 8e12)[0]) for seed in (1, 2, 3)]
    together = pooled(spots)
    assert together.rate is not None
    assert together.count == sum(spot.count or 0 for spot in spots)
    assert together.rate.area == pytest.approx(sum(spot.rate.area for spot in spots if spot.rate))
    assert "chance" not in together.note
    assert together.note.count("assumed") == 1
    patchy = pooled([census(dirty(4, 30e12)[0]), census(dirty(5, 0.0)[0])])
    assert "more than chance" in patchy.note


def test_a_blank_is_taken_off() -> None:
    laden, blank = census(dirty(6, 20e12)[0]), census(dirty(7, 4e12)[0])
    left = laden.less(blank)
    assert left is not None
    assert left.low < 16e12 < left.high
    assert laden.rate is not None
    assert blank.rate is not None
    assert left.value == pytest.approx(laden.rate.value - blank.rate.value)


def test_without_bumps_a_dirty_map_reads_as_a_clean_one() -> None:
    laden, flat = dirty(8, 10e12)
    both = with_and_without(laden)
    clean = readings(HeightMap(flat, PITCH), ["Sq"])["Sq"].value
    assert both.with_bumps["Sq"].value == pytest.approx(readings(laden, ["Sq"])["Sq"].value)
    assert float(both.with_bumps["Sq"]) > 3 * float(clean or 0)
    assert float(both.without_bumps["Sq"]) == pytest.approx(clean, rel=0.1)
    assert 0.005 < both.masked_fraction < 0.05


def test_crowding_is_flagged() -> None:
    rng = np.random.default_rng(9)
    y, x = np.mgrid[:256, :256] * 4e-9
    z = 1e-10 * rng.standard_normal(y.shape)
    for py, px in rng.uniform(0.05e-6, 0.97e-6, (60, 2)):
        np.maximum(z, 9e-9 - ((y - py) ** 2 + (x - px) ** 2) / 36e-9, out=z)
    seen = census(HeightMap(z, PITCH))
    assert seen.crowded
    assert "crowded" in seen.note


def test_coarse_pixels_are_told_and_a_map_too_small_is_not_counted() -> None:
    rng = np.random.default_rng(10)
    coarse = census(HeightMap(1e-10 * rng.standard_normal((128, 128)), (4e-8, 4e-8)))
    assert "coarse" in coarse.note
    assert coarse.half_width == Eye.of(20e-9, 10e-9, (4e-8, 4e-8)).half_width == pytest.approx(1e-7)
    small = census(HeightMap(np.zeros((12, 12)), PITCH))
    assert (small.rate, small.count) == (None, None)
    assert "too small" in small.note
    assert pooled([small]).rate is None
    assert pooled([]).rate is None


def test_hollows_are_counted_too() -> None:
    laden, _ = dirty(11, 10e12)
    turned = census(laden.with_(z=-laden.z), hollows=True)
    assert turned.what == "hollows"
    assert turned.count == census(laden).count
    assert census(laden, hollows=True).count == 0
