"""The standing at any window side."""

import math

import numpy as np
import pytest

from core.errors import BenchError
from core.heightmap import HeightMap
from core.measures.window_curve import WindowCurve, window_curve
from core.standing import rank
from core.synthetic import gaussian_texture
from core.window_standing import window_standing


def rng(seed: int = 0) -> np.random.Generator:
    return np.random.default_rng(seed)


def spots(length: float, sq: float, seed: int, count: int = 3, side: int = 128) -> list[WindowCurve]:
    made = []
    for spot in range(count):
        z = gaussian_texture((side, side), (1e-8, 1e-8), sq=sq, length=length, rng=rng(100 * seed + spot))
        made.append(window_curve(HeightMap(z, (1e-8, 1e-8))))
    return made


CURVES = {"fine": spots(2e-8, 1e-9, 1), "wavy": spots(2e-7, 2e-9, 2), "rough": spots(2e-8, 4e-9, 3)}


def test_curves_that_cross_change_places_at_the_crossing() -> None:
    found = window_standing(CURVES, rng=rng())
    assert found is not None
    assert found.at(found.side[0]).places[0].specimen == "wavy"
    assert found.at(found.side[-1]).places[0].specimen == "fine"
    leaders = [change for change in found.changes if change.leading]
    assert [(change.below, change.above) for change in leaders] == [("wavy", "fine")]
    # at the crossing both typical curves read alike: straight on the logarithm between two sides
    fine, wavy = (np.interp(math.log(leaders[0].side), np.log(found.side), np.log(found.rms[:, k])) for k in (0, 1))
    assert fine == pytest.approx(wavy, rel=1e-6)


def test_each_side_is_the_standing_of_the_values_there() -> None:
    found = window_standing(CURVES, rng=rng(5))
    assert found is not None
    values = {name: [float(curve.rms[-1]) for curve in curves] for name, curves in CURVES.items()}
    alone = rank(values, positive=True, rng=rng(5))
    last = found.rankings[-1]
    assert [(p.specimen, p.tie) for p in last.places] == [(p.specimen, p.tie) for p in alone.places]
    # the same seed throws the same dice: the same digits
    assert [p.probability_best for p in last.places] == pytest.approx([p.probability_best for p in alone.places])
    assert found.chance[-1].sum() == pytest.approx(1.0)
    for number, ranking in enumerate(found.rankings):
        for place in ranking.places:
            assert place.value == pytest.approx(found.rms[number, found.specimens.index(place.specimen)])


def test_the_slider_does_not_flicker() -> None:
    # the same draws at every side: where two sides are as good as one, so are the probabilities
    side = 2e-7
    found = window_standing(CURVES, sides=[side, side * (1 + 1e-9)], rng=rng())
    assert found is not None
    assert found.chance[0] == pytest.approx(found.chance[1], abs=1e-3)


def test_one_spot_has_a_place_and_no_probability() -> None:
    found = window_standing({**CURVES, "single": spots(2e-8, 2e-9, 9, count=1)}, rng=rng())
    assert found is not None
    assert np.isnan(found.chance[:, 3]).all()
    assert found.chance[:, :3].sum(axis=1) == pytest.approx(np.ones(found.side.size))
    assert any("single" in (change.below, change.above) for change in found.changes) or found.rms.shape[1] == 4


def test_scans_of_unlike_size_are_read_up_to_the_smaller() -> None:
    found = window_standing({"small": spots(2e-8, 1e-9, 1, side=64), "large": spots(2e-8, 3e-9, 2)}, rng=rng())
    assert found is not None
    assert found.side[-1] == pytest.approx(64e-8)
    assert found.rankings[-1].places[0].specimen == "small"
    with pytest.raises(BenchError, match="beyond"):
        window_standing(CURVES, sides=[1e-5], rng=rng())


def test_nothing_in_common_is_nothing() -> None:
    flat = window_curve(HeightMap(np.zeros((32, 32)), (1e-8, 1e-8)))
    assert window_standing({"flat": [flat], "fine": CURVES["fine"]}, rng=rng()) is None
    assert window_standing({}, rng=rng()) is None
