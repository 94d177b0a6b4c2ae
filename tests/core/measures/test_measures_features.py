"""Feature parameters: closed forms, properties that hold on any map, and what is told when there are too few."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from core.heightmap import HeightMap
from core.measures import Surface
from core.measures.features import ENTRIES
from core.measures.outcome import Outcome
from core.synthetic import gaussian_texture

Heights = NDArray[np.float64]
PITCH = (1.1e-8, 0.7e-8)
MIRRORED = {"Spd": None, "Spc": None, "S10z": "S10z", "S5p": "S5v", "S5v": "S5p"} | {
    "Sda": "Sha",
    "Sha": "Sda",
    "Sdv": "Shv",
    "Shv": "Sdv",
}
quick = settings(max_examples=25, deadline=None)


def outcomes(scan: HeightMap) -> dict[str, Outcome]:
    surface = Surface(scan)
    return {entry.symbol: entry.function(surface) for entry in ENTRIES}


def values(z: Heights, pitch: tuple[float, float] = PITCH, mask: NDArray[np.bool_] | None = None) -> dict[str, float]:
    found = outcomes(HeightMap(z, pitch, mask=mask))
    return {symbol: math.nan if one.value is None else one.value for symbol, one in found.items()}


def same(expected: dict[str, float], rel: float = 1e-9) -> object:
    return pytest.approx(expected, rel=rel, abs=0, nan_ok=True)


textures = st.builds(
    lambda seed, rows, columns, length: gaussian_texture(
        (rows, columns), (1.0, 1.0), sq=1e-9, length=length, rng=np.random.default_rng(seed)
    ),
    st.integers(0, 2**32 - 1),
    st.integers(10, 70),
    st.integers(10, 70),
    st.sampled_from([1.5, 3.0, 8.0]),
)


def egg_box(periods: int, samples: int, *, pitch: tuple[float, float] = (1e-8, 1e-8), sq: float = 1e-9) -> HeightMap:
    """z = −A cos(2πx/p) cos(2πy/p) ... as |sin|-free sum: A (cos X + cos Y), hills on a square lattice."""
    n = periods * samples
    wave = np.cos(2 * np.pi * (np.arange(n) + 0.5 - samples / 2) / samples)  # a summit in the middle of every cell
    return HeightMap(sq * (wave[:, None] + wave[None, :]), pitch)


def test_egg_box() -> None:
    """z = A (cos X + cos Y), period p. Derived here, closed form: summits at 2A, dales at −2A, saddles at 0.

    One hill and one dale in p²; curvature at the summit ½ (A + A) (2π/p)². What lies over 0 has the volume
    ∫∫ max(0, A (cos X + cos Y)) = A p² · 8/π² / 2 · ... = 4 A p²/π² (by u = (X+Y)/2, v = (X−Y)/2: 2A |cos u cos v| over
    half of the cell).
    """
    a, samples, periods = 1e-9, 65, 6  # odd: a summit lies on a point
    scan = egg_box(periods, samples, sq=a)
    p = samples * 1e-8
    found = values(scan.z, scan.pitch)
    assert found["Spd"] == pytest.approx(1 / p**2, rel=1e-12, abs=0)
    # the three-point difference reads (2 − 2 cos t)/t² of the truth, t = 2π/65
    t = 2 * math.pi / samples
    assert found["Spc"] == pytest.approx(a * (2 * math.pi / p) ** 2 * (2 - 2 * math.cos(t)) / t**2, rel=1e-9, abs=0)
    assert found["S5p"] == pytest.approx(2 * a, rel=1e-9, abs=0)
    # the cells of the dales are centred on corners of the hills' cells: their bottoms lie half a pixel beside a point
    assert found["S5v"] == pytest.approx(2 * a * math.cos(math.pi / samples), rel=1e-9, abs=0)
    assert found["S10z"] == found["S5p"] + found["S5v"]
    # borders of hills run along lattice lines: exact; those of dales are shared with saddle points: one point wide
    assert found["Sha"] == pytest.approx(p**2, rel=2 / samples, abs=0)
    assert found["Sda"] == pytest.approx(p**2, rel=2 / samples, abs=0)
    volume = 4 * a * p**2 / math.pi**2
    # sampled at points: the error falls with the square of the pitch, (π/65)² ≈ 0.2 %
    assert found["Shv"] == pytest.approx(volume, rel=0.005, abs=0)
    assert found["Sdv"] == pytest.approx(volume, rel=0.005, abs=0)


def test_volume_converges_with_the_square_of_the_pitch() -> None:
    errors = []
    for samples in (17, 33, 65):
        scan = egg_box(5, samples, pitch=(1 / samples, 1 / samples))
        errors.append(abs(values(scan.z, scan.pitch)["Shv"] / (4e-9 / math.pi**2) - 1))
    orders = [math.log2(coarse / fine) for coarse, fine in itertools.pairwise(errors)]
    assert min(orders) > 1.5, errors


def test_paraboloid_bumps() -> None:
    """25 bumps h (1 − ρ²/a²) on a plane (as reference 9.05): volume π a² h / 2, curvature 2h/a²; closed forms.

    The plain between is level; every bump's highest saddle lies on it. Points are ordered by place on the plain, so
    that its parts belong to some bump without changing any number but the areas.
    """
    h, a, cell, n = 5e-9, 8.0, 40, 5
    axis = np.arange(cell) - cell // 2
    bump = h * np.maximum(0.0, 1 - (axis[:, None] ** 2 + axis[None, :] ** 2) / a**2)
    z = np.pad(np.tile(bump, (n, n)), cell // 4)
    found = outcomes(HeightMap(z, (1e-9, 1e-9)))
    surface = Surface(HeightMap(z, (1e-9, 1e-9)))
    assert len(surface.hills) == n * n
    assert set(surface.hills.rims.tolist()) == {0.0}
    assert found["Spc"].value == pytest.approx(2 * h / (a * 1e-9) ** 2, rel=1e-9, abs=0)  # exact for a parabola
    assert found["S5p"].value == pytest.approx(h - z.mean(), rel=1e-12, abs=0)
    # ∑ over lattice points against the integral: boundary layer of relative width 1/a, integrand 0 there
    assert found["Shv"].value == pytest.approx(math.pi * (a * 1e-9) ** 2 * h / 2, rel=0.01, abs=0)
    # of the plain upside down one dale is left: too few
    assert found["S5v"].value is None
    assert found["S10z"].value is None
    assert "Five dales are needed" in found["S10z"].note


@quick
@given(textures)
def test_mirror(z: Heights) -> None:
    here, there = values(z), values(-z)
    for symbol, other in MIRRORED.items():
        if other:
            assert there[symbol] == pytest.approx(here[other], rel=1e-12, nan_ok=True, abs=0), symbol
    surface = Surface(HeightMap(-z, PITCH))
    dales = Surface(HeightMap(z, PITCH)).dales
    assert there["Spd"] == pytest.approx(len(dales) / (z.size * PITCH[0] * PITCH[1]), rel=1e-12, abs=0)
    assert np.array_equal(surface.hills.labels, dales.labels)


@quick
@given(textures, st.floats(-1e-7, 1e-7))
def test_translation_changes_nothing(z: Heights, up: float) -> None:
    """Heights keep about 8 digits at 100 Sq: a hill at the very limit of pruning may then change sides."""
    z = np.round(z / 2**-50) * 2**-50  # on a coarse binary grid sums are exact, so that none does
    up = round(up / 2**-50) * 2**-50
    assert values(z + up) == same(values(z), rel=1e-6)


@quick
@given(textures)
def test_scaling(z: Heights) -> None:
    powers = {"Spd": (0, -2), "Spc": (1, -2), "S10z": (1, 0), "S5p": (1, 0), "S5v": (1, 0)}
    powers |= {"Sda": (0, 2), "Sha": (0, 2), "Sdv": (1, 2), "Shv": (1, 2)}
    here, there = values(z), values(4 * z, (2 * PITCH[0], 2 * PITCH[1]))  # powers of 2: exact
    expected = {s: here[s] * 4.0 ** powers[s][0] * 2.0 ** powers[s][1] for s in here}
    assert there == same(expected, rel=1e-12)


@quick
@given(textures, st.integers(0, 3), st.booleans())
def test_turning_and_transposing(z: Heights, quarter_turns: int, transposed: bool) -> None:
    turned = np.rot90(z, quarter_turns)
    turned = turned.T if transposed else turned
    pitch = PITCH[::-1] if (quarter_turns % 2 == 1) != transposed else PITCH
    assert values(np.ascontiguousarray(turned), pitch) == same(values(z))


@quick
@given(textures)
def test_regions_follow_steepest_ascent(z: Heights) -> None:
    """Each hill's highest point is its summit, each is in one piece, and all points belong to one."""
    from scipy import ndimage

    surface = Surface(HeightMap(z, PITCH))
    for sign, hills in ((1.0, surface.hills), (-1.0, surface.dales)):
        assert hills.points.sum() == z.size
        assert np.array_equal(np.bincount(hills.labels.reshape(-1)), hills.points)
        for number in range(len(hills)):
            inside = hills.labels == number
            assert (sign * z)[inside].max() == hills.heights[number] == (sign * z)[tuple(hills.places[number])]
            assert ndimage.label(inside, np.ones((3, 3)))[1] == 1


@quick
@given(textures, st.integers(0, 2**32 - 1))
def test_what_does_not_count_leaves_no_trace(z: Heights, seed: int) -> None:
    """Missing or masked, and whatever height stands under the mask: the same numbers."""
    out = np.random.default_rng(seed).random(z.shape) < 0.1
    missing = values(np.where(out, np.nan, z))
    assert values(np.where(out, 1e-3, z), mask=out) == missing
    assert values(np.where(out, -1e-3, z), mask=out) == missing


def test_holes_at_random_change_little() -> None:
    """2 % of the points lost at random: each reading stays within its own scatter between maps."""
    whole: dict[str, list[float]] = {}
    holed: dict[str, list[float]] = {}
    for seed in range(6):
        rng = np.random.default_rng(seed)
        z = gaussian_texture((200, 200), (1.0, 1.0), sq=1e-9, length=6.0, rng=rng)
        for into, heights in ((whole, z), (holed, np.where(rng.random(z.shape) < 0.02, np.nan, z))):
            for symbol, value in values(heights).items():
                into.setdefault(symbol, []).append(value)
    for symbol, complete in whole.items():
        spread = 3 * float(np.std(complete, ddof=1)) / math.sqrt(len(complete))
        assert np.mean(holed[symbol]) == pytest.approx(np.mean(complete), abs=spread), symbol


def test_openings_open_hills_and_single_lost_points_do_not() -> None:
    scan = egg_box(5, 16)
    inner = len(Surface(scan).hills.open) - int(Surface(scan).hills.open.sum())
    assert inner == 9
    lost = scan.z.copy()
    lost[40, 40] = np.nan
    surface = Surface(HeightMap(lost, scan.pitch))
    assert int((~surface.hills.open).sum()) == 9
    assert surface.hills.coverage == pytest.approx(1 - 1 / lost.size, abs=0)
    lost[40, 39:42] = np.nan
    assert int((~Surface(HeightMap(lost, scan.pitch)).hills.open).sum()) == 8


def test_lost_points_do_not_shrink_areas_and_volumes() -> None:
    """Every sixth point of every sixth row lost, 2.7 %: mean areas and volumes stay within 1 %."""
    scan = egg_box(7, 33)
    z = scan.z.copy()
    z[1::6, 2::6] = np.nan
    whole, holed = values(scan.z, scan.pitch), values(z, scan.pitch)
    for symbol in ("Sha", "Sda", "Shv", "Sdv"):
        assert holed[symbol] == pytest.approx(whole[symbol], rel=0.01, abs=0), symbol


def test_an_island_of_noise_is_no_hill() -> None:
    z = egg_box(3, 16).z.copy()
    z[20:30, 20:30] = np.nan
    z[24, 24], z[25, 25] = 0.0, 0.05e-9  # two points, 0.05 of 4 nm
    assert len(Surface(HeightMap(z, PITCH)).hills) == len(
        Surface(HeightMap(np.where(z == 0.05e-9, np.nan, z), PITCH)).hills
    )
    z[24, 24] = -0.5e-9
    low = Surface(HeightMap(z, PITCH)).hills
    assert [25, 25] in low.places.tolist()


NOTES: dict[str, Callable[[], Heights]] = {
    "No point was measured": lambda: np.full((4, 4), np.nan),
    "All heights are equal": lambda: np.ones((8, 8)),
    "is closed|are needed|whose four": lambda: np.array([[0.0, 1e-9]]),
}


@pytest.mark.parametrize("note", NOTES)
def test_none_with_a_reason(note: str) -> None:
    import re

    found = outcomes(HeightMap(NOTES[note](), PITCH))
    for symbol, outcome in found.items():
        if symbol == "Spd" and "closed" in note:
            assert outcome.value == pytest.approx(1 / (2 * PITCH[0] * PITCH[1]), abs=0)
            continue
        assert outcome.value is None, symbol
        assert re.search(note, outcome.note), (symbol, outcome.note)


def test_help_says_that_areas_follow_steepest_ascent() -> None:
    for entry in ENTRIES:
        assert entry.clause
        assert entry.misleads
        if entry.symbol in ("Sda", "Sha", "Sdv", "Shv"):
            assert "Areas follow steepest ascent" in entry.misleads
