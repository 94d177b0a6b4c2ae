"""Instrument traces against their closed forms; expected values derived here unless a source is named."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import ndimage

from core.errors import LowreliefError
from core.synthetic import bow, hum, missing, row_offsets, streaks, tilt, white_noise


def test_tilt_is_a_plane_about_the_middle() -> None:
    z = tilt((30, 40), (2e-8, 1e-8), down=1e-3, across=-2e-3)
    assert np.allclose(np.diff(z, axis=0), 2e-11, rtol=1e-9)
    assert np.allclose(np.diff(z, axis=1), -2e-11, rtol=1e-9)
    assert z.mean() == pytest.approx(0, abs=1e-20)


@pytest.mark.parametrize("points", [64, 256])
def test_rms_of_a_bow_is_that_of_a_discrete_parabola(points: int) -> None:
    z = bow((3, points), across=1e-9)
    # Sq of A u² without mean and slope over N cells: A √((N² − 1)(N² − 4)/180)/N², here with A = 4 · sag; exact.
    expected = 4e-9 * math.sqrt((points**2 - 1) * (points**2 - 4) / 180) / points**2
    assert (z - z.mean()).std() == pytest.approx(expected, rel=1e-11)
    assert bow((points, 3), down=1e-9).std() == pytest.approx(expected, rel=1e-11)
    assert np.abs(z).max() < 1e-9


def test_white_noise_is_white() -> None:
    z = white_noise((256, 256), sq=5e-11, rng=np.random.default_rng(1))
    assert z.std() == pytest.approx(5e-11, rel=4 / math.sqrt(2 * z.size))  # standard error of a standard deviation
    neighbours = np.mean(z[:, 1:] * z[:, :-1]) / z.var()
    assert abs(neighbours) < 4 / math.sqrt(z.size)


def test_row_offsets_are_one_height_for_each_row() -> None:
    z = row_offsets((2000, 8), sq=3e-11, rng=np.random.default_rng(2))
    assert np.ptp(z, axis=1).max() == 0
    assert z[:, 0].std() == pytest.approx(3e-11, rel=4 / math.sqrt(2 * 2000))


@pytest.mark.parametrize(("frequency", "line_rate"), [(50.0, 1.0), (50.0, 0.97), (60.0, 1.37), (150.0, 2.2)])
@pytest.mark.parametrize("duty", [1.0, 0.8])
def test_hum_peaks_at_its_frequency_along_the_fast_axis(frequency: float, line_rate: float, duty: float) -> None:
    columns = 512
    z = hum((64, columns), amplitude=1e-10, frequency=frequency, line_rate=line_rate, duty=duty)
    power = np.mean(np.abs(np.fft.rfft(z * np.hanning(columns), axis=1)) ** 2, axis=0)
    cycles = int(np.argmax(power[2:])) + 2
    seconds = duty / (2 * line_rate)  # one row, there
    assert cycles / seconds == pytest.approx(frequency, abs=0.51 / seconds)  # the nearest bin
    assert z.std() == pytest.approx(1e-10 / math.sqrt(2), rel=0.01)  # many periods, hardly any whole number of them


def test_hum_advances_from_line_to_line() -> None:
    # 50 Hz at 0.97 lines a second: 51.546 periods from line to line, so the pattern turns by 0.546 of a period.
    z = hum((256, 512), amplitude=1.0, frequency=50.0, line_rate=0.97)
    turn = np.angle(np.sum(np.fft.rfft(z, axis=1)[1:, 26] * np.conj(np.fft.rfft(z, axis=1)[:-1, 26])))
    assert (turn / (2 * math.pi)) % 1 == pytest.approx((50 / 0.97) % 1, abs=0.002)


def test_hum_at_a_multiple_of_the_line_rate_stands_still() -> None:
    z = hum((16, 64), amplitude=1.0, frequency=50.0, line_rate=1.0)
    assert np.allclose(z, z[0], rtol=0, atol=1e-9)


def test_streaks_cover_their_share_in_runs() -> None:
    z, truth = streaks((256, 256), share=0.02, height=2e-9, length=20, rng=np.random.default_rng(3))
    assert truth.mean() == pytest.approx(0.02, abs=20 / truth.size)
    assert set(np.unique(z)) == {0.0, 2e-9}
    assert np.array_equal(z > 0, truth)
    labels, runs = ndimage.label(truth)
    for region in ndimage.find_objects(labels):
        assert region[0].stop - region[0].start == 1
    assert runs > 50


def test_missing_points_are_counted_and_the_rest_is_kept() -> None:
    before = np.arange(600.0).reshape(20, 30)
    after = missing(before, count=7, rng=np.random.default_rng(4))
    gone = np.isnan(after)
    assert gone.sum() == 7
    assert np.array_equal(after[~gone], before[~gone])
    assert not np.isnan(before).any()


@pytest.mark.parametrize(
    "make",
    [
        lambda rng: white_noise((4, 4), sq=-1.0, rng=rng),
        lambda rng: row_offsets((4, 4), sq=float("inf"), rng=rng),
        lambda _: hum((4, 4), amplitude=1.0, frequency=50.0, line_rate=0.0),
        lambda _: hum((4, 4), amplitude=1.0, frequency=50.0, line_rate=1.0, duty=1.5),
        lambda rng: streaks((4, 4), share=0.9, height=1.0, length=2, rng=rng),
        lambda rng: streaks((4, 4), share=0.1, height=1.0, length=9, rng=rng),
        lambda rng: missing(np.zeros((4, 4)), count=17, rng=rng),
        lambda _: tilt((4, 4), (1e-8, -1e-8), down=0, across=0),
    ],
)  # fmt: skip
def test_bad_wishes_are_refused(make) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(LowreliefError):
        make(np.random.default_rng(5))
