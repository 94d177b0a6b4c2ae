"""Doubts that one map gives rise to."""

import numpy as np
import pytest

from core.heightmap import HeightMap
from core.synthetic import gaussian_texture
from core.treatment import Band, Treatment
from core.trust.doubts import doubts_of_scan


def scan(missing: int) -> HeightMap:
    z = gaussian_texture((128, 128), (1e-8, 1e-8), sq=1e-9, length=4e-8, rng=np.random.default_rng(missing))
    z.flat[:missing] = np.nan
    return HeightMap(z, (1e-8, 1e-8))


@pytest.mark.parametrize(("missing", "level"), [(1, "note"), (164, "amber"), (1638, "amber"), (1639, "red")])
def test_missing_points_by_their_share(missing: int, level: str) -> None:
    doubt, *others = doubts_of_scan(scan(missing), scan(missing))
    assert (doubt.code, doubt.level) == ("missing", level)
    assert [other.code for other in others] == ["not-judged"] * (level == "red")
    assert doubt.figures["missing_fraction"] == missing / 128**2
    assert doubt.advice


def test_a_complete_map_has_none() -> None:
    assert doubts_of_scan(scan(0), scan(0)) == ()


def test_a_filter_with_too_little_to_stand_on_is_told() -> None:
    z = scan(0).z.copy()
    z[45:55, 45:55] = np.nan
    raw = HeightMap(z, (1e-8, 1e-8))
    doubts = doubts_of_scan(raw, Treatment((Band(shortest="60 nm", longest="200 nm"),)).apply(raw))
    assert [doubt.figures.keys() for doubt in doubts] == [{"missing_fraction"}, {"sparse_fraction"}]
