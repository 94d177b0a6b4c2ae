"""Every reading of the catalogue under what must not matter, or must matter in a known way.

A reading that is added to the catalogue is tested here from its first day: it has to be entered in `POWERS`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from core.heightmap import HeightMap
from core.measures import CATALOGUE, readings
from core.synthetic import gaussian_texture
from core.treatment import Level
from core.trust.interval import of_spots

PITCH = (1e-8, 1.25e-8)
SHAPE = (120, 96)

POWERS = {  # of the height scale, of the lateral scale
    **dict.fromkeys(["Sq", "Sa", "Sz", "Sp", "Sv", "S99.8"], (1, 0)),
    **dict.fromkeys(["Ssk", "Sku", "Str", "Std", "Smr1", "Smr2", "Smr"], (0, 0)),
    "Sdq": (1, -1),
    "Sal": (0, 1),
    **dict.fromkeys(["Sk", "Spk", "Svk", "Smc", "Sxp", "Vmp", "Vmc", "Vvc", "Vvv"], (1, 0)),
    "Spd": (0, -2),
    "Spc": (1, -2),
    **dict.fromkeys(["S10z", "S5p", "S5v"], (1, 0)),
    **dict.fromkeys(["Sda", "Sha"], (0, 2)),
    **dict.fromkeys(["Sdv", "Shv"], (1, 2)),
    **dict.fromkeys(["FLTt", "FLTp", "FLTv", "FLTq", "FLTt(MZ)", "PV99", "PVr"], (1, 0)),
}
NO_POWER = {"Sdr"}  # √(1 + s): a power of the slope for small slopes only

FLIPPED = {"Sp": "Sv", "S5p": "S5v", "Sda": "Sha", "Sdv": "Shv", "FLTp": "FLTv", "Spk": "Svk"}
ONE_SIDED = {"Smr", "Smc", "Sxp", "Vmp", "Vmc", "Vvc", "Vvv", "Spd", "Spc"}
"""Defined from above: upside down they are other readings."""


def film(seed: int) -> HeightMap:
    """Hills three times as long down as across, with a little noise: no two heights are alike."""
    rng = np.random.default_rng(seed)
    z = gaussian_texture(SHAPE, (PITCH[0], 3 * PITCH[1]), sq=1e-9, length=1.8e-7, rng=rng)
    return HeightMap(z + 1e-10 * rng.standard_normal(SHAPE), PITCH)


def read(z: NDArray[np.float64], pitch: tuple[float, float] = PITCH) -> dict[str, float]:
    found = readings(HeightMap(z, pitch))
    missing = [symbol for symbol, reading in found.items() if reading.value is None]
    assert not missing, missing
    return {symbol: float(reading) for symbol, reading in found.items()}


SCAN = film(1)


@pytest.fixture(scope="module")
def before() -> dict[str, float]:
    return read(SCAN.z)


def check(found: dict[str, float], wanted: dict[str, float], rel: float) -> None:
    for symbol, value in wanted.items():
        # Ssk and Smr − ½ may be small differences of large sums: their digits are those of the sums
        assert found[symbol] == pytest.approx(
            value, rel=rel, abs=rel if abs(value) < 1e-2 and symbol == "Ssk" else 0
        ), symbol


def test_every_reading_is_here() -> None:
    assert set(POWERS) | NO_POWER == set(CATALOGUE)
    assert not set(FLIPPED) & set(FLIPPED.values())


@pytest.mark.parametrize("up", [3e-8, -1e-6])
def test_lifting_changes_nothing(before: dict[str, float], up: float) -> None:
    """Heights keep 1e-16 of the lift: 2e-22 m of a micrometre, 1e-12 of the least difference that counts here."""
    check(read(SCAN.z + up), before, 1e-8)


@pytest.mark.parametrize(("height", "side"), [(3.0, 1.0), (1.0, 3.0), (0.25, 2.0)])
def test_scaling(before: dict[str, float], height: float, side: float) -> None:
    found = read(height * SCAN.z, (side * PITCH[0], side * PITCH[1]))
    wanted = {s: before[s] * height**power * side**lateral for s, (power, lateral) in POWERS.items()}
    check(found, wanted, 1e-9)


def test_upside_down(before: dict[str, float]) -> None:
    found = read(-SCAN.z)
    pairs = FLIPPED | {other: one for one, other in FLIPPED.items()}
    same = set(CATALOGUE) - ONE_SIDED - {"Smr1", "Smr2", "Ssk"}
    check(found, {symbol: before[pairs.get(symbol, symbol)] for symbol in same}, 1e-9)
    check(found, {"Ssk": -before["Ssk"], "Smr1": 1 - before["Smr2"], "Smr2": 1 - before["Smr1"]}, 1e-9)


@pytest.mark.parametrize("transposed", [False, True])
@pytest.mark.parametrize("turns", range(4))
def test_turning_and_transposing(before: dict[str, float], turns: int, transposed: bool) -> None:
    """By quarter turns anticlockwise, as shown; a transposition mirrors at the diagonal that falls to the right."""
    z, pitch, direction = np.rot90(SCAN.z, turns), PITCH if turns % 2 == 0 else PITCH[::-1], before["Std"] + 90 * turns
    if transposed:
        z, pitch, direction = z.T, pitch[::-1], -90 - direction
    found = read(np.ascontiguousarray(z), pitch)
    check(found, {symbol: before[symbol] for symbol in CATALOGUE if symbol != "Std"}, 1e-9)
    assert abs((found["Std"] - direction + 90) % 180 - 90) < 0.1


def test_single_precision(before: dict[str, float]) -> None:
    """float32 rounds heights by up to 6e-8 of themselves; slopes, curvatures and rims are differences of those."""
    check(read(SCAN.z.astype(np.float32)), before, 2e-5)


def test_holes_at_random_leave_readings_within_their_interval() -> None:
    """2 % of the points lost on each of six spots: the typical reading stays within the 95 % interval of the spots."""
    rng = np.random.default_rng(3)
    spots = [film(seed) for seed in range(10, 16)]
    holed = [scan.with_(z=np.where(rng.random(SHAPE) < 0.02, np.nan, scan.z)) for scan in spots]
    whole, lost = [readings(scan) for scan in spots], [readings(scan) for scan in holed]
    for symbol, quantity in CATALOGUE.items():
        whole_spots, lost_spots = (
            of_spots([found[symbol] for found in every], positive=quantity.positive, period=quantity.period)
            for every in (whole, lost)
        )
        assert whole_spots.low is not None and whole_spots.high is not None and lost_spots.value is not None, symbol
        assert whole_spots.low <= lost_spots.value <= whole_spots.high, symbol


def test_invariances_1_23(before: dict[str, float], expected: Callable[..., Any]) -> None:
    """Reference 1.23: the same, as ratios with the tolerances of the list."""
    higher, flipped, wider = read(3 * SCAN.z), read(-SCAN.z), read(SCAN.z, (2 * PITCH[0], 2 * PITCH[1]))
    for symbol in ("Sq", "Sa", "Sp", "Sv", "Sz", "Sk", "Vmp", "Sdq"):
        name = "1.23|z -> k z, k=3: ratio of Sq, Sa, Sp, Sv, Sz, Sk, Vmp, Sdq"
        assert higher[symbol] / before[symbol] == expected(name)
    assert flipped["Ssk"] / before["Ssk"] == expected("1.23|z -> -z: Ssk ratio")
    assert wider["Sdq"] / before["Sdq"] == expected("1.23|x,y -> 2x,2y: Sdq ratio")
    assert wider["Sal"] / before["Sal"] == expected("1.23|x,y -> 2x,2y: Sal ratio")
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    level, tilted = (
        read(Level().apply(HeightMap(z, PITCH)).z) for z in (SCAN.z, SCAN.z + 5e-8 + 3e-11 * x - 7e-11 * y)
    )
    change = (tilted["Sq"] - level["Sq"]) / level["Sq"]
    assert change == expected("1.23|z -> z + c + a x + b y then plane levelling: change of Sq")
    for z, pitch in ((np.rot90(SCAN.z), PITCH[::-1]), (SCAN.z[:, ::-1], PITCH), (SCAN.z.T, PITCH[::-1])):
        turned = read(np.ascontiguousarray(z), pitch)
        for symbol in ("Sq", "Ssk", "Sku", "Sdq", "Sdr", "Sal", "Str"):
            name = "1.23|90 deg rotation, mirror, transpose: change of Sq,Ssk,Sku,Sdq,Sdr,Sal,Str"
            assert turned[symbol] / before[symbol] - 1 == expected(name), symbol
