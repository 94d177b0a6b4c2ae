"""Autocorrelation, Sal, Str and Std: against brute force, reference values, and what must not change them.

Reference 1.01, 1.04 and 1.20 speak of surfaces without an end, so they are read with lags that wrap round. A finite map
of the same cosine reads otherwise, by a closed form that is tested too.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from numpy.typing import NDArray
from scipy.optimize import brentq

from core.errors import MapError
from core.heightmap import HeightMap
from core.measures.autocorrelation import Autocorrelation, autocorrelation
from core.measures.decay import decay_of, lobe_border
from core.measures.spatial import ENTRIES, aspect_ratio, autocorrelation_length, direction
from core.measures.surface import Surface
from core.spectrum import areal_spectrum
from core.synthetic import gaussian_texture, lapping

PITCH = (1.5e-8, 1e-8)
Expected = Callable[..., Any]

maps = arrays(
    np.float64,
    array_shapes(min_dims=2, max_dims=2, min_side=5, max_side=12),
    elements=st.floats(-1e-7, 1e-7, allow_subnormal=False),
).filter(lambda z: z.std() > 1e-10)
quick = settings(max_examples=40, deadline=None)


def brute(z: NDArray[np.float64], reach: tuple[int, int]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Lag by lag, pair by pair; NaN is a hole."""
    used = np.isfinite(z)
    u = np.where(used, z - z[used].mean(), 0.0)
    (ny, nx), (ly, lx) = z.shape, reach
    values, counts = np.zeros((ly + 1, 2 * lx + 1)), np.zeros((ly + 1, 2 * lx + 1), np.int64)
    for ky in range(ly + 1):
        for kx in range(-lx, lx + 1):
            here = (slice(0, ny - ky), slice(max(0, -kx), nx - max(0, kx)))
            there = (slice(ky, ny), slice(max(0, kx), nx - max(0, -kx)))
            counts[ky, kx + lx] = np.count_nonzero(used[here] & used[there])
            values[ky, kx + lx] = np.sum(u[here] * u[there])
    with np.errstate(invalid="ignore"):
        return values / counts / (np.sum(u * u) / np.count_nonzero(used)), counts


@quick
@given(maps, st.integers(0, 2**32 - 1), st.floats(0, 0.4), st.data())
def test_equals_brute_force_and_counts_exactly(
    z: NDArray[np.float64], seed: int, share: float, data: st.DataObject
) -> None:
    reach = (data.draw(st.integers(0, z.shape[0] - 1)), data.draw(st.integers(0, z.shape[1] - 1)))
    z = np.where(np.random.default_rng(seed).random(z.shape) < share, np.nan, z)
    if np.count_nonzero(np.isfinite(z)) < 2 or not np.nanstd(z) > 1e-10:
        return
    found = autocorrelation(HeightMap(z, PITCH), reach)
    values, counts = brute(z, reach)
    assert np.array_equal(found.overlaps, counts)
    # Sums of a few hundred products; the transform's rounding is that of the mean square, whatever the lag's overlap.
    np.testing.assert_allclose(found.values, values, rtol=0, atol=1e-11)


def test_periodic_lags_wrap_round() -> None:
    z = np.random.default_rng(1).standard_normal((12, 9))
    found = autocorrelation(HeightMap(z, PITCH), (5, 4), periodic=True)
    u = z - z.mean()
    for ky in range(6):
        for kx in range(-4, 5):
            wanted = np.mean(u * np.roll(u, (-ky, -kx), (0, 1))) / np.mean(u * u)
            assert found.values[ky, kx + 4] == pytest.approx(wanted, abs=1e-13)


def test_counts_stay_whole_on_large_maps_with_holes() -> None:
    rng = np.random.default_rng(2)
    z = rng.standard_normal((600, 500))
    z[rng.random(z.shape) < 0.3] = np.nan
    found = autocorrelation(HeightMap(z, PITCH), (40, 30))
    used = np.isfinite(z)
    for ky, kx in ((0, 0), (40, 30), (17, -30), (1, 0)):
        there = used[ky:, max(0, kx) : used.shape[1] + min(0, kx)]
        here = used[: used.shape[0] - ky, max(0, -kx) : used.shape[1] - max(0, kx)]
        assert found.overlaps[ky, kx + 30] == np.count_nonzero(here & there)


def ideal(
    model: Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]],
    steps: tuple[float, float],
    reach: tuple[int, int],
) -> Autocorrelation:
    y = np.arange(reach[0] + 1)[:, None] * steps[0]
    x = np.arange(-reach[1], reach[1] + 1)[None, :] * steps[1]
    return Autocorrelation(model(y, x), np.ones((reach[0] + 1, 2 * reach[1] + 1), np.int64), steps)


IDEAL = {
    "1.18|Sal/T, ACF exp(-r^2/T^2)": lambda y, x: np.exp(-(y**2) - x**2),
    "1.18|Sal/T, ACF exp(-r^2/(2T^2))": lambda y, x: np.exp(-(y**2) / 2 - x**2 / 2),
    "1.18|Sal/T, ACF exp(-r/T)": lambda y, x: np.exp(-np.hypot(y, x)),
}


@pytest.mark.parametrize("entry", IDEAL)
def test_ideal_autocorrelations(expected: Expected, entry: str) -> None:
    """Reference 1.18 holds the limit. A linear crossing on lags of h T is off by at most h² |A''| / (8 |A'|) in T, and
    at A = 0.2 the models have |A''/A'| ≤ 1.8 / T; the nearest border point lies within h²/(8 r) of a lattice line."""
    for h in (0.02, 0.005):
        found = lobe_border(ideal(IDEAL[entry], (h, h), (int(2.5 / h), int(2.5 / h))), 0.2)
        assert found.shortest == pytest.approx(expected(entry).expected, abs=0.4 * h**2)
        assert found.longest is not None
        assert found.shortest is not None
        assert found.shortest / found.longest == pytest.approx(1, abs=0.4 * h**2)


def test_crossings_converge_with_the_square_of_the_sampling(expected: Expected) -> None:
    entry = "1.18|Sal/T, ACF exp(-r^2/T^2)"
    true, errors = expected(entry).expected, []
    for h in (0.1, 0.05, 0.025, 0.0125):
        # over placements of the crossing between two lags: one placement alone may be lucky
        steps = [h * (1 + offset * h) for offset in np.linspace(0, 1, 16, endpoint=False)]
        found = [
            lobe_border(ideal(IDEAL[entry], (step, step), (int(2 / h), int(2 / h))), 0.2).shortest for step in steps
        ]
        errors.append(np.sqrt(np.mean((np.array(found) - true) ** 2)))
    orders = np.log2(np.array(errors[:-1]) / np.array(errors[1:]))
    assert np.all(np.abs(orders - 2) < 0.35), orders


def test_oblong_lobe_on_oblong_lags(expected: Expected) -> None:
    """Reference 1.18, Tx = 1 µm, Ty = 4 µm, lags of 5 nm across and 11 nm down: both ends lie on an axis."""
    tx, ty = 1e-6, 4e-6
    found = lobe_border(ideal(lambda y, x: np.exp(-((x / tx) ** 2) - (y / ty) ** 2), (1.1e-8, 5e-9), (500, 300)), 0.2)
    assert found.shortest is not None
    assert found.longest is not None
    # errors h²/4T: 6e-6 of Sal, 2e-6 of the longest
    assert found.shortest / found.longest == expected("1.18|Str for exp(-x^2/Tx^2-y^2/Ty^2), Tx=1 um,Ty=4 um", rel=1e-5)
    assert (found.fastest, found.slowest) == (pytest.approx(0, abs=1e-9), pytest.approx(90, abs=1e-9))


def cosine(n: int = 1000, length: float = 1e-5, period: float = 1e-6) -> NDArray[np.float64]:
    x = (np.arange(n) + 0.5) * length / n
    return np.tile(1e-8 * np.cos(2 * np.pi * x / period), (n, 1))


def test_single_cosine_1_01(expected: Expected) -> None:
    found = decay_of(HeightMap(cosine(), (1e-8, 1e-8)), periodic=True)
    assert found.shortest == expected("1.01|Sal", unit=1e-9)
    assert found.longest is None


def test_single_cosine_on_a_finite_map() -> None:
    """Derived here: over the overlap L − k of whole periods from a crest, the mean product of cos(2πx/P) and its copy
    is ½ cos(κ) − ½ sin(κ)/(2π (L − k)/P), κ = 2πk/P; on a lattice P/100 fine the sum differs from it by 0.1 %."""
    surface = Surface(HeightMap(cosine(), (1e-8, 1e-8)))

    def decayed(k: float) -> float:
        angle = 2 * math.pi * k
        return math.cos(angle) - math.sin(angle) / (2 * math.pi * (10 - k)) - 0.2

    outcome = autocorrelation_length(surface)
    assert outcome.value == pytest.approx(1e-6 * brentq(decayed, 0.1, 0.25), rel=1e-4)
    aspect = aspect_ratio(surface)
    assert aspect.value is None
    assert "ridges" in aspect.note


def test_egg_box_1_04(expected: Expected) -> None:
    z = cosine() / 1e-8 * cosine().T
    found = decay_of(HeightMap(z, (1e-8, 1e-8)), periodic=True)
    assert found.shortest is not None
    assert found.longest is not None
    assert found.shortest / 1e-6 == expected("1.04|Sal/P")
    assert found.longest / 1e-6 == expected("1.04|slowest decay /P (45 deg)")
    assert found.shortest / found.longest == expected("1.04|Str")
    assert found.slowest in (pytest.approx(45, abs=2.3), pytest.approx(135, abs=2.3))  # a lag is 2.3° wide there


def fourier(n: int = 512, side: float = 1e-5) -> NDArray[np.float64]:
    """Reference 1.20, F1; y counted upwards, row 0 on top."""
    terms = (
        (1, 0, 5, 0), (0, 1, 4, 0.5), (1, 1, 3, 1.0), (3, -2, 2, 1.5), (5, 4, 1, 2.0), (8, -7, 0.5, 2.5),
    )  # fmt: skip
    x = np.arange(n) / n
    y = (n - 1 - np.arange(n))[:, None] / n
    return np.asarray(1e-9 * sum(a * np.cos(2 * np.pi * (p * x + q * y) + f) for p, q, a, f in terms))


def test_fourier_surface_1_20(expected: Expected) -> None:
    found = decay_of(HeightMap(fourier(), (1e-5 / 512, 1e-5 / 512)), periodic=True)
    assert found.shortest is not None
    assert found.longest is not None
    assert found.shortest == expected("1.20|Sal", unit=1e-6)
    assert found.shortest / found.longest == expected("1.20|Str")
    assert found.fastest == pytest.approx(22.56, abs=0.3)  # of the note; a border point lies within a lag of it
    assert found.slowest == pytest.approx(102.96, abs=0.3)


def test_sal_converges_with_the_square_of_the_sampling() -> None:
    """F1 on 48² to 384² points; the exact decay found here from its own autocorrelation Σ a²/2 cos(2π(px + qy)/L)."""
    amplitudes = np.array([5, 4, 3, 2, 1, 0.5])
    p, q = np.array([1, 0, 1, 3, 5, 8]), np.array([0, 1, 1, -2, 4, -7])

    def along(angle: float) -> float:
        phase = 2 * np.pi * (p * math.cos(angle) + q * math.sin(angle))
        power = amplitudes**2 / np.sum(amplitudes**2)
        return float(brentq(lambda r: np.sum(power * np.cos(phase * r)) - 0.2, 0.05, 0.35))

    true = 1e-5 * min(along(angle) for angle in np.radians(np.arange(20, 25, 0.01)))
    sizes = (48, 96, 192, 384)
    errors = [
        abs((decay_of(HeightMap(fourier(n), (1e-5 / n,) * 2), periodic=True).shortest or 0) - true) for n in sizes
    ]
    # The error of one sampling depends on where the lags lie; its envelope falls with the square.
    assert np.polyfit(np.log(sizes), np.log(errors), 1)[0] < -1.5
    for n, error in zip(sizes, errors, strict=True):
        assert error < true * (2 / n) ** 2 * 4


@pytest.mark.parametrize("pitch", [(1e-8, 1e-8), (2e-8, 1e-8), (1e-8, 1.7e-8)])
def test_direction_of_a_tilted_cosine_1_22(expected: Expected, pitch: tuple[float, float]) -> None:
    """The wave vector is (3, 4) per side whatever the pixel: oblong pixels make an oblong map and turn it."""
    n = 200
    x, y = np.arange(n) / n, (n - np.arange(n))[:, None] / n
    outcome = direction(Surface(HeightMap(1e-9 * np.cos(2 * np.pi * (3 * x + 4 * y)), pitch)))
    if pitch[0] == pitch[1]:
        assert outcome.value == expected("1.22|direction of the wave vector from +x")
        assert "143°" in outcome.note
        assert (outcome.value + 90) % 180 == expected("1.22|direction of the ridges (lay), modulo 180")
        z = HeightMap(1e-9 * np.cos(2 * np.pi * (3 * x + 4 * y)), pitch)
        spectrum = areal_spectrum(z, window="none")
        row, column = np.unravel_index(np.argmax(spectrum.densities), spectrum.densities.shape)
        period = 1 / math.hypot(spectrum.fy[row], spectrum.fx[column])
        assert period / z.size[0] == expected("1.22|period")
    # at five bins from the origin the window's three bins are 11° apart and a little askew on an oblong lattice
    true = math.degrees(math.atan2(4 / pitch[0], 3 / pitch[1]))
    assert outcome.value == pytest.approx(true, abs=0.5 if pitch[0] == pitch[1] else 1.0)


@pytest.mark.parametrize("angle", [0, 20, 60, 90, 115, 170])
def test_direction_of_lapping_marks(angle: float) -> None:
    """Marks along `angle`: the strongest direction is square to them. A seed scatters by about half a degree."""
    rng = np.random.default_rng(angle)
    z = lapping((256, 200), (1.0, 1.5), sq=1, across=40, along=200, angle=angle, rng=rng)
    outcome = direction(Surface(HeightMap(z, (1.0, 1.5))))
    assert outcome.value is not None
    assert abs((outcome.value - angle) % 180 - 90) < 2


def test_no_direction_where_there_is_none() -> None:
    """60 isotropic maps: at a chance of 1 % each, more than 4 false directions come up once in 3,000 runs."""
    false = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        z = gaussian_texture((128, 128), (1.0, 1.0), sq=1, length=5, rng=rng)
        outcome = direction(Surface(HeightMap(z, (1.0, 1.0))))
        false += outcome.value is not None
        if outcome.value is None:
            assert "chance" in outcome.note
    assert false <= 4


@pytest.fixture(scope="module")
def texture() -> NDArray[np.float64]:
    z = lapping((120, 100), (1.0, 1.0), sq=1e-9, across=12, along=12, angle=35, rng=np.random.default_rng(4))
    return np.asarray(z)


def values(z: NDArray[np.float64], pitch: tuple[float, float] = PITCH) -> list[float]:
    surface = Surface(HeightMap(z, pitch))
    found = [autocorrelation_length(surface).value, aspect_ratio(surface).value, direction(surface).value]
    assert None not in found
    return [float(value) for value in found if value is not None]


def test_moved_mirrored_and_scaled(texture: NDArray[np.float64]) -> None:
    still = values(texture)
    assert values(-texture) == pytest.approx(still, rel=1e-10)
    assert values(3 * texture) == pytest.approx(still, rel=1e-10)
    assert values(texture + 1e-3) == pytest.approx(still, rel=1e-8)  # 10⁶ Sq up: the heights themselves lose 1e-10 Sq
    wider = values(texture, (2 * PITCH[0], 2 * PITCH[1]))
    assert wider == pytest.approx([2 * still[0], still[1], still[2]], rel=1e-10)


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turned_by_quarters(texture: NDArray[np.float64], turns: int) -> None:
    sal, aspect, std = values(texture)
    pitch = PITCH if turns == 2 else (PITCH[1], PITCH[0])
    found = values(np.rot90(texture, turns), pitch)
    assert found[:2] == pytest.approx([sal, aspect], rel=1e-10)
    # sectors are a degree wide and closed below, so that a mirrored bin may fall into the neighbour
    assert abs((found[2] - std - 90 * turns + 90) % 180 - 90) < 0.6


def test_transposed(texture: NDArray[np.float64]) -> None:
    sal, aspect, std = values(texture)
    found = values(texture.T, (PITCH[1], PITCH[0]))
    assert found[:2] == pytest.approx([sal, aspect], rel=1e-10)
    assert abs((found[2] + std) % 180 - 90) < 0.6


def test_single_precision_input(texture: NDArray[np.float64]) -> None:
    single = texture.astype(np.float32)
    assert values(single) == values(single.astype(np.float64))
    assert values(single) == pytest.approx(values(texture), rel=1e-5)


@pytest.mark.parametrize("share", [0.01, 0.05, 0.2])
def test_holes_and_masks_at_random(texture: NDArray[np.float64], share: float) -> None:
    """Masked and missing points are left out alike; Sal stays within its scatter between maps (reference 1.25: 6 %)."""
    out = np.random.default_rng(7).random(texture.shape) < share
    holed = Surface(HeightMap(np.where(out, np.nan, texture), PITCH))
    masked = Surface(HeightMap(texture, PITCH, mask=out))
    sal, aspect, std = values(texture)
    assert autocorrelation_length(holed) == autocorrelation_length(masked)
    assert aspect_ratio(holed) == aspect_ratio(masked)
    assert direction(holed) == direction(masked)
    assert autocorrelation_length(holed).value == pytest.approx(sal, rel=0.06)
    assert aspect_ratio(holed).value == pytest.approx(aspect, rel=0.08)
    assert direction(holed).value == pytest.approx(std, abs=2)


def isotropic(side: int, rng: np.random.Generator) -> tuple[float, float]:
    z = gaussian_texture((8 * side, 8 * side), (1.0, 1.0), sq=1.0, length=8.0, rng=rng)
    surface = Surface(HeightMap(z, (1.0, 1.0)))
    return float(autocorrelation_length(surface).value or np.nan), float(aspect_ratio(surface).value or np.nan)


def test_finite_maps_read_low_1_25(expected: Expected) -> None:
    """60 maps: the mean Sal is known to 0.063/√60 = 0.8 %, Str to about 1.5 %. The reference looked only along every
    tenth degree and so missed the very ends; its 3 % allow for that."""
    rng = np.random.default_rng(25)
    sal, aspect = np.array([isotropic(20, rng) for _ in range(60)]).T
    assert np.nanmean(sal) / 8 == expected("1.25|Sal/T mean, L/T=20 (true 1.2686)")
    assert np.nanstd(sal) / np.nanmean(sal) == expected("1.25|Sal relative std, L/T=20")
    assert np.nanmean(aspect) == expected("1.25|Str mean, L/T=20 (true 1)")


@pytest.mark.long
def test_larger_maps_read_less_low_1_25(expected: Expected) -> None:
    rng = np.random.default_rng(26)
    sal, aspect = np.array([isotropic(40, rng) for _ in range(200)]).T
    assert np.mean(sal) / 8 == expected("1.25|Sal/T mean, L/T=40")
    assert np.mean(aspect) == expected("1.25|Str mean, L/T=40")


def test_narrow_maps_say_so() -> None:
    surface = Surface(
        HeightMap(gaussian_texture((64, 64), (1.0, 1.0), sq=1, length=8, rng=np.random.default_rng(1)), (1, 1))
    )
    assert "times as wide as Sal" in autocorrelation_length(surface).note


def test_noise_says_so() -> None:
    noise = Surface(HeightMap(np.random.default_rng(1).standard_normal((128, 128)), (1.0, 1.0)))
    outcome = autocorrelation_length(noise)
    assert outcome.value == pytest.approx(0.8, abs=0.05)  # linear from 1 to about 0 over one point: 0.2 is met at 0.8
    assert "below two points" in outcome.note


def test_lags_grow_only_as_far_as_needed(monkeypatch: pytest.MonkeyPatch) -> None:
    from core.measures import decay

    asked: list[tuple[int, int]] = []

    def spy(scan: HeightMap, reach: tuple[int, int], **keywords: Any) -> Autocorrelation:
        asked.append(reach)
        return autocorrelation(scan, reach, **keywords)

    monkeypatch.setattr(decay, "autocorrelation", spy)
    rng = np.random.default_rng(3)
    fine = gaussian_texture((256, 128), (1.0, 1.0), sq=1, length=4, rng=rng)
    short = decay.decay_of(HeightMap(fine, (1.0, 1.0)))
    assert asked == [(32, 16)]
    whole = lobe_border(autocorrelation(HeightMap(fine, (1.0, 1.0))), 0.2)
    assert (short.shortest, short.longest) == pytest.approx((whole.shortest, whole.longest), rel=1e-12)
    asked.clear()
    decay.decay_of(HeightMap(gaussian_texture((256, 128), (1.0, 1.0), sq=1, length=25, rng=rng), (1.0, 1.0)))
    assert asked[:2] == [(32, 16), (64, 32)]


@pytest.mark.parametrize("threshold", [0.1, 0.37, 0.5])
def test_other_thresholds(threshold: float) -> None:
    z = gaussian_texture((400, 400), (1.0, 1.0), sq=1, length=6, rng=np.random.default_rng(9))
    surface = Surface(HeightMap(z, (1.0, 1.0)))
    found = autocorrelation_length(surface, threshold).value
    assert found == pytest.approx(6 * math.sqrt(-math.log(threshold)), rel=0.08)  # L/T = 67: scatter 2 %, bias 3 %
    assert found != autocorrelation_length(surface).value


@pytest.mark.parametrize("threshold", [0.0, 1.0, -0.2, float("nan")])
def test_thresholds_out_of_range_are_refused(threshold: float) -> None:
    with pytest.raises(MapError, match="threshold"):
        decay_of(HeightMap(np.eye(8), PITCH), threshold)


@pytest.mark.parametrize(
    "scan",
    [
        HeightMap(np.full((20, 20), np.nan), PITCH),
        HeightMap(np.zeros((20, 20)), PITCH, mask=np.ones((20, 20), bool)),
        HeightMap(np.full((20, 20), 0.1 + 0.2), PITCH),
    ],
    ids=["missing", "masked", "constant"],
)
def test_nothing_to_read(scan: HeightMap) -> None:
    for quantity in ENTRIES:
        outcome = quantity.function(Surface(scan))
        assert outcome.value is None
        assert outcome.note


@pytest.mark.parametrize("shape", [(1, 1), (1, 40), (40, 1), (2, 2), (3, 50), (4, 4)])
def test_small_maps_answer_or_say_why(shape: tuple[int, int]) -> None:
    z = np.random.default_rng(1).standard_normal(shape) * 1e-9
    for quantity in ENTRIES:
        outcome = quantity.function(Surface(HeightMap(z, PITCH)))
        assert outcome.value is not None or outcome.note
        assert outcome.value is None or math.isfinite(outcome.value)


def test_a_slope_has_no_length() -> None:
    z = np.tile(np.linspace(0, 1e-8, 100), (100, 1))
    for read in (autocorrelation_length, aspect_ratio):
        outcome = read(Surface(HeightMap(z, PITCH)))
        assert outcome.value is None or outcome.note
    assert aspect_ratio(Surface(HeightMap(z, PITCH))).value is None


def test_heights_beyond_all_measure() -> None:
    z = 1e200 * np.random.default_rng(1).standard_normal((20, 20))
    with np.errstate(over="ignore", invalid="ignore"):
        for quantity in ENTRIES:
            outcome = quantity.function(Surface(HeightMap(z, PITCH)))
            assert outcome.value is None
            assert "large" in outcome.note


def test_lags_that_do_not_fit_are_refused() -> None:
    with pytest.raises(MapError, match="fit"):
        autocorrelation(HeightMap(np.eye(5), PITCH), (5, 2))
    with pytest.raises(MapError, match="Equal"):
        autocorrelation(HeightMap(np.ones((5, 5)), PITCH))


def test_entries_are_whole() -> None:
    assert [quantity.symbol for quantity in ENTRIES] == ["Sal", "Str", "Std"]
    for quantity in ENTRIES:
        assert all((quantity.name, quantity.clause, quantity.meaning, quantity.formula, quantity.misleads))
