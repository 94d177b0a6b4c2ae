"""Ladders: planted staircases are found with their height, random surfaces hold none.

Expected heights are those of the staircases as drawn here, 3 % too tall as a scanner of 3 % scale error makes them;
0.3136 nm is a step of Si(111), a/√3 with a = 0.5431 nm (CODATA 2018 lattice parameter of silicon, from memory).
Tolerances: the error of 1 to 3 % that methods measured for this program give for such steps and noise, doubled.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from core.fitness.ladder import CRYSTALS, ladder, matches
from core.fitness.ladder.find import NOISE_STEPS
from core.heightmap import FloatArray, HeightMap
from core.synthetic import (
    bow,
    gaussian_texture,
    grains,
    lapping,
    row_offsets,
    self_affine,
    single_step,
    specks,
    terraces,
    tilt,
    white_noise,
)

P = (1e-8, 1e-8)
NM = 1e-9


def staircase(step: float, width: float, noise: float, seed: int, *, n: int = 256) -> HeightMap:
    """Terraces under tilt, a bow of 0.5 nm at the edge and fine texture; the height scale is 3 % off."""
    rng = np.random.default_rng(seed)
    shape = (n, n)
    z = terraces(shape, P, step=1.03 * step, width=width * 1e-8, angle=rng.uniform(0, 360),
                 waviness=0.12 * width * 1e-8, rng=rng)  # fmt: skip
    z = z + gaussian_texture(shape, P, sq=0.02 * NM, length=1e-7, rng=rng)
    z = z + bow(shape, down=rng.uniform(-1, 1) * 0.5 * NM, across=rng.uniform(-1, 1) * 0.5 * NM)
    z = z + tilt(shape, P, down=rng.uniform(-1, 1) * 1e-3, across=rng.uniform(-1, 1) * 1e-3)
    return HeightMap(z + white_noise(shape, sq=noise, rng=rng), P)


PLANTED = [
    # step, terrace (px), noise; nm
    (0.3136, 60, 0.05),
    (0.3136, 30, 0.05),
    (0.3136, 15, 0.05),
    (0.3136, 60, 0.15),
    (0.3136, 30, 0.15),
    (0.2165, 60, 0.10),
    (1.0, 100, 0.15),
    (1.0, 40, 0.15),
]


def found_of(cases: list[tuple[float, int, float]], seeds: range) -> list[tuple[float, float]]:
    """Error and U of each ladder, relative; every staircase must be found."""
    out = []
    for step, width, noise in cases:
        for seed in seeds:
            found = ladder(staircase(step * NM, width, noise * NM, seed))
            assert found.kind == "ladder", (step, width, noise, seed, found.resultant)
            assert found.height is not None
            assert found.u is not None
            truth = 1.03 * step * NM
            out.append((found.height / truth - 1, found.u / truth))
    return out


def test_planted_staircases() -> None:
    errors = found_of(PLANTED[1::2], range(1))
    # 95 % intervals of 4 heights: two and more outside have a chance of 1.4 %
    assert sum(abs(error) > u for error, u in errors) <= 1
    assert all(abs(error) < 0.08 for error, _ in errors)
    assert all(u < 0.07 for _, u in errors)


@pytest.mark.long
def test_coverage_of_many_staircases() -> None:
    errors = found_of(PLANTED, range(1, 6))
    inside = np.mean([abs(error) <= u for error, u in errors])
    assert inside >= 0.85  # 40 maps, nominal 95 %: fewer than 34 inside have a chance of 0.4 %
    assert all(abs(error) < 0.08 for error, _ in errors)


def test_a_ladder_is_told_with_what_it_agrees_with() -> None:
    scan = staircase(0.3136 * NM, 30, 0.05 * NM, 3)
    found = ladder(scan)
    assert found.kind == "ladder"
    assert found.levels > 2
    assert "do not name a crystal" in found.sentence
    assert {"silicon (111)", "calcium fluoride (111)"} & {match.crystal.name for match in found.matches}
    assert found.terraces is not None
    numbers = [number for number, _ in found.level_heights]
    heights = [height for _, height in found.level_heights]
    assert found.height is not None
    assert np.polyfit(numbers, heights, 1)[0] == pytest.approx(found.height, rel=0.05)
    known = ladder(scan, crystal="silicon (111)", scale=0.06)
    assert known.matches[0].ratio == pytest.approx(1.03, abs=max(0.03, known.matches[0].u_ratio))
    assert "a check, not a calibration" in known.sentence


def test_missing_and_masked_points_do_not_count() -> None:
    scan = staircase(0.3136 * NM, 40, 0.05 * NM, 4)
    z = scan.z.copy()
    z[100:103] = np.nan
    z[np.random.default_rng(1).random(z.shape) < 0.02] = np.nan
    mask = np.zeros(z.shape, bool)
    mask[20:40, 20:40] = True
    z[20:40, 20:40] += 50 * NM
    found = ladder(scan.with_(z=z, mask=mask))
    assert found.kind == "ladder"
    assert found.height == pytest.approx(1.03 * 0.3136 * NM, rel=0.05)


def test_a_large_map_is_averaged_first() -> None:
    found = ladder(staircase(0.3136 * NM, 90, 0.1 * NM, 2, n=512))
    assert found.kind == "ladder"
    assert found.height == pytest.approx(1.03 * 0.3136 * NM, rel=0.05)
    assert found.terraces is not None
    assert found.terraces.shape == (256, 256)


def test_row_phases_take_drift() -> None:
    shape = (256, 256)
    rng = np.random.default_rng(8)
    clean = staircase(0.3136 * NM, 60, 0.05 * NM, 5)
    drift = np.cumsum(rng.standard_normal(shape[0]))
    drift = gaussian_filter(drift, 3)
    drift *= 0.1 * NM / drift.std()
    found = ladder(clean.with_(z=clean.z + drift[:, None]), row_phases=True)
    assert found.kind == "ladder"
    assert found.height == pytest.approx(1.03 * 0.3136 * NM, rel=0.06)


def gaussian_filter(values: FloatArray, sigma: float) -> FloatArray:
    from scipy.ndimage import gaussian_filter1d

    return np.asarray(gaussian_filter1d(values, sigma))


def test_one_step_is_no_ladder() -> None:
    rng = np.random.default_rng(2)
    z = single_step((256, 256), P, height=0.3136 * NM, angle=35, waviness=5e-8, rng=rng)
    found = ladder(HeightMap(z + white_noise((256, 256), sq=0.05 * NM, rng=rng), P))
    assert found.kind == "one step"
    assert found.height == pytest.approx(0.3136 * NM, rel=0.05)
    assert "not a ladder" in found.sentence


def test_steps_along_the_rows_are_not_told_from_jumps_between_lines() -> None:
    rng = np.random.default_rng(2)
    z = terraces((256, 256), P, step=0.3136 * NM, width=6e-7, angle=90, rng=rng)
    assert ladder(HeightMap(z + white_noise((256, 256), sq=0.03 * NM, rng=rng), P)).kind == "none"


def test_no_steps_is_an_answer() -> None:
    rng = np.random.default_rng(3)
    found = ladder(HeightMap(white_noise((128, 128), sq=0.1 * NM, rng=rng), P))
    assert found.kind == "none"
    assert found.height is None
    assert "normal for this surface" in found.sentence
    assert found.smallest == pytest.approx(NOISE_STEPS * 0.1 * NM, rel=0.05)
    tiny = ladder(HeightMap(np.zeros((20, 20)), P))
    assert tiny.kind == "none"
    assert "Too little" in tiny.sentence


def plateaus(rng: np.random.Generator, n: int, sd: float, size: float) -> FloatArray:
    """Flat-topped grains: the nearest of random centres decides, every grain at a random height."""
    from scipy.spatial import cKDTree

    centres = rng.uniform(0, n, (max(4, int((n / size) ** 2)), 2))
    y, x = np.mgrid[:n, :n]
    nearest = cKDTree(centres).query(np.column_stack([y.ravel(), x.ravel()]))[1]
    return np.asarray((sd * rng.standard_normal(len(centres)))[nearest].reshape(n, n))


def random_surface(number: int, n: int = 128) -> HeightMap:
    """A surface without steps of one height: six kinds in turn, everything else drawn."""
    rng = np.random.default_rng([20, number])
    shape = (n, n)
    sq = 10 ** rng.uniform(math.log10(0.05), math.log10(1.5)) * NM
    length = rng.uniform(3, 30) * 1e-8
    kind = number % 6
    if kind == 0:
        z = gaussian_texture(shape, P, sq=sq, length=length, rng=rng)
    elif kind == 1:
        z = self_affine(shape, P, sq=sq, hurst=rng.uniform(0.3, 0.9), roll_off=4 * length, rng=rng)
    elif kind == 2:
        z = grains(shape, P, sq=sq, diameter=2 * length, rng=rng)
    elif kind == 3:
        z = lapping(shape, P, sq=sq, across=length, along=8 * length, angle=rng.uniform(0, 180), rng=rng)
    elif kind == 4:
        z = plateaus(rng, n, sq, length / 1e-8 + 5)
    else:
        z = gaussian_texture(shape, P, sq=sq / 3, length=length, rng=rng)
        z = z + specks(shape, P, diameter=(4e-8, 1.5e-7), height=(sq, 4 * sq), count=20, rng=rng)[0]
    z = z + bow(shape, down=rng.uniform(-1, 1) * NM, across=rng.uniform(-1, 1) * NM)
    z = z + tilt(shape, P, down=rng.uniform(-3, 3) * 1e-3, across=rng.uniform(-3, 3) * 1e-3)
    noise = rng.choice([0.02, 0.05, 0.15]) * NM
    if rng.random() < 0.2:
        z = z + row_offsets(shape, sq=noise, rng=rng)
    return HeightMap(z + white_noise(shape, sq=noise, rng=rng), P)


def false_ladders(numbers: range) -> list[tuple[int, str, float]]:
    found = [(number, ladder(random_surface(number))) for number in numbers]
    return [(number, one.kind, one.resultant) for number, one in found if one.kind != "none"]


def test_random_surfaces_hold_no_ladder() -> None:
    """Ten of each kind; number 40, 46 and 82 were taken for ladders before whole terraces were asked."""
    assert false_ladders(range(60)) == []


@pytest.mark.long
def test_at_most_one_in_a_hundred_random_surfaces_holds_a_ladder() -> None:
    assert len(false_ladders(range(1000))) <= 10


def test_lattice_table(expected) -> None:  # type: ignore[no-untyped-def]
    told = {crystal.name: crystal.step for crystal in CRYSTALS}
    for name, check in {
        "silicon (111)": "Si(111) a/sqrt3",
        "silicon (100)": "Si(100) a/4",
        "silicon (110)": "Si(110) a/(2 sqrt2)",
        "graphite": "graphite c/2",
        "muscovite mica": "muscovite c sin(beta)/2",
        "sapphire (0001)": "sapphire (0001) c/6",
        "strontium titanate (001)": "SrTiO3(001) a",
        "gold (111)": "Au(111) a/sqrt3",
        "magnesium oxide (001)": "MgO(001) a/2",
    }.items():
        assert told[name] == expected(f"5.01|{check}", unit=NM)
    assert all(crystal.source for crystal in CRYSTALS)


def test_what_is_not_told_apart() -> None:
    """At 3 % of the height scale sapphire and magnesium oxide, silicon and calcium fluoride agree both."""
    names = {match.crystal.name for match in matches(0.2136 * NM, 2e-12)}
    assert {"sapphire (0001)", "magnesium oxide (001)"} <= names
    assert {match.multiple for match in matches(0.6272 * NM, 2e-12, crystal="silicon (111)")} == {2}
    assert matches(0.45 * NM, 1e-12, scale=0.005, crystal="graphite") == ()
    alone = matches(0.31356 * NM, 0.1e-12, scale=0.0005)
    assert [match.crystal.name for match in alone if match.multiple == 1] == ["silicon (111)"]
