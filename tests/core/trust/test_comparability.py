"""Comparability: never silently compared."""

import numpy as np
import pytest

from core.heightmap import HeightMap
from core.trust.comparability import mixed, pairs


def scan(side: int = 20, pixel: float = 1e-8, missing: int = 0) -> HeightMap:
    z = np.zeros((side, side))
    z.flat[:missing] = np.nan
    return HeightMap(z, (pixel, pixel))


def test_like_scans_are_green_without_a_cure() -> None:
    (pair,) = pairs({"a": [scan()], "b": [scan(), scan()]}, band=None)
    assert (pair.level, pair.reasons, pair.cure) == ("green", (), "")


def test_another_size_is_red_and_names_the_crop_that_cures_it() -> None:
    (pair,) = pairs({"a": [scan(20)], "b": [scan(50)]}, band=None)
    assert (pair.level, pair.reasons) == ("red", ("area",))
    assert "200 nm × 200 nm" in pair.cure


def test_another_pixel_of_the_same_size_is_red() -> None:
    (pair,) = pairs({"a": [scan(20, 1e-8)], "b": [scan(10, 2e-8)]}, band=None)
    assert (pair.level, pair.reasons) == ("red", ("pixel",))


@pytest.mark.parametrize(("factor", "level"), [(1.005, "green"), (1.05, "amber"), (1.2, "red")])
def test_thresholds_of_the_ratio(factor: float, level: str) -> None:
    (pair,) = pairs({"a": [scan(20, 1e-8)], "b": [scan(20, 1e-8 * factor)]}, band=None)
    assert pair.level == level


@pytest.mark.parametrize(("missing", "level"), [(3, "green"), (8, "amber"), (80, "red")])
def test_missing_points_of_either_weigh(missing: int, level: str) -> None:
    (pair,) = pairs({"a": [scan()], "b": [scan(missing=missing)]}, band=None)
    assert pair.level == level


def test_every_pair_is_judged_once() -> None:
    names = [(pair.first, pair.second) for pair in pairs({"a": [scan()], "b": [scan()], "c": [scan()]}, band=None)]
    assert names == [("a", "b"), ("a", "c"), ("b", "c")]


def test_a_specimen_of_unlike_scans_is_doubted() -> None:
    assert mixed([scan(), scan()], band=None) is None
    doubt = mixed([scan(20), scan(50)], band=None)
    assert doubt is not None
    assert (doubt.code, doubt.level) == ("mixed-scans", "red")


def test_a_band_that_both_hold_cures_pixel_and_size() -> None:
    # 40 points of 10 nm and 40 of 20 nm, after a band to 80 nm has cut half a wave off every edge
    specimens = {"a": [scan(32, 1e-8)], "b": [scan(36, 2e-8)]}
    (pair,) = pairs(specimens, band=(1e-7, 1e-7))
    assert pair.level == "green"
    (pair,) = pairs(specimens, band=(5e-8, 1e-7))  # 2.5 pixels of the coarser: not enough
    assert pair.reasons == ("pixel",)
    (pair,) = pairs(specimens, band=(1e-7, 2e-7))  # more than a quarter of the smaller side
    assert pair.reasons == ("area",)
    assert mixed([*specimens["a"], *specimens["b"]], band=(1e-7, 1e-7)) is None
