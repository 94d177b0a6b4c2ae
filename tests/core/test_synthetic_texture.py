"""Textures against the closed forms of their densities; expected values derived here unless a source is named."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.errors import LowreliefError
from core.heightmap import FloatArray
from core.synthetic import gaussian_texture, lapping, normalised, self_affine

PITCH = (1e-8, 1e-8)


def spectrum(z: FloatArray) -> FloatArray:
    """Density of a Hann-windowed map, up to a factor; Hann, because a cropped map is not periodic."""
    window = np.outer(np.hanning(z.shape[0]), np.hanning(z.shape[1]))
    power: FloatArray = np.abs(np.fft.fft2(window * (z - z.mean()))) ** 2
    return power


def test_ensemble_rms_of_a_gaussian_texture() -> None:
    # Relative scatter of Sq² of one map is √π T/L = 0.055 at L/T = 32; of the mean of 40 maps 0.009. Four sigma.
    T, side = 8 * PITCH[0], 256
    squares = [
        np.mean(gaussian_texture((side, side), PITCH, sq=2e-9, length=T, rng=np.random.default_rng([1, i])) ** 2)
        for i in range(40)
    ]
    spread = math.sqrt(math.pi) * 8 / side
    assert math.sqrt(np.mean(squares)) == pytest.approx(2e-9, rel=4 * spread / 2 / math.sqrt(40))


def test_scatter_of_sq_is_that_of_a_gaussian_surface() -> None:
    # Relative standard deviation of Sq of one map: (√π/2) T/L (leading order), here 0.0277. A standard deviation from
    # 40 maps is known to 1/√78 = 11 %; three of those and 5 % for the next order.
    T, side = 8 * PITCH[0], 256
    readings = [
        np.sqrt(
            np.mean(gaussian_texture((side, side), PITCH, sq=1.0, length=T, rng=np.random.default_rng([2, i])) ** 2)
        )
        for i in range(40)
    ]
    assert np.std(readings, ddof=1) == pytest.approx(math.sqrt(math.pi) / 2 * 8 / side, rel=0.4)


def test_autocorrelation_of_a_gaussian_texture_falls_to_1_over_e_at_its_length() -> None:
    T = 8
    lags = np.arange(1, 25)
    acf = np.zeros(lags.size)
    for i in range(20):
        z = gaussian_texture((256, 256), PITCH, sq=1.0, length=T * PITCH[0], rng=np.random.default_rng([3, i]))
        acf += [np.mean(z[:, lag:] * z[:, :-lag]) for lag in lags]
    acf /= 20
    # 20 maps of about 650 independent areas each (2 L²/πT²): standard error below 0.01 at any lag; four of those.
    assert np.allclose(acf, np.exp(-((lags / T) ** 2)), atol=0.04)
    reached = np.interp(-1 / math.e, -acf, lags)
    assert reached == pytest.approx(T, rel=0.04)


def test_oblong_pixels_do_not_stretch_an_isotropic_texture() -> None:
    pitch = (2e-8, 1e-8)
    down, across = [], []
    for i in range(20):
        z = gaussian_texture((128, 256), pitch, sq=1.0, length=8e-8, rng=np.random.default_rng([4, i]))
        down.append(np.mean(z[4:] * z[:-4]))  # 80 nm down is four rows
        across.append(np.mean(z[:, 8:] * z[:, :-8]))  # 80 nm across is eight columns
    assert np.mean(down) == pytest.approx(1 / math.e, abs=0.04)
    assert np.mean(across) == pytest.approx(1 / math.e, abs=0.04)


def test_a_cropped_texture_does_not_wrap_round() -> None:
    # On a periodic map the first and the last column are neighbours and correlate by exp(−1/T²) = 0.98.
    joined = []
    for i in range(10):
        z = gaussian_texture((256, 256), PITCH, sq=1.0, length=8e-8, rng=np.random.default_rng([5, i]))
        joined.append(np.mean(z[:, 0] * z[:, -1]))
    # A column holds about 256/(T√(π/2)) = 25 independent heights: standard error 1/√250 = 0.06 over ten maps.
    assert abs(np.mean(joined)) < 0.25


@pytest.mark.parametrize("hurst", [0.3, 0.8])
def test_slope_of_a_self_affine_spectrum(hurst: float) -> None:
    # Radial slope −2(H + 1) over a decade within 0.05 at 1024 points (T. D. B. Jacobs, T. Junge, L. Pastewka 2017 for
    # the exponent; the tolerance is common practice, no source).
    z = self_affine((1024, 1024), PITCH, sq=1e-9, hurst=hurst, roll_off=2.5e-6, rng=np.random.default_rng(6))
    power = spectrum(z)
    cycles = np.hypot(*np.meshgrid(np.fft.fftfreq(1024) * 1024, np.fft.fftfreq(1024) * 1024))
    edges = np.geomspace(20, 200, 25)
    ring = np.digitize(cycles, edges)
    height = [np.log(np.mean(power[ring == k])) for k in range(1, edges.size)]
    place = [np.log(np.mean(cycles[ring == k])) for k in range(1, edges.size)]
    assert np.polyfit(place, height, 1)[0] == pytest.approx(-2 * (hurst + 1), abs=0.05)


def test_self_affine_density_is_level_below_the_roll_off() -> None:
    flat, steep = [], []
    cycles = np.hypot(*np.meshgrid(np.fft.fftfreq(256) * 256, np.fft.fftfreq(256) * 256))
    for i in range(10):
        z = self_affine((256, 256), PITCH, sq=1.0, hurst=0.8, roll_off=16e-8, rng=np.random.default_rng([7, i]))
        power = spectrum(z)  # the roll-off lies at 16 cycles per map
        flat.append(np.mean(power[(cycles > 3) & (cycles < 7)]) / np.mean(power[(cycles > 8) & (cycles < 13)]))
        steep.append(np.mean(power[(cycles > 30) & (cycles < 34)]) / np.mean(power[(cycles > 60) & (cycles < 68)]))
    # 130 bins in the smaller ring, ten maps: 3 % each; the Hann window joins neighbours, so four times that.
    assert np.mean(flat) == pytest.approx(1, rel=0.12)
    assert np.mean(steep) == pytest.approx(2**3.6, rel=0.12)


def test_ensemble_rms_of_a_self_affine_texture() -> None:
    squares = [
        np.mean(
            self_affine((256, 256), PITCH, sq=1.0, hurst=0.8, roll_off=32e-8, rng=np.random.default_rng([8, i])) ** 2
        )
        for i in range(40)
    ]
    # The texture holds some 150 independent areas of half a roll-off a map: 1 % for the mean of forty, four of those.
    assert math.sqrt(np.mean(squares)) == pytest.approx(1.0, rel=0.04)


@pytest.mark.parametrize("angle", [30.0, 70.0, 110.0])
def test_lapping_runs_in_its_direction(angle: float) -> None:
    z = lapping(
        (256, 256), PITCH, sq=5e-9, across=3e-7, along=4e-6, angle=angle, rng=np.random.default_rng([9, round(angle)])
    )
    power = spectrum(z)
    fy, fx = np.meshgrid(np.fft.fftfreq(256), np.fft.fftfreq(256), indexing="ij")
    far = np.hypot(fy, fx) > 6 / 256
    # Waves run at right angles to the scratches; rows count downwards, so the vertical frequency changes its sign.
    direction = np.sum(power[far] * np.exp(2j * np.arctan2(-fy[far], fx[far])))
    waves = math.degrees(np.angle(direction)) / 2
    # The axis of a spectrum of many bins; 2° is half the angle that one bin spans at 14 cycles.
    assert (waves - (angle + 90) + 90) % 180 - 90 == pytest.approx(0, abs=2)


def test_rms_of_lapping() -> None:
    squares = [
        np.mean(
            lapping((256, 256), PITCH, sq=1.0, across=20e-8, along=2e-6, angle=65, rng=np.random.default_rng([10, i]))
            ** 2
        )
        for i in range(40)
    ]
    # About 13 scratches and 1.3 lengths fit a map: Sq² scatters by √(2/17) = 0.34, its mean over 40 by 0.054 and Sq by
    # half of that; four of those.
    assert math.sqrt(np.mean(squares)) == pytest.approx(1.0, rel=0.11)


def test_same_seed_same_texture() -> None:
    first, second = (
        self_affine((32, 48), PITCH, sq=1e-9, hurst=0.5, roll_off=1e-7, rng=np.random.default_rng(11)) for _ in range(2)
    )
    assert np.array_equal(first, second)
    assert first.shape == (32, 48)


@given(
    rows=st.integers(2, 20),
    columns=st.integers(2, 20),
    sq=st.floats(1e-12, 1e-6),
    seed=st.integers(0, 2**32),
)
def test_normalised_has_the_rms_asked_for_and_no_plane(rows: int, columns: int, sq: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    rough = rng.standard_normal((rows, columns))
    if rows * columns <= 4:
        rough[0, 0] += 10  # four points always hold a twist beside their plane, but not always a large one
    z = normalised(rough, sq=sq)
    y, x = np.mgrid[:rows, :columns] - np.array([rows - 1, columns - 1]).reshape(2, 1, 1) / 2
    assert np.sqrt(np.mean(z**2)) == pytest.approx(sq, rel=1e-9)
    for term in (np.ones_like(x), x, y):
        assert abs(np.sum(z * term)) < 1e-9 * sq * np.sqrt(np.sum(term**2) * z.size)


@pytest.mark.parametrize(
    "make",
    [
        lambda rng: gaussian_texture((8, 8), PITCH, sq=-1.0, length=1e-8, rng=rng),
        lambda rng: gaussian_texture((8, 8), PITCH, sq=1.0, length=0.0, rng=rng),
        lambda rng: gaussian_texture((8, 8), (0.0, 1e-8), sq=1.0, length=1e-8, rng=rng),
        lambda rng: gaussian_texture((0, 8), PITCH, sq=1.0, length=1e-8, rng=rng),
        lambda rng: gaussian_texture((8, 8), PITCH, sq=1.0, length=1.0, rng=rng),
        lambda rng: self_affine((8, 8), PITCH, sq=1.0, hurst=1.2, roll_off=1e-7, rng=rng),
        lambda rng: self_affine((8, 8), PITCH, sq=1.0, hurst=0.5, roll_off=float("nan"), rng=rng),
        lambda rng: lapping((8, 8), PITCH, sq=1.0, across=1e-7, along=-1e-6, angle=0, rng=rng),
        lambda rng: lapping((8, 8), PITCH, sq=1.0, across=1e-7, along=1e-6, angle=0, rng=rng, hurst=0),
        lambda _: normalised(np.full((4, 4), 3e-9), sq=1e-9),
        lambda _: normalised(np.add.outer(np.arange(5.0), np.arange(6.0)), sq=1e-9),
    ],
)  # fmt: skip
def test_bad_wishes_are_refused(make) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(LowreliefError):
        make(np.random.default_rng(12))
