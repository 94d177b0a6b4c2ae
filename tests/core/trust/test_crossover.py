"""The crossover of two specimens: known crossings, the cover of its interval, and when there is none."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from core.errors import BenchError
from core.heightmap import HeightMap
from core.measures.window_curve import WindowCurve, window_curve
from core.trust.crossover import crossover, specimen_curve

Heights = NDArray[np.float64]


def power_law(level: float, exponent: float, *, sides: Heights | None = None) -> WindowCurve:
    side = np.geomspace(80e-9, 2.56e-6, 11) if sides is None else sides
    rms = level * (side / 1e-6) ** exponent
    ones = np.ones(side.size, np.int64)
    return WindowCurve(side, rms, rms, rms, rms, ones, 0 * ones, np.stack([ones, ones], axis=1))


def scattered(curve: WindowCurve, spread: float, count: int, rng: np.random.Generator) -> list[WindowCurve]:
    """Spots that differ from the curve by one factor and, half as much, by a tilt of the curve on the logarithms."""
    spots = []
    for _ in range(count):
        along = np.log(curve.side / 0.45e-6)
        factor = np.exp(spread * (rng.standard_normal() + 0.5 * rng.standard_normal() * along))
        spots.append(replace(curve, rms=curve.rms * factor))
    return spots


def test_power_laws_cross_where_they_are_equal() -> None:
    """A s^0.3 = B s^0.9 at s = (A/B)^(1/0.6), closed form; the curves run straight on logarithms."""
    found = crossover([power_law(1e-9, 0.3)], [power_law(1.5e-9, 0.9)])
    assert found is not None
    expected = 1e-6 * (1 / 1.5) ** (1 / 0.6)
    assert found.side == pytest.approx(expected, rel=1e-9, abs=0)
    assert found.rms == pytest.approx(1e-9 * (expected / 1e-6) ** 0.3, rel=1e-9, abs=0)
    assert not found.first_below
    assert (found.low, found.high, found.ratio_low) == (None, None, None)
    assert "one spot" in found.note
    other = crossover([power_law(1.5e-9, 0.9)], [power_law(1e-9, 0.3)])
    assert other is not None
    assert other.first_below
    assert other.side == pytest.approx(expected, rel=1e-9, abs=0)


def test_interval_is_that_of_t_at_its_ends() -> None:
    """At either end of the interval Welch's t (scipy.stats) just tells the two specimens apart."""
    from scipy import stats

    rng = np.random.default_rng(1)
    first = scattered(power_law(1e-9, 0.3), 0.04, 4, rng)
    second = scattered(power_law(1.5e-9, 0.9), 0.08, 5, rng)
    found = crossover(first, second)
    assert found is not None
    assert found.low is not None and found.high is not None
    assert found.low < found.side < found.high
    for end in (found.low, found.high):
        samples = [
            [float(np.interp(math.log(end), np.log(spot.side), np.log(spot.rms))) for spot in spots]
            for spots in (first, second)
        ]
        # found between sides 1/16 octave apart, where the width bends a little
        assert stats.ttest_ind(*samples, equal_var=False).pvalue == pytest.approx(0.05, abs=0.001)


@pytest.mark.parametrize("spots", [(3, 3), (2, 5)])
def test_interval_covers_a_known_crossing(spots: tuple[int, int]) -> None:
    check_cover(spots, benches=400)


@pytest.mark.long
@pytest.mark.parametrize("spots", [(3, 3), (3, 6), (5, 5), (2, 2)])
def test_interval_covers_a_known_crossing_closely(spots: tuple[int, int]) -> None:
    check_cover(spots, benches=4000)


def check_cover(spots: tuple[int, int], benches: int) -> None:
    """Of 0.95, as exactly as Welch's t holds it (it errs to the safe side with few spots), within 4 standard errors."""
    rng = np.random.default_rng(2)
    smooth, rough = power_law(1e-9, 0.3), power_law(1.5e-9, 0.9)
    truth = 1e-6 * (1 / 1.5) ** (1 / 0.6)
    held = 0
    for _ in range(benches):
        found = crossover(scattered(smooth, 0.05, spots[0], rng), scattered(rough, 0.1, spots[1], rng))
        if found is not None:
            held += (found.low or 0.0) <= truth <= (found.high or math.inf)
    cover = held / benches
    error = math.sqrt(0.05 * 0.95 / benches)
    assert 0.95 - 0.015 - 4 * error < cover < 0.98 + 4 * error, cover


def field(hurst: float, rms: float, rng: np.random.Generator) -> tuple[Heights, Heights]:
    """A self-affine map of 256² points from a periodic field of 512², and the power of that field."""
    n = 512
    f = np.hypot(np.fft.fftfreq(n)[:, None], np.fft.fftfreq(n)[None, :])
    power = np.maximum(f, 1 / 128) ** (-2 - 2 * hurst)
    power[0, 0] = 0.0
    power *= rms**2 / power.sum()
    white = np.fft.fft2(rng.standard_normal((n, n)))
    return (np.fft.ifft2(white * np.sqrt(power)).real * n)[:256, :256], power


def expected_rms(power: Heights, n: int) -> float:
    """Ensemble value in n × n points, a plane removed; closed form (derived in test_measures_window_curve)."""
    x = np.arange(n) - (n - 1) / 2
    turns = 2 * np.pi * np.fft.fftfreq(len(power))[:, None] * x
    mean, slope = np.cos(turns).mean(1) ** 2, (np.sin(turns) * x).mean(1) ** 2 * 12 / (n**2 - 1)
    kept = 1 - np.outer(mean, mean) - np.outer(slope, mean) - np.outer(mean, slope)
    return math.sqrt(float(np.sum(power * kept)))


def true_crossing(first: Heights, second: Heights) -> float:
    sides = np.array([8, 16, 24, 32, 48, 64, 96, 128])
    ratio = [math.log(expected_rms(first, int(n)) / expected_rms(second, int(n))) for n in sides]
    assert ratio[0] > 0 > ratio[-1]
    return float(np.exp(np.interp(0.0, ratio[::-1], np.log(sides[::-1]))))


def self_affine_bench(rng: np.random.Generator, spots: int) -> tuple[list[WindowCurve], list[WindowCurve], float]:
    first, second, powers = [], [], []
    for into, hurst, rms in ((first, 0.3, 0.6e-9), (second, 0.9, 1e-9)):
        for _ in range(spots):
            z, power = field(hurst, rms, rng)
            into.append(window_curve(HeightMap(z, (1.0, 1.0))))
        powers.append(power)
    return first, second, true_crossing(*powers)


def test_crossing_of_self_affine_surfaces() -> None:
    first, second, truth = self_affine_bench(np.random.default_rng(3), 4)
    found = crossover(first, second)
    assert found is not None
    assert not found.first_below  # the smaller exponent is the rougher one in small windows
    assert found.low is not None and found.high is not None
    assert found.low < truth < found.high
    assert found.high / found.low < 2.5
    assert found.side == pytest.approx(truth, rel=0.35, abs=0)


@pytest.mark.long
def test_interval_covers_the_crossing_of_self_affine_surfaces() -> None:
    rng = np.random.default_rng(4)
    held = benches = 0
    for _ in range(100):
        first, second, truth = self_affine_bench(rng, 4)
        found = crossover(first, second)
        benches += 1
        held += found is not None and (found.low or 0) <= truth <= (found.high or math.inf)
    # standard error 2.2 %; the mean of few windows' logarithm lies a little below the ensemble's RMS in both
    assert held / benches > 0.95 - 4 * 0.022, held / benches


def test_of_several_crossings_that_is_taken_which_parts_the_sides_best() -> None:
    flat = power_law(1e-9, 0.0)
    wavy = np.ones(11) * 0.5
    wavy[1] = 1.1  # a brush with the other curve, then the true change of places
    wavy[7:] = 2.0
    found = crossover([replace(flat, rms=1e-9 * wavy)], [flat])
    assert found is not None
    assert found.crossings == 3
    assert flat.side[6] < found.side < flat.side[7]
    assert found.first_below


@pytest.mark.parametrize("level", [1.0, 0.2, 3.0])
def test_none_when_they_do_not_cross(level: float) -> None:
    """Equal curves too: nowhere do they change places."""
    curve = power_law(1e-9, 0.5)
    assert crossover([curve], [replace(curve, rms=level * curve.rms)]) is None


def test_none_when_they_have_no_side_in_common_or_no_relief() -> None:
    curve = power_law(1e-9, 0.5)
    far = power_law(1e-9, 0.5, sides=np.geomspace(1e-5, 1e-4, 5))
    assert crossover([curve], [far]) is None
    assert crossover([curve], [replace(curve, rms=0 * curve.rms)]) is None
    empty = window_curve(HeightMap(np.zeros((4, 4)), (1e-8, 1e-8)))
    assert crossover([curve], [empty]) is None
    assert specimen_curve([empty]) is None


@pytest.mark.parametrize(("exponent", "low", "high"), [(0.5, True, True), (0.8, True, False), (0.95, False, False)])
def test_an_open_end_is_told(exponent: float, low: bool, high: bool) -> None:
    """Two spots of each, a factor e^±0.0885: s² = 2 · 0.0885², two degrees of freedom, so that no ratio below
    exp(4.303 · 0.0885 · √2) = 1.71 can be told from 1 (derived here: closed form)."""
    pair = [replace(power_law(1e-9, 0.3), rms=power_law(1e-9, 0.3).rms * math.exp(sign * 0.0885)) for sign in (-1, 1)]
    other = [replace(one, rms=one.rms * (one.side / 0.2e-6) ** (exponent - 0.3)) for one in pair]
    found = crossover(pair, other)
    assert found is not None
    assert found.side == pytest.approx(0.2e-6, rel=1e-9, abs=0)
    limit = math.exp(4.302652729696142 * 0.0885 * math.sqrt(2))
    assert found.ratio_high == pytest.approx(found.ratio * limit, rel=1e-9, abs=0)
    told = (limit ** (-1 / (exponent - 0.3)) * 0.2e-6, limit ** (1 / (exponent - 0.3)) * 0.2e-6)
    assert found.low == (None if low else pytest.approx(told[0], rel=1e-6, abs=0))
    assert found.high == (None if high else pytest.approx(told[1], rel=1e-6, abs=0))
    assert ("below" in found.note, "above" in found.note) == (low, high)


def test_curves_of_other_pixels_and_sizes_are_compared_where_they_overlap() -> None:
    wide = power_law(1.5e-9, 0.9, sides=np.geomspace(200e-9, 2e-5, 9))
    found = crossover([power_law(1e-9, 0.3)], [wide])
    assert found is not None
    assert found.sides[[0, -1]] == pytest.approx([200e-9, 2.56e-6], abs=0)
    assert found.side == pytest.approx(1e-6 * (1 / 1.5) ** (1 / 0.6), rel=1e-9, abs=0)


def test_specimen_curve() -> None:
    """Geometric mean of the spots, and t on the logarithm as for any reading that is positive by nature."""
    from core.measures.reading import Reading
    from core.trust.interval import of_spots

    spots = scattered(power_law(1e-9, 0.3), 0.1, 4, np.random.default_rng(7))
    found = specimen_curve(spots)
    assert found is not None
    assert found.low is not None and found.high is not None
    last = of_spots([Reading("Sq", float(spot.rms[-1]), "m", "") for spot in spots], positive=True)
    assert [found.rms[-1], found.low[-1], found.high[-1]] == pytest.approx(
        [float(last), last.low, last.high], rel=1e-12, abs=0
    )
    alone = specimen_curve(spots[:1])
    assert alone is not None
    assert alone.low is None
    assert alone.spots == 1


def test_refusals() -> None:
    curve = power_law(1e-9, 0.5)
    with pytest.raises(BenchError, match="one spot"):
        crossover([], [curve])
    with pytest.raises(BenchError, match="one spot"):
        specimen_curve([])
    with pytest.raises(BenchError, match="confidence"):
        crossover([curve], [curve], confidence=1.0)
