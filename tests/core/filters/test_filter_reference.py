"""Filters against reference values, group 2 of tests/reference: closed forms and the constants of the standard."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from core.filters import band_pass, low_pass, profile_low_pass, regression_low_pass, robust_low_pass
from core.filters.robust import CUT
from core.filters.weights import ALPHA, REACH, SIGMA, kernel, sampled_transfer, transmission, weight
from core.heightmap import HeightMap

Expected = Callable[..., Any]
NM = 1e-9
SHARES = (0.5, 0.6, 0.8, 1.0)
RATIOS = ("0.333", "0.5", "1", "2", "3", "5", "10")


def ratio(text: str) -> float:
    return 1 / 3 if text == "0.333" else float(text)


def test_constants(expected: Expected) -> None:
    """Entry 2.01, and the sampled weights have the standard deviation that the formula says."""
    assert expected("2.01|alpha") == ALPHA
    assert expected("2.01|kernel std / Lc") == SIGMA
    g = kernel(50.0, 10_000)
    k = np.arange(len(g))
    assert math.sqrt(2 * float(g @ k**2)) / 50 == expected("2.01|kernel std / Lc")


def test_weights_follow_the_formula() -> None:
    g = kernel(30.0, 10_000)
    np.testing.assert_allclose(g, weight(np.arange(len(g)), 30.0), rtol=1e-13)


@pytest.mark.parametrize("cutoff", [0.5, 2.0, 7.3, 19.9, 20.1, 300.0])
def test_weights_sum_to_one(cutoff: float) -> None:
    """By sum or by integral; a cut-off of half a point leaves every point as it is."""
    g = kernel(cutoff, 10_000)
    assert math.fsum([g[0], *(2 * g[1:])]) == pytest.approx(1, abs=4e-16)
    assert cutoff > 1 or g[0] == pytest.approx(1, abs=1e-5)


def test_a_cutoff_beyond_all_maps_costs_no_memory() -> None:
    assert len(kernel(1e12, 500)) == 501
    z = np.random.default_rng(1).standard_normal((20, 30))
    smooth = low_pass(HeightMap(z, (1.0, 1.0)), 1e12, edges="kept").z
    np.testing.assert_allclose(smooth, z.mean(), rtol=0, atol=1e-14)
    assert profile_low_pass(z[0], 1.0, 1e12) == pytest.approx(z[0].mean(), abs=1e-14)


@pytest.mark.parametrize("share", SHARES)
def test_truncation(share: float, expected: Expected) -> None:
    """Entry 2.03: what lies beyond c cut-offs. A trapezoid on 10⁵ points is exact to 1e-9 of the tail."""
    g = kernel(1e5, 1 << 20)
    beyond = 2 * g[round(share * 1e5) :]
    assert beyond.sum() - beyond[0] / 2 == expected(f"2.03|c={share}")


def test_support_is_long_enough() -> None:
    """What is left out at 1.7 cut-offs is below the last digit of a double (issue: truncation under 1e-15)."""
    assert math.erfc(math.sqrt(math.pi) * REACH / ALPHA) < 1e-18


@pytest.mark.parametrize("name", RATIOS)
@pytest.mark.parametrize("angle", [0, 27, 45, 90])
def test_transmission(name: str, angle: float, expected: Expected) -> None:
    """Entry 2.02: a wave in any direction keeps 2^−(λ/w)², on square and on oblong pixels; phase unchanged."""
    cutoff = 12.0
    wavelength = ratio(name) * cutoff
    for pitch in ((1.0, 1.0), (1.4, 0.8)):
        y, x = np.arange(70)[:, None] * pitch[0], np.arange(90) * pitch[1]
        along = x * math.cos(math.radians(angle)) + y * math.sin(math.radians(angle))
        scan = HeightMap(np.cos(2 * np.pi * along / wavelength), pitch)
        found = low_pass(scan, cutoff, edges="kept").z
        inner = (slice(24, -24), slice(34, -34))  # nothing of the footprint is beyond the edges
        passed = np.sum(found[inner] * scan.z[inner]) / np.sum(scan.z[inner] ** 2)
        assert passed == expected(f"2.02|T at w/Lc={name}")
        assert transmission(wavelength, cutoff) == expected(f"2.02|T at w/Lc={name}")
        np.testing.assert_allclose(found[inner], passed * scan.z[inner], rtol=0, atol=1e-12)


@pytest.mark.parametrize("cutoff", [2.0, 2.5, 4.1, 7.0, 33.0])
def test_sampled_transfer_is_that_of_the_sampled_weights(cutoff: float) -> None:
    """Aliases and all, against the plain sum over the weights. The continuous formula is 1 % off at 4.1 points."""
    frequency = np.linspace(0, 0.5, 41)
    g = kernel(cutoff, 1000)
    plain = g[0] + 2 * np.cos(2 * np.pi * frequency[:, None] * np.arange(1, len(g))) @ g[1:]
    np.testing.assert_allclose(sampled_transfer(frequency, cutoff), plain, rtol=0, atol=2e-15)
    if cutoff == 4.1:
        assert abs(2.0 ** -((cutoff * frequency) ** 2) - plain).max() > 0.01


def test_ramp_at_an_edge(expected: Expected) -> None:
    """Entry 2.04: order 0 lifts the foot of a ramp by α/π of slope × cut-off; one point of 4000 counts 0.05 %."""
    cutoff, pitch = 4000.0, (1000.0, 1.0)
    ramp = HeightMap(np.broadcast_to(np.arange(9000.0), (3, 9000)), pitch)
    edge = low_pass(ramp, cutoff, edges="kept").z[1, 0] / cutoff
    assert edge == expected("2.04|order-0 edge value / (b Lc)")
    assert profile_low_pass(ramp.z, 1.0, cutoff)[1, 0] / cutoff == expected("2.04|order-0 edge value / (b Lc)")


@pytest.mark.parametrize("way", ["direct", "waves"])
def test_orders_reproduce_their_polynomials(way: Any, expected: Expected) -> None:
    """Entry 2.04: order 1 passes a plane, order 2 a quadric, up to the corners and with holes."""
    rng = np.random.default_rng(204)
    y, x = np.mgrid[0:60, 0:80] / 80
    plane, quadric = 3 * x - 2 * y + 5, x * x - 3 * x * y + 0.5 * y * y - x
    holes = np.where(rng.random(x.shape) < 0.2, np.nan, 0.0)
    for z, order, name in (
        (plane, 1, "order-1 and order-2 residual on a plane"),
        (plane, 2, "order-1 and order-2 residual on a plane"),
        (quadric, 2, "order-2 residual on a quadric"),
    ):
        for scan in (HeightMap(z, (1.0, 1.3)), HeightMap(z + holes, (1.0, 1.3))):
            found = regression_low_pass(scan, 9.0, order=order, edges="kept", way=way).z
            assert np.nanmax(abs(found - z)) == expected(f"2.04|{name}")


def test_parabola(expected: Expected) -> None:
    """Entry 2.05: inside, a parabola is lifted by its curvature times the variance of the weights."""
    cutoff = 20.0
    x = np.arange(-60.0, 61.0)
    scan = HeightMap(np.broadcast_to(x**2, (121, 121)), (1.0, 1.0))
    found = low_pass(scan, cutoff, edges="kept").z[60, 60] / cutoff**2
    assert found == expected("2.05|offset / (c Lc^2)")


@pytest.mark.parametrize("share", ["0.1", "0.25", "0.5"])
def test_step(share: str, expected: Expected) -> None:
    """Entry 2.06: the edge lies midway between two points, the value at d is between two others."""
    cutoff, n = 200.0, 800
    step = HeightMap(np.broadcast_to((np.arange(n) >= n // 2).astype(float), (3, n)), (100.0, 1.0))
    z = low_pass(step, cutoff, edges="kept").z[1]
    behind = n // 2 + round(float(share) * cutoff)
    assert (z[behind - 1] + z[behind]) / 2 == expected(f"2.06|d={share} Lc")


def test_white_noise(expected: Expected) -> None:
    """Entry 2.07: D = 10 nm, λ = 50 nm. 45,000 independent spots scatter by 0.7 % of the variance, 2 % are allowed."""
    name = "2.07|areal: C in output variance = C (D/Lc)^2 s^2, C=1/(2 alpha^2)"
    z = np.random.default_rng(207).standard_normal((1024, 1024))
    smooth = low_pass(HeightMap(z, (1e-8, 1e-8)), 5e-8, edges="cut")
    assert smooth.z[smooth.keep].var() * 25 == expected(name)
    g = kernel(5.0, 100)
    squares = g[0] ** 2 + 2 * float(g[1:] @ g[1:])
    assert squares**2 * 25 == expected(name)
    assert squares * 5 == expected("2.07|profile: C in output variance = C (D/Lc) s^2, C=1/(sqrt2 alpha)")
    along = profile_low_pass(z, 1.0, 5.0)[:, 3:-3]
    assert along.var() * 5 == expected("2.07|profile: C in output variance = C (D/Lc) s^2, C=1/(sqrt2 alpha)")


@pytest.mark.parametrize("order", [1, 2])
def test_robust_on_a_plane_with_spikes(order: int, expected: Expected) -> None:
    """Entry 2.08: 1 % of the points far above a plane do not pull it, and the median of 0 divides nothing."""
    assert expected("2.08|c_B factor") == CUT
    y, x = np.mgrid[0:120, 0:120]
    plane = 0.01 * x + 3 + 0 * y
    spiked = plane.copy()
    bad = np.random.default_rng(208).random(plane.shape) < 0.01
    spiked[bad] = 1000
    smooth = robust_low_pass(HeightMap(spiked, (1.0, 1.0)), 20.0, edges="kept", order=order)
    assert smooth.converged
    assert abs(smooth.z - plane)[~bad].max() == expected("2.08|baseline error at clean pixels")


def test_robust_of_order_0_on_level_ground(expected: Expected) -> None:
    """Entry 2.08 for order 0, with the plane taken off before: form first, then the filter."""
    flat = np.full((120, 120), 3.0)
    bad = np.random.default_rng(208).random(flat.shape) < 0.01
    spiked = np.where(bad, 1000.0, flat)
    smooth = robust_low_pass(HeightMap(spiked, (1.0, 1.0)), 20.0, edges="kept", order=0)
    assert smooth.converged
    assert abs(smooth.z - flat)[~bad].max() == expected("2.08|baseline error at clean pixels")


WAVES = ((1, 0, 5, 0), (0, 1, 4, 0.5), (1, 1, 3, 1.0), (3, -2, 2, 1.5), (5, 4, 1, 2.0), (8, -7, 0.5, 2.5))


def fourier_surface(n: int, beyond: int) -> NDArray[np.float64]:
    """Surface F1 of entry 1.20 on n points a period, continued by `beyond` points on every side: periodic edges."""
    u = np.arange(-beyond, n + beyond) / n
    z = np.zeros((len(u), len(u)))
    for p, q, amplitude, phase in WAVES:
        z += amplitude * np.cos(2 * np.pi * (p * u + q * u[:, None]) + phase)
    return z * NM


def test_fourier_surface(expected: Expected) -> None:
    """Entry 2.10: S filter 0.8 µm, L filter 2.5 µm on 10 µm."""
    n, beyond = 512, 300
    period = (slice(beyond, beyond + n),) * 2
    scan = HeightMap(fourier_surface(n, beyond), (10e-6 / n, 10e-6 / n))
    assert scan.z[period].std() == expected("2.10|Sq unfiltered", NM)
    short = low_pass(scan, 0.8e-6, edges="kept").z
    assert short[period].std() == expected("2.10|Sq after S=0.8 um", NM)
    waviness = low_pass(scan.with_(z=short), 2.5e-6, edges="kept").z
    assert waviness[period].std() == expected("2.10|Sq of waviness (low-pass 2.5 um of the S-filtered map)", NM)
    band = band_pass(scan, 0.8e-6, 2.5e-6, edges="kept")
    assert band.z[period].std() == expected("2.10|Sq of S-L surface (0.8, 2.5 um)", NM)
