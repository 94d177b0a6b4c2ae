"""Properties of the readings: what must hold on any map, and against plain numpy in long double."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from core.errors import LowreliefError, ReadingUnknown
from core.heightmap import HeightMap
from core.measures import CATALOGUE, FAMILIES, Reading, Surface, readings

BASIC = [quantity.symbol for family in ("heights", "slopes") for quantity in FAMILIES[family]]
SIGNED = ("Ssk", "Std", "Smr1", "Smr2", "Smr", "Smc")  # of either sign, or shares and angles
HEIGHTS = ("Sq", "Sa", "Sz", "Sp", "Sv", "S99.8")
PITCH = (1.1e-8, 0.7e-8)

maps = st.builds(
    lambda seed, rows, columns, rough: (rough * np.random.default_rng(seed).standard_normal((rows, columns))) * 1e-9,
    st.integers(0, 2**32 - 1),
    st.integers(7, 40),
    st.integers(7, 40),
    st.sampled_from([0.01, 1.0, 100.0]),
)
quick = settings(max_examples=40, deadline=None)


def values(z: NDArray[np.float64], pitch: tuple[float, float] = PITCH) -> dict[str, float]:
    return {symbol: float(reading) for symbol, reading in readings(HeightMap(z, pitch), BASIC).items()}


def plain(z: NDArray[np.float64], pitch: tuple[float, float] = PITCH) -> dict[str, float]:
    """The same numbers by the shortest way there is, in long double."""
    points = z[~np.isnan(z)].astype(np.longdouble)
    u = points - points.mean()
    sq = np.sqrt(np.mean(u**2))
    weights = np.array([-1, 9, -45, 0, 45, -9, 1], np.longdouble) / 60
    ny, nx = z.shape
    wide = z.astype(np.longdouble)
    dx = sum(w * wide[3:-3, k : nx - 6 + k] for k, w in enumerate(weights) if w) / np.longdouble(pitch[1])
    dy = sum(w * wide[k : ny - 6 + k, 3:-3] for k, w in enumerate(weights) if w) / np.longdouble(pitch[0])
    s = (dx**2 + dy**2)[~np.isnan(z[3:-3, 3:-3])]
    s = s[~np.isnan(s)]
    low, high = np.quantile(z[~np.isnan(z)], [0.001, 0.999])
    found = {
        "Sq": sq,
        "Sa": np.mean(np.abs(u)),
        "Sz": u.max() - u.min(),
        "Sp": u.max(),
        "Sv": -u.min(),
        "Ssk": np.mean(u**3) / sq**3,
        "Sku": np.mean(u**4) / sq**4,
        "S99.8": high - low,
        "Sdq": np.sqrt(np.mean(s)),
        "Sdr": np.mean(s / (1 + np.sqrt(1 + s))),
    }
    return {symbol: float(value) for symbol, value in found.items()}


@quick
@given(maps)
def test_equals_the_definition(z: NDArray[np.float64]) -> None:
    # Rounding of a few thousand sums in double against long double; Ssk is a difference, so it has no relative digits.
    assert values(z) == pytest.approx(plain(z), rel=1e-12, abs=1e-13)


@quick
@given(maps, st.floats(-1e-6, 1e-6))
def test_translation_changes_nothing(z: NDArray[np.float64], up: float) -> None:
    moved, still = values(z + up), values(z)
    rounding = 1e-6 * np.finfo(float).eps / still["Sq"]  # of the moved heights themselves, in units of Sq
    assert moved == pytest.approx(still, rel=20 * rounding + 1e-12, abs=100 * rounding + 1e-12)


@quick
@given(maps)
def test_mirror(z: NDArray[np.float64]) -> None:
    here, there = values(z), values(-z)
    assert there["Sp"] == pytest.approx(here["Sv"], rel=1e-12)
    assert there["Sv"] == pytest.approx(here["Sp"], rel=1e-12)
    assert there["Ssk"] == pytest.approx(-here["Ssk"], abs=1e-12)
    for symbol in ("Sq", "Sa", "Sz", "Sku", "S99.8", "Sdq", "Sdr"):
        assert there[symbol] == pytest.approx(here[symbol], rel=1e-12), symbol


@quick
@given(maps)
def test_scaling_by_three(z: NDArray[np.float64]) -> None:
    """Reference 1.23: heights and Sdq by 3, shape numbers not at all; Sdr is nearly Sdq²/2 and so by less than 9."""
    here, there = values(z), values(3 * z)
    for symbol in (*HEIGHTS, "Sdq"):
        assert there[symbol] == pytest.approx(3 * here[symbol], rel=1e-10), symbol
    for symbol in ("Ssk", "Sku"):
        assert there[symbol] == pytest.approx(here[symbol], rel=1e-10, abs=1e-12), symbol
    assert there["Sdr"] <= 9 * here["Sdr"] * (1 + 1e-12)


@quick
@given(maps)
def test_wider_pixels_halve_slopes(z: NDArray[np.float64]) -> None:
    """Reference 1.23: x, y → 2x, 2y."""
    here, there = values(z), values(z, (2 * PITCH[0], 2 * PITCH[1]))
    assert there["Sdq"] == pytest.approx(here["Sdq"] / 2, rel=1e-10)
    assert [there[symbol] for symbol in HEIGHTS] == [here[symbol] for symbol in HEIGHTS]


@quick
@given(maps, st.integers(0, 3), st.booleans())
def test_turning_and_mirroring(z: NDArray[np.float64], quarter_turns: int, transposed: bool) -> None:
    turned = np.rot90(z, quarter_turns)
    turned = turned.T if transposed else turned
    swapped = (quarter_turns % 2 == 1) != transposed
    pitch = PITCH[::-1] if swapped else PITCH
    assert values(turned, (pitch[0], pitch[1])) == pytest.approx(values(z), rel=1e-9, abs=1e-12)


@quick
@given(maps)
def test_inequalities(z: NDArray[np.float64]) -> None:
    found = values(z)
    assert found["Sa"] <= found["Sq"] * (1 + 1e-12)
    assert found["Sq"] <= found["Sz"] / 2 * (1 + 1e-12)
    assert found["Sku"] >= 1 + found["Ssk"] ** 2 - 1e-9
    assert found["Sdr"] <= found["Sdq"] ** 2 / 2 * (1 + 1e-12)
    assert found["S99.8"] <= found["Sz"]
    assert found["Sz"] == pytest.approx(found["Sp"] + found["Sv"], rel=1e-12)


@quick
@given(maps, st.integers(0, 2**32 - 1), st.floats(0.005, 0.08))
def test_holes_and_masks_are_left_out_alike(z: NDArray[np.float64], seed: int, share: float) -> None:
    out = np.random.default_rng(seed).random(z.shape) < share
    holed = np.where(out, np.nan, z)
    missing = readings(HeightMap(holed, PITCH))
    masked = readings(HeightMap(z, PITCH, mask=out))
    for symbol, reading in missing.items():
        assert reading.value == masked[symbol].value, symbol
        assert reading.note == masked[symbol].note, symbol
    by_hand = plain(holed) if missing["Sdq"].value is not None else {}
    for symbol, value in by_hand.items():
        assert float(missing[symbol]) == pytest.approx(value, rel=1e-12, abs=1e-13), symbol


def test_holes_cost_slopes_and_say_so() -> None:
    z = np.random.default_rng(1).standard_normal((20, 20)) * 1e-9
    z[10, 10] = np.nan
    found = readings(HeightMap(z, PITCH))
    # 14 × 14 inner points; the hole is in the stencils of itself and of 3 points in each of 4 directions
    assert f"{(196 - 13) / 196 * 100:.1f} %" in found["Sdq"].note
    assert found["Sdq"].note == found["Sdr"].note
    assert found["Sq"].note == ""


def test_too_many_holes_for_slopes() -> None:
    rng = np.random.default_rng(1)
    z = rng.standard_normal((64, 64)) * 1e-9
    z[rng.random(z.shape) < 0.3] = np.nan  # 0.7¹³ = 1 % of the stencils stay whole
    found = readings(HeightMap(z, PITCH))
    assert found["Sdq"].value is None
    assert "holes" in found["Sdq"].note
    assert found["Sq"].value is not None


@pytest.mark.parametrize("shape", [(6, 20), (20, 6), (1, 1)])
def test_too_small_for_slopes(shape: tuple[int, int]) -> None:
    found = readings(HeightMap(np.zeros(shape), PITCH))
    assert found["Sdq"].value is None
    assert found["Sdr"].value is None
    assert "7 × 7" in found["Sdq"].note


def test_constant_map_has_no_shape() -> None:
    found = readings(HeightMap(np.full((50, 50), 0.1 + 0.2), PITCH))
    assert {s: found[s].value for s in (*HEIGHTS, "Sdq", "Sdr")} == dict.fromkeys((*HEIGHTS, "Sdq", "Sdr"), 0.0)
    for symbol in ("Ssk", "Sku"):
        assert found[symbol].value is None
        assert "equal" in found[symbol].note


def test_nothing_measured() -> None:
    for scan in (
        HeightMap(np.full((20, 20), np.nan), PITCH),
        HeightMap(np.zeros((20, 20)), PITCH, mask=np.ones((20, 20), bool)),
    ):
        found = readings(scan)
        assert all(reading.value is None and reading.note for reading in found.values())


@pytest.mark.parametrize("size", [1e150, 1e200])
def test_heights_beyond_all_measure(size: float) -> None:
    z = size * np.random.default_rng(1).standard_normal((20, 20))
    found = readings(HeightMap(z, PITCH))
    assert found["Sku"].value is None
    assert "large" in found["Sku"].note
    assert found["Sz"].value == z.max() - z.min()


def test_far_from_zero() -> None:
    """Heights 10⁶ Sq above 0: the rounding of the input, 1e-10 Sq, is all that may be seen, and sums do not see it."""
    rng = np.random.default_rng(6)
    z = 1e-9 * rng.standard_normal((300, 300)) + 1e-3
    found, wanted = values(z), plain(z)
    for symbol in (*HEIGHTS, "Sku", "Sdq", "Sdr"):
        assert found[symbol] == pytest.approx(wanted[symbol], rel=1e-12), symbol
    assert found["Ssk"] == pytest.approx(wanted["Ssk"], abs=1e-12)


def test_small_slopes_keep_their_digits() -> None:
    """Sdr of 1e-12: √(1 + s) − 1 would have 4 digits."""
    z = 1e-14 * np.random.default_rng(7).standard_normal((100, 100))
    assert values(z)["Sdr"] == pytest.approx(plain(z)["Sdr"], rel=1e-13)


def test_single_precision_input() -> None:
    z = np.random.default_rng(2).standard_normal((40, 40)).astype(np.float32)
    single = readings(HeightMap(z, PITCH))
    double = readings(HeightMap(z.astype(np.float64), PITCH))
    assert single == double


@pytest.mark.parametrize("size", [32_767, 32_768, 32_769, 100_003])
def test_chunks_meet_without_a_gap(size: int) -> None:
    z = np.random.default_rng(size).standard_normal((1, size)) * 1e-9
    found, u = values(z), z - z.mean()
    assert found["Sq"] == pytest.approx(np.sqrt(np.mean(u**2)), rel=1e-12)
    assert found["Sku"] == pytest.approx(np.mean(u**4) / np.mean(u**2) ** 2, rel=1e-12)
    assert found["S99.8"] == np.quantile(z, 0.999) - np.quantile(z, 0.001)


def test_only_what_is_asked_for() -> None:
    scan = HeightMap(np.random.default_rng(3).standard_normal((10, 10)), PITCH)
    assert list(readings(scan, ["Sku", "Sq"])) == ["Sku", "Sq"]
    assert readings(scan, []) == {}
    assert readings(scan, "Sq")["Sq"] == readings(scan)["Sq"]


def test_unknown_symbol_is_refused() -> None:
    with pytest.raises(ReadingUnknown, match="Sxyz") as refusal:
        readings(HeightMap(np.zeros((8, 8)), PITCH), ["Sq", "Sxyz"])
    assert isinstance(refusal.value, LowreliefError)
    assert "Sdq" in refusal.value.fix


def test_catalogue_is_whole() -> None:
    assert BASIC == ["Sq", "Sa", "Sz", "Sp", "Sv", "Ssk", "Sku", "S99.8", "Sdq", "Sdr"]
    assert list(CATALOGUE) == [quantity.symbol for family in FAMILIES.values() for quantity in family]
    assert len(CATALOGUE) == sum(map(len, FAMILIES.values()))  # no symbol stands for two things
    found = readings(HeightMap(np.random.default_rng(3).standard_normal((10, 10)), PITCH))
    for symbol, quantity in CATALOGUE.items():
        assert quantity.symbol == symbol
        assert quantity.unit in ("m", "1", "deg", "m2", "m3", "1/m", "1/m2")
        assert all((quantity.name, quantity.clause, quantity.meaning, quantity.formula, quantity.misleads))
        assert quantity.positive == (symbol not in SIGNED)
        assert isinstance(found[symbol], Reading)
        assert (found[symbol].symbol, found[symbol].unit) == (symbol, quantity.unit)
        assert found[symbol].clause == quantity.clause


def test_shared_intermediates_are_computed_once(monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []
    compute = Surface.moments.func  # type: ignore[attr-defined]
    monkeypatch.setattr(Surface.moments, "func", lambda self: calls.append(1) or compute(self))
    readings(HeightMap(np.random.default_rng(4).standard_normal((10, 10)), PITCH))
    assert calls == [1]
