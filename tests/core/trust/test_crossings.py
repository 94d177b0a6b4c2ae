"""Crossings of a standing in words: which neighbours, who is smoother where, and no more than the spots show."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from core.errors import BenchError
from core.measures.window_curve import WindowCurve
from core.trust.crossings import NONE, crossings, sentences
from core.trust.crossover import crossover

SIDES = np.geomspace(80e-9, 2.56e-6, 11)
T_TWO = 4.302652729696142  # Student's t, 97.5 %, two degrees of freedom


def curve(level: float, exponent: float) -> WindowCurve:
    rms = level * (SIDES / 1e-6) ** exponent
    ones = np.ones(SIDES.size, np.int64)
    return WindowCurve(SIDES, rms, rms, rms, rms, ones, 0 * ones, np.stack([ones, ones], axis=1))


def pair(one: WindowCurve, spread: float) -> list[WindowCurve]:
    """Two spots a factor e^±spread apart: the ratio of two such pairs has two degrees of freedom."""
    return [replace(one, rms=one.rms * math.exp(sign * spread)) for sign in (-1, 1)]


FLAT, STEEP, MIDDLE = curve(1e-9, 0.0), curve(1e-9, 0.8), curve(2e-9, 0.8)


def test_neighbours_in_the_order_of_the_standing() -> None:
    """1 = (s/µm)^0.8 at 1 µm, 1 = 2 (s/µm)^0.8 at 0.42 µm (closed form); steep and middle never cross."""
    curves = {"flat": pair(FLAT, 0.01), "steep": pair(STEEP, 0.01), "middle": pair(MIDDLE, 0.01)}
    found = crossings(curves, ["steep", "flat", "middle"])
    assert [(c.first, c.second) for c in found] == [("steep", "flat"), ("flat", "middle")]
    assert [c.at.side for c in found] == pytest.approx([1e-6, 1e-6 * 2**-1.25], rel=1e-9)
    assert [(c.below, c.above) for c in found] == [("steep", "flat"), ("middle", "flat")]
    assert crossings(curves, ["flat", "middle", "steep"])[0].second == "middle"
    assert len(crossings(curves, ["middle", "steep", "flat"])) == 1
    direct = crossover(curves["steep"], curves["flat"])
    assert direct is not None
    assert (found[0].at.low, found[0].at.high) == (direct.low, direct.high)


def test_sentence_with_both_ends() -> None:
    """A factor e^0.01 between spots: t · 0.01 · √2 on the logarithm over the difference of exponents (closed form)."""
    (found,) = crossings({"A": pair(STEEP, 0.05), "B": pair(FLAT, 0.05)}, ["A", "B"])
    reach = math.exp(T_TWO * 0.05 * math.sqrt(2) / 0.8)
    assert found.at.high == pytest.approx(1e-6 * reach, rel=1e-3)
    low, high = f"{1 / reach:.2g}", f"{reach:.2g}"
    assert found.told == f"Below windows of 1 µm ({low}–{high} µm) A is smoother, above it B."


def test_sentences_claim_no_more_than_the_spots_show() -> None:
    below_open = crossings({"A": pair(curve(3e-9, 0.8), 0.25), "B": pair(FLAT, 0.25)}, ["A", "B"])[0]
    assert below_open.at.low is None and below_open.at.high is not None
    assert below_open.told.startswith("Above windows of 250 nm (at most ")
    assert below_open.told.endswith(" B is smoother than A; below, their spots do not tell them apart.")
    above_open = crossings({"A": pair(curve(0.6e-9, 0.8), 0.25), "B": pair(FLAT, 0.25)}, ["A", "B"])[0]
    assert above_open.at.low is not None and above_open.at.high is None
    assert above_open.told.startswith("Below windows of 1.9 µm (at least ")
    neither = crossings({"A": pair(STEEP, 0.9), "B": pair(FLAT, 0.9)}, ["A", "B"])[0]
    assert "do not tell them apart on either side" in neither.told
    assert "smoother" not in neither.told
    alone = crossings({"A": [STEEP], "B": pair(FLAT, 0.01)}, ["A", "B"])[0]
    assert alone.told == (
        "Below windows of 1 µm A is smoother, above it B; with one spot of a specimen this place has no interval."
    )


def test_several_crossings_are_told() -> None:
    wavy = np.ones(11) * 0.5
    wavy[1] = 1.1  # a brush with the other curve, then the true change of places
    wavy[7:] = 2.0
    (found,) = crossings({"A": [replace(FLAT, rms=1e-9 * wavy)], "B": [FLAT]}, ["A", "B"])
    assert found.told.endswith("Of 3 crossings this one parts the sides best.")


def test_specimens_without_a_curve_are_passed_over() -> None:
    empty = replace(FLAT, **{name: np.empty(0) for name in ("side", "rms", "low", "median", "high")})
    curves = {"A": pair(STEEP, 0.01), "refused": [], "tiny": [empty], "B": pair(FLAT, 0.01)}
    found = crossings(curves, ["A", "refused", "tiny", "unknown", "B"])
    assert [(c.first, c.second) for c in found] == [("A", "B")]


def test_none() -> None:
    assert crossings({}, []) == ()
    assert sentences(crossings({"A": [STEEP], "B": [MIDDLE]}, ["A", "B"])) == [NONE]


def test_refusal() -> None:
    with pytest.raises(BenchError, match="confidence"):
        crossings({"A": [STEEP], "B": [FLAT]}, ["A", "B"], confidence=2.0)
