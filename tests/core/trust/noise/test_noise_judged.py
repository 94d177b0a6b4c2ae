"""Noise on a bench: which floor is taken, what is left of a specimen, when it is limited."""

from __future__ import annotations

import math

import numpy as np
import pytest

from core.heightmap import HeightMap
from core.measures import readings
from core.treatment import Treatment
from core.trust import interval
from core.trust.noise.judged import judge, limited_specimens, measure_noise

PLANE = Treatment.default()


def sq_of(maps):
    return interval.of_spots([readings(scan, ["Sq"])["Sq"] for scan in maps], positive=True)


def bench(make_repeats, rng, specimens, **kind):
    """Treated maps: by specimen, its S in nm, its number of spots, and whether each is repeated. Noise 0.1 nm."""
    treated, spots, groups = {}, {}, []
    for name, (surface, count, repeated) in specimens.items():
        for number in range(count):
            maps, _ = make_repeats(rng, noise=0.1 / surface, **kind)
            names = [f"{name} {number}", f"{name} {number} again"]
            for key, scan in list(zip(names, maps, strict=True))[: 1 + repeated]:
                treated[key] = PLANE.apply(scan.with_(z=scan.z * surface, name=key))
            spots.setdefault(name, []).append(names[0])
            if repeated:
                groups.append(tuple(names))
    raw = {name: sq_of([treated[n] for n in names]) for name, names in spots.items()}
    return treated, spots, tuple(groups), raw


def test_nothing_is_computed_without_repeats(make_repeats) -> None:
    treated, spots, _, raw = bench(make_repeats, np.random.default_rng(1), {"film": (1.0, 2, False)})
    measured = measure_noise(treated, ())
    assert measured is None
    assert judge(measured, spots, treated, raw) == {}


def test_every_spot_repeated(make_repeats) -> None:
    """Film 0.5 nm under 0.1 nm: covariances of its three spots. Mica of 0.05 nm is limited and bounded."""
    made = {"film": (0.5, 3, True), "mica": (0.05, 3, True)}
    treated, spots, groups, raw = bench(make_repeats, np.random.default_rng(2), made)
    judged = judge(measure_noise(treated, groups), spots, treated, raw)
    film, mica = judged["film"], judged["mica"]
    assert film.floor.value == pytest.approx(0.1e-9, rel=0.03)
    assert not film.limited
    assert film.corrected.low < 0.5e-9 < film.corrected.high
    assert film.corrected.value < film.corrected.raw
    assert mica.limited
    assert mica.corrected.value is None
    assert 0.05e-9 < mica.corrected.bound < 0.2e-9
    assert mica.corrected.ratio > 0.85
    assert "what repeats" in mica.corrected.note
    assert limited_specimens(judged, "Sq") == {"mica"}
    assert limited_specimens(judged, "Ssk") == frozenset()
    assert film.spots[0].reality.real_above is not None


def test_floor_of_another_specimen(make_repeats) -> None:
    """One repeated spot on the film serves the disc on the same lattice, with at least 5 %."""
    made = {"film": (0.5, 1, True), "disc": (0.2, 3, False), "mica": (0.05, 3, False)}
    treated, spots, groups, raw = bench(make_repeats, np.random.default_rng(3), made)
    judged = judge(measure_noise(treated, groups), spots, treated, raw)
    disc = judged["disc"]
    assert disc.floor.u == 0.05
    assert "another specimen" in disc.note
    assert disc.corrected.low < 0.2e-9 < disc.corrected.high
    assert disc.corrected.value == pytest.approx(math.sqrt(float(raw["disc"]) ** 2 - disc.floor.value**2))
    assert judged["mica"].limited
    assert "within this scan only" in judged["film"].corrected.note


def test_reference_scan(make_repeats) -> None:
    rng = np.random.default_rng(4)
    treated, spots, _, raw = bench(make_repeats, rng, {"film": (0.5, 3, False), "near": (0.14, 3, False)})
    blank = HeightMap(0.1e-9 * rng.standard_normal((128, 128)), (1e-9, 1e-9), name="blank")
    treated["blank"] = PLANE.apply(blank)
    spots["blank"] = ["blank"]
    raw["blank"] = sq_of([treated["blank"]])
    judged = judge(measure_noise(treated, (), ["blank"]), spots, treated, raw)
    assert "blank" not in judged
    assert judged["film"].floor.method == "reference"
    assert judged["film"].corrected.low < 0.5e-9 < judged["film"].corrected.high
    assert judged["near"].limited  # N/S 0.58, but a floor of 15 % is held against the gate by its upper limit


def test_repeats_go_before_a_reference(make_repeats) -> None:
    rng = np.random.default_rng(5)
    made = {"film": (0.5, 1, True), "disc": (0.5, 2, False)}
    treated, spots, groups, raw = bench(make_repeats, rng, made)
    treated["blank"] = HeightMap(9e-9 * rng.standard_normal((128, 128)), (1e-9, 1e-9))
    judged = judge(measure_noise(treated, groups, ["blank"]), spots, treated, raw)
    assert judged["disc"].floor.method == "repeats"
    # trace and retrace come behind repeats, and before the reference
    found = measure_noise(treated, groups, ["blank"], retraces=groups)
    assert judge(found, spots, treated, raw)["disc"].floor.method == "trace and retrace"


def test_wrong_pair_corrects_nothing(make_repeats) -> None:
    """Two places taken for repeats: nothing is called noise, nobody is limited, the others get no floor from it."""
    rng = np.random.default_rng(6)
    treated, spots, _, raw = bench(make_repeats, rng, {"film": (1.0, 2, False), "disc": (1.0, 2, False)})
    judged = judge(measure_noise(treated, (("film 0", "film 1"),)), {**spots, "film": ["film 0"]}, treated, raw)
    assert not judged["film"].limited
    assert judged["film"].corrected.value is None
    assert "two places" in judged["film"].corrected.note
    assert judged["disc"].floor is None


def test_other_lattice_without_whiteness_says_why(make_repeats) -> None:
    rng = np.random.default_rng(7)
    treated, spots, groups, raw = bench(make_repeats, rng, {"film": (0.5, 1, True)})
    coarse = HeightMap(1e-10 * rng.standard_normal((64, 64)), (4e-9, 4e-9))
    treated["coarse"] = coarse
    spots["coarse"], raw["coarse"] = ["coarse"], sq_of([coarse])
    judged = judge(measure_noise(treated, groups), spots, treated, raw)
    assert judged["coarse"].floor.u >= 0.15
    assert judged["coarse"].floor.value == pytest.approx(1e-10, rel=0.05)


def test_repeats_of_unlike_pixels_are_noted(make_repeats) -> None:
    rng = np.random.default_rng(8)
    treated, spots, _, raw = bench(make_repeats, rng, {"film": (0.5, 1, False)})
    treated["odd"] = treated["film 0"].with_(pitch=(2e-9, 2e-9))
    measured = measure_noise(treated, (("film 0", "odd"),))
    assert measured.spots[0].found is None
    assert "different pixels" in judge(measured, spots, treated, raw)["film"].note


def test_copies_are_no_repeats(make_repeats) -> None:
    treated, spots, _, raw = bench(make_repeats, np.random.default_rng(12), {"film": (0.5, 1, False)})
    treated["copy"] = treated["film 0"]
    judged = judge(measure_noise(treated, (("film 0", "copy"),)), spots, treated, raw)
    assert judged["film"].floor is None
    assert "copies" in judged["film"].note


def test_spots_known_before_are_not_measured_again(make_repeats) -> None:
    treated, _, groups, _ = bench(make_repeats, np.random.default_rng(9), {"film": (0.5, 1, True)})
    first = measure_noise(treated, groups)
    again = measure_noise(treated, groups, earlier={spot.scans: spot for spot in first.spots})
    assert again.spots[0] is first.spots[0]


def three_spots(make_repeats, rng, trials, kind):
    """Share of benches of three repeated spots (N/S 0.6) whose corrected interval holds the truth."""
    held = shown = 0
    for _ in range(trials):
        treated, spots, groups, raw = bench(make_repeats, rng, {"film": (0.16, 3, True)}, kind=kind, length=4)
        found = judge(measure_noise(treated, groups), spots, treated, raw)["film"].corrected
        if not found.limited:
            shown += 1
            held += found.low <= 0.16e-9 <= found.high
    return held / shown


@pytest.mark.long
@pytest.mark.parametrize("kind", ["gaussian", "exponential"])
def test_three_spots_cover(make_repeats, kind) -> None:
    """Methods: 96.1 % Gaussian, 95.1 % exponential over 1,000 benches; 100 benches have a standard error of 2 %."""
    assert 0.88 <= three_spots(make_repeats, np.random.default_rng(10), 100, kind) <= 1.0


def test_three_spots_cover_quick(make_repeats) -> None:
    assert three_spots(make_repeats, np.random.default_rng(11), 10, "gaussian") >= 0.7  # binomial 0.95: 1 in 1,000
