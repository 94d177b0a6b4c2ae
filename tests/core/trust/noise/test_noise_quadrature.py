"""Quadrature: closed forms, cover and the leak rates of the gate as the methods measured them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.trust.interval import student
from core.trust.noise.quadrature import GATE, WELL_KNOWN, corrected, one_sided, propagated


def test_reference_propagation(expected) -> None:
    """7.03: S 0.25, N 0.15, both known to 0.005."""
    assert propagated(0.25, 0.005, 0.15, 0.005) == expected("7.03|u(Sq_true) with u_meas=u_noise=0.005")


@pytest.mark.parametrize(("ratio", "factor"), [(0.5, 1.3), (0.7, 2.0), (0.8, 2.8), (0.9, 5.3), (0.95, 10.0)])
def test_amplification(ratio, factor) -> None:
    """(S/S_true)² = 1/(1 − (N/S)²): 1.3, 2.0, 2.8, 5.3, 10; the first two are shown, the rest are limited."""
    assert 1 / (1 - ratio**2) == pytest.approx(factor, rel=0.03)
    found = corrected(1.0, ratio, u_noise=0.01)
    assert found.limited == (ratio > GATE)
    if not found.limited:
        assert found.amplification == pytest.approx(1 / (1 - ratio**2), rel=1e-9)
        assert found.value == pytest.approx(math.sqrt(1 - ratio**2), rel=1e-12)


def benches(rng, count, *, ratio, n, cv, u):
    """Readings of benches whose true S is 1 before noise: typical raw spot, its interval, the floor as measured."""
    noise = ratio / math.sqrt(1 - ratio**2)
    spots = np.exp(cv * rng.standard_normal((count, n)))
    logs = np.log(np.sqrt(spots**2 + noise**2))
    half = student(0.975, n - 1) * logs.std(axis=1, ddof=1) / math.sqrt(n)
    middle = logs.mean(axis=1)
    floors = noise * np.exp(u * rng.standard_normal(count))
    return zip(np.exp(middle), np.exp(middle - half), np.exp(middle + half), floors, strict=True)


def rates(rng, count, **bench):
    """Share shown as corrected, cover among them, cover of the bound among the others."""
    shown = held = bounded = 0
    for raw, low, high, floor in benches(rng, count, **bench):
        found = corrected(raw, floor, u_noise=bench["u"], low=low, high=high, n=bench["n"])
        if found.limited:
            bounded += found.bound >= 1.0
        else:
            shown += 1
            held += found.low <= 1.0 <= found.high
    return shown / count, held / max(1, shown), bounded / max(1, count - shown)


@pytest.mark.parametrize("u", [0.05, 0.15])
@pytest.mark.parametrize("ratio", [0.3, 0.5, 0.7, 0.9])
@pytest.mark.parametrize("n", [2, 3, 5])
def test_cover_without_the_gate(ratio, n, u) -> None:
    """94.9-98.6 % over N/S 0.3-0.9: the interval alone, the gate never asked. 1,000 benches: standard error 0.7 %."""
    held = 0
    for raw, low, high, floor in benches(np.random.default_rng(21), 1000, ratio=ratio, n=n, cv=0.1, u=u):
        left = raw**2 - floor**2
        least, most = (floor**2 * math.exp(sign * 2 * 1.959964 * u) for sign in (-1, 1))
        lower = left - math.hypot(raw**2 - low**2, most - floor**2)
        upper = left + math.hypot(high**2 - raw**2, floor**2 - least)
        held += max(0.0, lower) <= 1.0 <= upper
        if floor / raw < 0.5:  # the function itself where the gate lets it through
            found = corrected(raw, floor, u_noise=u, low=low, high=high, n=n)
            if not found.limited:
                assert found.low == pytest.approx(math.sqrt(max(0.0, lower)), rel=1e-6, abs=1e-9)
                assert found.high == pytest.approx(math.sqrt(upper), rel=1e-6)
    assert 0.93 <= held / 1000 <= 0.995


def test_gate_of_a_well_known_floor() -> None:
    """At 0.8 0.9-1.4 % are shown, at 0.9 none; at 0.5-0.6 all, and what is shown covers 95.5-97.2."""
    rng = np.random.default_rng(22)
    assert rates(rng, 4000, ratio=0.8, n=3, cv=0.1, u=0.05)[0] <= 0.04
    assert rates(rng, 4000, ratio=0.9, n=3, cv=0.1, u=0.05)[0] <= 0.001
    for ratio in (0.5, 0.6):
        shown, held, _ = rates(rng, 2000, ratio=ratio, n=3, cv=0.1, u=0.05)
        assert shown > 0.9
        assert 0.94 <= held <= 0.99


def test_gate_of_a_loose_floor() -> None:
    """u_N 15 %: at 0.8 / 0.9 0.7 / 0.1 % are shown; the price is 28 / 73 % withheld at 0.5 / 0.6."""
    rng = np.random.default_rng(23)
    assert rates(rng, 4000, ratio=0.8, n=3, cv=0.1, u=0.15)[0] <= 0.015
    assert rates(rng, 4000, ratio=0.9, n=3, cv=0.1, u=0.15)[0] <= 0.004
    for ratio, withheld in ((0.5, 0.28), (0.6, 0.73)):
        shown, held, _ = rates(rng, 4000, ratio=ratio, n=3, cv=0.1, u=0.15)
        assert 1 - shown == pytest.approx(withheld, abs=0.06)
        assert held >= 0.93


def test_point_gate_would_leak() -> None:
    """Why: with N/S itself and a floor of 15 %, 19 % of benches at 0.8 would be shown."""
    readings = benches(np.random.default_rng(24), 4000, ratio=0.8, n=3, cv=0.1, u=0.15)
    leaked = sum(floor / raw <= GATE for raw, _, _, floor in readings) / 4000
    assert leaked == pytest.approx(0.19, abs=0.03)


@pytest.mark.parametrize("u", [0.05, 0.15])
@pytest.mark.parametrize("ratio", [0.7, 0.8, 0.9])
def test_bound_holds(ratio, u) -> None:
    """The truth lies below the bound in 99.4-100 % of limited benches."""
    assert rates(np.random.default_rng(25), 3000, ratio=ratio, n=3, cv=0.1, u=u)[2] >= 0.99


@given(
    raw=st.floats(1e-12, 1e-6),
    share=st.floats(0.0, 0.69),
    u=st.floats(0.0, WELL_KNOWN),
    width=st.floats(1.0, 3.0),
)
def test_the_value_lies_in_its_interval(raw, share, u, width) -> None:
    found = corrected(raw, share * raw, u_noise=u, low=raw / width, high=raw * width, n=3)
    assert found.low <= found.value <= found.high
    assert found.value <= raw
    assert found.bound is None


def test_no_interval_without_one() -> None:
    found = corrected(1e-9, 0.3e-9, u_noise=0.02)
    assert (found.low, found.high) == (None, None)
    assert corrected(1e-9, 0.9e-9, u_noise=0.02).bound == 1e-9
    assert corrected(0.0, 1e-10, u_noise=0.02).limited


def test_one_sided() -> None:
    half = student(0.975, 2) * 0.1
    assert one_sided(1.0, math.exp(half), 3) == pytest.approx(math.exp(student(0.95, 2) * 0.1), rel=1e-12)
    assert one_sided(2.0, None, 0) == 2.0


def test_words() -> None:
    loose = corrected(1.0, 0.6, u_noise=0.15)
    assert loose.note == "instrument-limited: noise over reading is 0.60 (at most 0.77), above 0.7"
