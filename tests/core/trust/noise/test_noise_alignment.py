"""Repeats laid on each other: the noise must come through unchanged, and nothing but common points may count."""

from __future__ import annotations

import numpy as np
import pytest

from core.errors import MapError
from core.heightmap import HeightMap
from core.trust.noise.alignment import align, best_shift
from core.trust.noise.registration import Shift, mirrored


def known(down, across):
    return Shift(down, across, (1e-9, 1e-9), 99.0, registered=True)


def test_whole_shifts_are_crops(make_repeats) -> None:
    rng = np.random.default_rng(1)
    z = rng.standard_normal((60, 70))
    one, other = (HeightMap(part, (1e-9, 1e-9)) for part in (z[5:50, 8:60], z[2:47, 12:64]))
    aligned = align([one, other], shifts=[known(3.0, -4.0)])
    assert aligned.maps[0].shape == (42, 48)
    assert np.allclose(*aligned.maps, rtol=0, atol=1e-14)


def test_three_maps_keep_what_all_have() -> None:
    z = np.random.default_rng(2).standard_normal((80, 80))
    parts = [HeightMap(z[a : a + 60, b : b + 60], (1e-9, 1e-9)) for a, b in ((10, 10), (6, 12), (13, 3))]
    aligned = align(parts, shifts=[known(4.0, -2.0), known(-3.0, 7.0)])
    assert aligned.maps[0].shape == (53, 51)
    for other in aligned.maps[1:]:
        assert np.allclose(aligned.maps[0], other, rtol=0, atol=1e-14)


def test_fourier_interpolation_keeps_noise_and_splines_do_not(make_repeats) -> None:
    """Bias over random shifts: N within 0.3 % and S within 0.7 %; cubic splines take 6 % of the noise, lines 15 %."""
    from scipy.ndimage import shift as spline

    rng = np.random.default_rng(3)
    fourier, cubic, line, surface = [], [], [], []
    for _ in range(40):
        (one, other), true = make_repeats(rng, length=4, noise=1.0)
        aligned = align([one, other], shifts=[known(*true)])
        a, b = aligned.maps
        fourier.append(np.var(a - b) / 2)
        surface.append(np.mean(a * b))
        for order, kept in ((3, cubic), (1, line)):
            back = spline(other.z, (-true[0], -true[1]), order=order)
            kept.append(np.var((one.z - back)[16:-16, 16:-16]) / 2)
    n = [1e9 * np.sqrt(np.mean(squares)) for squares in (fourier, cubic, line)]
    assert n[0] == pytest.approx(1.0, abs=0.006)  # 0.3 % of bias and 0.15 % of luck, twice
    assert n[1] == pytest.approx(0.94, abs=0.02)
    assert n[2] == pytest.approx(0.85, abs=0.03)
    # S: -0.1 ... -0.7 % by the table; 40 maps of L/T = 28 scatter by 3 % each
    assert 1e9 * np.sqrt(np.mean(surface)) == pytest.approx(0.995, abs=0.02)


def test_holes_stay_out(make_repeats) -> None:
    (one, other), true = make_repeats(np.random.default_rng(4), noise=0.5, shift=(2.4, 1.7))
    rng = np.random.default_rng(5)
    mask = np.zeros(one.shape, bool)
    mask[50:60, 50:70] = True
    spiked = one.z.copy()
    spiked[mask] = 1e-6
    holed = other.z.copy()
    holed[rng.random(holed.shape) < 0.01] = np.nan
    aligned = align([one.with_(z=spiked, mask=mask), other.with_(z=holed)], shifts=[known(*true)])
    assert 0.75 < aligned.points / aligned.maps[0].size < 0.97
    a, b = (z[aligned.used] for z in aligned.maps)
    assert 1e9 * np.sqrt(np.var(a - b) / 2) == pytest.approx(0.5, rel=0.03)
    assert np.max(np.abs(a)) < 6e-9


def test_mirrored_retrace_is_found(make_repeats) -> None:
    (one, other), true = make_repeats(np.random.default_rng(6), noise=0.3)
    trace, retrace = one.with_(metadata={"direction": "trace"}), other.with_(metadata={"direction": "retrace"})
    stored = best_shift(trace, retrace)
    turned = best_shift(trace, mirrored(retrace))
    assert not stored.mirrored
    assert turned.mirrored
    assert turned.down == pytest.approx(true[0], abs=0.1)
    aligned = align([trace, mirrored(retrace)])
    assert 1e9 * np.sqrt(np.var(aligned.maps[0] - aligned.maps[1]) / 2) == pytest.approx(0.3, rel=0.05)
    # two scans in one direction are never turned
    assert not best_shift(one, mirrored(other)).registered


def test_nothing_in_common_is_refused() -> None:
    one = HeightMap(np.random.default_rng(7).standard_normal((40, 40)), (1e-9, 1e-9))
    with pytest.raises(MapError, match="nothing in common"):
        align([one, one, one], shifts=[known(15.5, 14.5), known(-15.5, 0.0)])
    with pytest.raises(MapError, match="at least two"):
        align([one])
    left = np.broadcast_to(np.arange(40) < 20, (40, 40))
    with pytest.raises(MapError, match="no measured point in common"):
        align([one.with_(mask=left), one.with_(mask=~left)], shifts=[known(0.0, 0.0)])
