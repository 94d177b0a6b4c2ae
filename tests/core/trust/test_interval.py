"""The interval of spots."""

import math

import numpy as np
import pytest

from core.measures.reading import Reading
from core.trust.interval import of_spots, student


def spots(*values: float | None, symbol: str = "Sq") -> list[Reading]:
    return [
        Reading(symbol, value, "m", "clause", note="" if value is not None else "nothing measured") for value in values
    ]


def test_t_on_the_value_gives_the_handbook_interval() -> None:
    # reference 11.01: mean 0.23, s 0.0158113883008, t(0.975, 4) 2.7764451052, half width 0.0196324316148;
    # standard formulas, recomputed with scipy
    reading = of_spots(spots(0.21, 0.24, 0.22, 0.25, 0.23), positive=False)
    assert student(0.975, 4) == pytest.approx(2.7764451052, rel=1e-9)
    assert reading.value == pytest.approx(0.23, rel=1e-12)
    assert reading.uncertainty == pytest.approx(0.0196324316148, rel=1e-9)
    assert (reading.low, reading.high) == pytest.approx((0.2103675683852, 0.2496324316148), rel=1e-9)
    assert reading.n == 5


def test_t_on_the_logarithm_is_symmetric_in_factors() -> None:
    reading = of_spots(spots(1e-9, 2e-9, 4e-9), positive=True)
    assert reading.value == pytest.approx(2e-9, rel=1e-12)  # geometric mean
    assert reading.low is not None
    assert reading.high is not None
    assert reading.high / 2e-9 == pytest.approx(2e-9 / reading.low, rel=1e-12)
    half = student(0.975, 2) * math.log(2) / math.sqrt(3)  # s of (0, 1, 2)·ln 2 is ln 2
    assert math.log(reading.high / 2e-9) == pytest.approx(half, rel=1e-12)
    assert reading.uncertainty == pytest.approx((reading.high - reading.low) / 2, rel=1e-12)


def test_one_spot_has_no_interval_and_says_why() -> None:
    reading = of_spots(spots(0.4), positive=True)
    assert (reading.value, reading.uncertainty, reading.low, reading.high, reading.n) == (0.4, None, None, None, 1)
    assert "spot-to-spot variation unknown" in reading.note


def test_two_spots_ask_for_a_third() -> None:
    assert "take a third" in of_spots(spots(0.4, 0.5), positive=True).note


def test_spots_without_a_value_are_left_out_and_counted() -> None:
    reading = of_spots(spots(0.4, None, 0.5, 0.6), positive=True)
    assert reading.n == 3
    assert "1 of 4" in reading.note
    assert of_spots(spots(None, None), positive=True).value is None


def test_a_zero_among_positive_readings_does_not_break_the_logarithm() -> None:
    reading = of_spots(spots(0.0, 1.0, 2.0), positive=True)
    assert reading.value == pytest.approx(1.0)
    assert "zero" in reading.note


@pytest.mark.parametrize("scatter", [0.05, 0.30])
@pytest.mark.parametrize("n", [2, 3, 5])
def test_the_interval_holds_the_truth_in_95_of_100_benches(scatter: float, n: int) -> None:
    # lognormal spots, target exp(mean of the logarithm). The statistic is exactly t on the logarithm, so cover is 95 %;
    # 2000 benches: standard error 0.5 %, four of them allowed.
    rng = np.random.default_rng(n)
    held = 0
    for _ in range(2000):
        reading = of_spots(spots(*np.exp(scatter * rng.standard_normal(n))), positive=True)
        assert reading.low is not None
        assert reading.high is not None
        held += reading.low <= 1.0 <= reading.high
    assert 0.93 < held / 2000 < 0.97


def test_directions_are_averaged_around_the_circle() -> None:
    degrees = [Reading("Std", value, "deg", "clause") for value in (178.0, 2.0, 3.0)]
    reading = of_spots(degrees, positive=False, period=180.0)
    assert reading.value == pytest.approx(1.0)
    assert reading.low is not None
    assert reading.high is not None
    assert (reading.low + reading.high) / 2 == pytest.approx(1.0)
    assert reading.high - reading.low < 15  # and not the width of two numbers 176 apart
