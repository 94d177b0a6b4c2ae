"""Functional parameters: reference values, a full sort as second way, and what must hold on any map."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.special import ndtri

from core.heightmap import HeightMap
from core.measures import Surface
from core.measures.functional import ENTRIES, material_height, material_ratio

NM = 1e-9
SYMBOLS = [quantity.symbol for quantity in ENTRIES]
LENGTHS = [quantity.symbol for quantity in ENTRIES if quantity.unit == "m"]
CORE = ["Sk", "Spk", "Svk", "Smr1", "Smr2"]
COUNTED = ["Smr", "Smr1", "Smr2", "Spk", "Svk"]
Expected = Callable[..., Any]
Heights = NDArray[np.float64]
quick = settings(max_examples=40, deadline=None)
seeds = st.integers(0, 2**32 - 1)


def values(z: Heights, mask: NDArray[np.bool_] | None = None) -> dict[str, float | None]:
    surface = Surface(HeightMap(z, (1.1e-8, 0.7e-8), mask=mask))
    return {quantity.symbol: quantity.function(surface).value for quantity in ENTRIES}


def alike(one: float | None, other: float | None, rel: float, factor: float = 1.0) -> bool:
    """Both missing, or the one equal to `factor` times the other."""
    if one is None or other is None:
        return one is other
    return one == pytest.approx(factor * other, rel=rel, abs=rel * factor * NM)


def shuffled(curve: Heights, seed: int = 11) -> Heights:
    side = int(np.sqrt(curve.size))
    return np.random.default_rng(seed).permutation(curve).reshape(side, -1)


def ratios(n: int = 10**6) -> Heights:
    return (np.arange(n) + 0.5) / n


def at(falling: Any, share: float) -> Any:
    """Height at a ratio: straight between points, the first at the ratio 1/2n."""
    place = min(max(share * falling.size - 0.5, 0.0), falling.size - 1.0)
    i = min(int(place), falling.size - 2)
    return falling[i] + (place - i) * (falling[i + 1] - falling[i])


def plain(z: Heights) -> dict[str, float]:
    """The same numbers from a full sort, every window fitted from its own sums, in long double."""
    h = np.sort(z[~np.isnan(z)])[::-1].astype(np.longdouble)
    n = h.size
    k = round(0.4 * n)
    rises = h[: n - k] - h[k:]
    equal = np.flatnonzero(rises <= rises.min() + 4 * np.finfo(float).eps * np.abs(h).max())
    start = min((equal[(equal.size - 1) // 2], equal[equal.size // 2]), key=lambda i: (abs(2 * i - (n - 1 - k)), -i))
    p = (np.arange(n) + np.longdouble(0.5)) / n
    inside = slice(start, start + k + 1)
    u = p[inside] - p[inside].mean()
    slope = np.sum(u * h[inside]) / np.sum(u * u)
    top = h[inside].mean() - slope * p[inside].mean()
    bottom = top + slope
    c10, c80, c2, c50 = (at(h, share) for share in (0.1, 0.8, 0.025, 0.5))
    smr1, smr2 = np.mean(h > top), np.mean(h >= bottom)

    def material(c: float) -> Any:
        return np.mean(np.maximum(h - c, 0))

    def void(c: float) -> Any:
        return np.mean(np.maximum(c - h, 0))

    return {
        "Sk": -slope,
        "Spk": 2 * material(top) / smr1 if smr1 else 0.0,
        "Svk": 2 * void(bottom) / (1 - smr2) if smr2 < 1 else 0.0,
        "Smr1": smr1,
        "Smr2": smr2,
        "Smr": np.mean(h >= h.mean()),
        "Smc": c10 - h.mean(),
        "Sxp": c2 - c50,
        "Vmp": material(c10),
        "Vmc": material(c80) - material(c10),
        "Vvc": void(c10) - void(c80),
        "Vvv": void(c80),
    }


GAUSSIAN = {
    "1.13|Sxp(2.5%,50%)/Sq": "Sxp",
    "1.13|Vmp(10%)/Sq": "Vmp",
    "1.13|Vmc(10%,80%)/Sq": "Vmc",
    "1.13|Vvc(10%,80%)/Sq": "Vvc",
    "1.13|Vvv(80%)/Sq": "Vvv",
    "1.13|Sk/Sq least-squares line over central 40 %": "Sk",
    "1.13|Spk/Sq (LS)": "Spk",
    "1.13|Svk/Sq (LS)": "Svk",
}


def test_gaussian_heights(expected: Expected) -> None:
    found = values(shuffled(NM * ndtri(ratios())))
    for entry, symbol in GAUSSIAN.items():
        assert found[symbol] == expected(entry, unit=NM), entry
    assert found["Smr1"] == expected("1.13|Smr1 (LS)", unit=0.01)
    assert found["Smr2"] == expected("1.13|Smr2 (LS)", unit=0.01)


def test_the_line_is_not_the_secant(expected: Expected) -> None:
    """What the secant itself would give, from the same curve: 1.9 % more, which no tolerance here lets through."""
    heights = ndtri(ratios())
    curve = Surface(HeightMap(shuffled(heights), (1.0, 1.0))).material_ratio
    core = curve.core
    assert core is not None
    secant = (curve.height(core.first) - curve.height(core.last)) / (core.last - core.first)
    assert secant == expected("1.13|Sk/Sq by secant instead of LS line")
    assert core.first == pytest.approx(0.3, abs=0.002)


def test_exponential_heights(expected: Expected) -> None:
    found = values(shuffled(-np.log(ratios())))
    for symbol, entry in {
        "Vmp": "1.14|exponential Vmp(10%)/Sq",
        "Vmc": "1.14|exponential Vmc/Sq",
        "Vvc": "1.14|exponential Vvc/Sq",
        "Vvv": "1.14|exponential Vvv/Sq",
        "Sxp": "1.14|exponential Sxp/Sq = ln 20",
    }.items():
        assert found[symbol] == expected(entry), entry
    assert found["Sk"] is None  # flattest at its lower end


def test_straight_curve(expected: Expected) -> None:
    found = values(shuffled(ratios()))
    for symbol in ("Sk", "Spk", "Svk"):
        assert found[symbol] == expected(f"1.15|{symbol}" + ("/H"))
    assert found["Smr1"] == expected("1.15|Smr1", unit=0.01)
    assert found["Smr2"] == expected("1.15|Smr2", unit=0.01)


def stratified(p: Heights) -> Heights:
    return np.select([p < 0.1, p < 0.85], [4 + 100 * (0.1 - p), 10 * (0.5 - p)], -3.5 - 200 * (p - 0.85))


def test_stratified_curve(expected: Expected) -> None:
    found = values(shuffled(NM * stratified(ratios())))
    for symbol in ("Sk", "Spk", "Svk"):
        assert found[symbol] == expected(f"1.16|{symbol}", unit=NM)
    assert found["Smr1"] == expected("1.16|Smr1", unit=0.01)
    assert found["Smr2"] == expected("1.16|Smr2", unit=0.01)


def test_of_equally_flat_windows_the_middle_one_is_taken() -> None:
    core = Surface(HeightMap(shuffled(stratified(ratios(10_000))), (1.0, 1.0))).material_ratio.core
    assert core is not None
    assert (core.first + core.last) / 2 == pytest.approx((0.1 + 0.85) / 2, abs=2e-4)  # a point is 1e-4


def test_cosine(expected: Expected) -> None:
    x = (np.arange(1000) + 0.5) * 1e-8
    z = np.tile(10 * NM * np.cos(2 * np.pi * x / 1e-6), (1000, 1))
    found = values(z)
    for symbol, entry in {
        "Sxp": "1.01|Sxp(2.5%,50%)",
        "Vmp": "1.01|Vmp(10%)",
        "Vmc": "1.01|Vmc(10%,80%)",
        "Vvc": "1.01|Vvc(10%,80%)",
        "Vvv": "1.01|Vvv(80%)",
    }.items():
        assert found[symbol] == expected(entry, unit=NM), entry
    surface = Surface(HeightMap(z, (1e-8, 1e-8)))
    assert material_ratio(surface, 5 * NM).value == expected("1.01|Smr(c=+5 nm)", unit=0.01)


def test_a_wave_has_no_core_and_says_so() -> None:
    x = np.arange(600)
    for noise in (0.0, 0.02, 0.1):
        wave = np.tile(np.cos(2 * np.pi * x / 120), (200, 1))
        wave = wave + noise * np.random.default_rng(8).standard_normal(wave.shape)
        surface = Surface(HeightMap(NM * wave, (1e-8, 1e-8)))
        for quantity in ENTRIES:
            outcome = quantity.function(surface)
            assert (outcome.value is None) == (quantity.symbol in CORE)
            if quantity.symbol in CORE:
                assert "no flat part" in outcome.note


def test_fourier_series(expected: Expected) -> None:
    terms = [(1, 0, 5, 0), (0, 1, 4, 0.5), (1, 1, 3, 1.0), (3, -2, 2, 1.5), (5, 4, 1, 2.0), (8, -7, 0.5, 2.5)]
    y, x = np.mgrid[:512, :512] / 512
    found = values(sum(a * NM * np.cos(2 * np.pi * (p * x + q * y) + f) for p, q, a, f in terms))
    for symbol in ("Sxp", "Vmp", "Vmc", "Vvc", "Vvv", "Sk", "Spk", "Svk"):
        assert found[symbol] == expected(f"1.20|{symbol}", unit=NM), symbol
    assert found["Smr1"] == expected("1.20|Smr1", unit=0.01)
    assert found["Smr2"] == expected("1.20|Smr2", unit=0.01)


def test_bumps_on_a_plain_have_a_core_of_no_height() -> None:
    """2 % of the points 4 nm high, the rest exactly even: the triangle on the base 2 % is 8 nm high."""
    z = np.zeros(10_000)
    z[:200] = 4 * NM
    found = values(shuffled(z))
    assert found["Sk"] == 0
    assert found["Spk"] == pytest.approx(8 * NM, rel=1e-12)
    assert (found["Smr1"], found["Smr2"], found["Svk"]) == (0.02, 1.0, 0.0)


def test_two_even_levels_have_no_core() -> None:
    assert values(shuffled(np.repeat([0.0, 5 * NM], 5000)))["Sk"] is None


def test_converges_with_the_number_of_points() -> None:
    """Sk of Gaussian quantiles approaches the closed form at least in the first order of 1/N (derived here)."""
    errors = []
    for n in (100, 1000, 10_000, 100_000):
        sk = values(ndtri(ratios(n))[None, :])["Sk"]
        assert sk is not None
        errors.append(abs(sk - 2.57395610795))
    assert all(later < 0.2 * earlier for earlier, later in itertools.pairwise(errors))


MAKERS: dict[str, Callable[[np.random.Generator, int], Heights]] = {
    "normal": lambda rng, n: rng.standard_normal(n),
    "skewed": lambda rng, n: rng.gamma(3.0, size=n),
    "quantised": lambda rng, n: np.round(4 * rng.standard_normal(n)) / 4,
    "far": lambda rng, n: 1e5 + rng.standard_normal(n),
    "heavy": lambda rng, n: rng.standard_t(2, n),
    "stratified": lambda rng, n: stratified(rng.random(n)),
}
makers = st.sampled_from(sorted(MAKERS))


@quick
@given(makers, seeds, st.integers(5, 80), st.integers(5, 80))
def test_equals_a_full_sort(kind: str, seed: int, rows: int, columns: int) -> None:
    z = NM * MAKERS[kind](np.random.default_rng(seed), rows * columns).reshape(rows, columns)
    found, wanted = values(z), plain(z)
    # Heights far away are themselves rounded; there a threshold meets a height by rounding and one point changes sides.
    rounding = float(np.abs(z).max() / np.std(z)) * 1e-14 + 1e-12
    one_point = 2.0 / z.size if kind == "far" else 1e-12
    for symbol, value in found.items():
        if value is None or (kind == "quantised" and symbol in COUNTED):
            continue  # on a lattice of heights the line may meet a level exactly, and many points change sides
        if symbol in ("Spk", "Svk"):
            assert value == pytest.approx(float(wanted[symbol]), rel=1e-9, abs=one_point * float(wanted["Sk"])), symbol
        elif symbol in LENGTHS:
            assert value == pytest.approx(float(wanted[symbol]), abs=rounding * float(wanted["Vmc"] + wanted["Vvc"]))
        else:
            assert value == pytest.approx(float(wanted[symbol]), abs=one_point), symbol


def test_equals_a_full_sort_on_large_maps() -> None:
    for kind, make in MAKERS.items():
        z = NM * make(np.random.default_rng(2), 90_000).reshape(300, 300)
        found, wanted = values(z), plain(z)
        for symbol in ("Sk", "Sxp", "Vmp", "Vmc", "Vvc", "Vvv"):
            value = found[symbol]
            if value is not None:
                assert value == pytest.approx(float(wanted[symbol]), rel=1e-8 if kind == "far" else 1e-11), (
                    kind,
                    symbol,
                )


@quick
@given(makers, seeds, st.sampled_from([1e-3, 3.0, 1e4]))
def test_scaling(kind: str, seed: int, factor: float) -> None:
    z = NM * MAKERS[kind](np.random.default_rng(seed), 400).reshape(20, 20)
    here, there = values(z), values(factor * z)
    rel = 1e-9 if kind == "far" else 1e-11
    for symbol in LENGTHS:
        if symbol not in CORE or kind not in ("quantised", "far"):  # equal minima and thresholds meet by rounding there
            assert alike(there[symbol], here[symbol], rel, factor=factor), symbol


@quick
@given(st.sampled_from(["normal", "skewed", "heavy"]), seeds)
def test_sign_flip(kind: str, seed: int) -> None:
    z = NM * MAKERS[kind](np.random.default_rng(seed), 900).reshape(30, 30)
    here, there = values(z), values(-z)
    for one, other in [("Sk", "Sk"), ("Spk", "Svk"), ("Svk", "Spk")]:
        assert alike(there[one], here[other], 1e-11)
    if (ratio := here["Smr1"]) is not None:
        assert there["Smr2"] == pytest.approx(1 - ratio, abs=1e-12)


@quick
@given(makers, seeds, st.floats(0, 0.5))
def test_places_do_not_matter_nor_do_holes_and_masks(kind: str, seed: int, share: float) -> None:
    rng = np.random.default_rng(seed)
    z = NM * MAKERS[kind](rng, 1200).reshape(30, 40)
    out = rng.random(z.shape) < share
    holes, masked = z.copy(), z
    holes[out] = np.nan
    wanted = values(z[~out][None, :])
    # Sums in another order differ in the last digits, and the mean by them from the height that it is compared with.
    rel = 1e-9 if kind == "far" else 1e-11
    for found in (values(holes), values(masked, mask=out), values(rng.permutation(z[~out])[None, :])):
        for symbol in SYMBOLS:
            if symbol != "Smr":
                assert alike(found[symbol], wanted[symbol], rel), symbol


@quick
@given(makers, seeds)
def test_volumes_fit_together(kind: str, seed: int) -> None:
    """Material and void between two heights fill the slab between them."""
    z = NM * MAKERS[kind](np.random.default_rng(seed), 2500).reshape(50, 50)
    surface = Surface(HeightMap(z, (1e-8, 1e-8)))
    found = values(z)
    curve = surface.material_ratio
    slab = curve.hill_height - curve.dale_height
    assert found["Vmc"] is not None
    assert found["Vvc"] is not None
    assert found["Vmc"] + found["Vvc"] == pytest.approx(slab, rel=1e-9)
    assert material_height(surface, 0.1).value == found["Smc"]


def test_nothing_to_measure() -> None:
    assert set(values(np.full((5, 6), np.nan)).values()) == {None}


def test_few_points_have_heights_but_no_core() -> None:
    found = values(np.arange(12.0).reshape(3, 4))
    assert [symbol for symbol, value in found.items() if value is None] == CORE


def test_even_map() -> None:
    found = values(np.full((20, 20), 7e-9))
    assert (found["Sk"], found["Spk"], found["Svk"], found["Smr1"], found["Smr2"]) == (0, 0, 0, 0, 1)
    assert found["Vmp"] == found["Vvv"] == 0


def test_entries_are_complete() -> None:
    for quantity in ENTRIES:
        assert quantity.clause.startswith("ISO 25178-2")
        assert all((quantity.name, quantity.meaning, quantity.formula, quantity.misleads))
