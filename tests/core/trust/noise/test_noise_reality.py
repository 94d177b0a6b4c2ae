"""The reality spectrum: a known mix, its interval, and what noise alone shows."""

from __future__ import annotations

import numpy as np
import pytest

from core.heightmap import HeightMap
from core.trust.noise.alignment import align
from core.trust.noise.reality import reality_spectrum
from core.trust.noise.registration import Shift


def pair(surface, noise, rng):
    maps = [HeightMap(surface + noise * rng.standard_normal(surface.shape), (1e-9, 2e-9)) for _ in range(2)]
    return align(maps, shifts=[Shift(0.0, 0.0, (1e-9, 2e-9), 99.0, registered=True)])


def test_white_mix_is_level_and_covered() -> None:
    """White surface and noise, N = S / 2: the share is 0.8 in every bin.

    Rings of many waves cover 95 %; thin ones more, because most neighbours of a wave lie outside its ring.
    """
    rng = np.random.default_rng(1)
    inside, total, thin, shares = 0, 0, 0.0, []
    for _ in range(60):
        found = reality_spectrum(pair(rng.standard_normal((96, 80)), 0.5, rng))
        held = (found.low <= 0.8) & (found.high >= 0.8)
        inside, total = inside + int(held[-3:].sum()), total + 3
        thin += int(held[:-3].sum()) / held[:-3].size / 60
        shares.append(found.share)
    assert 0.91 <= inside / total <= 0.99
    assert thin >= 0.93
    assert np.mean(shares, axis=0) == pytest.approx(np.full(found.share.size, 0.8), abs=0.05)
    assert found.coherence == pytest.approx(found.share**2, abs=0.06)


def test_texture_over_noise_is_real_above_a_wavelength(make_repeats) -> None:
    """Gaussian T = 6 at N = S: S² πT² e^(−π²T²f²) is N² (per point) at f = √ln(πT²)/(πT) = 0.115: 8.7 points; γ² of ½
    (share 0.707) is reached at 9.8 points. A third of an octave is the resolution."""
    maps, _ = make_repeats(np.random.default_rng(2), length=6, noise=1.0, side=256)
    found = reality_spectrum(align(maps))
    assert found.real_above == pytest.approx(9.8e-9, rel=0.26)
    assert found.share[0] > 0.9
    assert abs(found.share[-1]) < 0.1
    assert np.all(np.diff(found.wavelength) < 0)
    assert np.all((found.low < found.share) & (found.share < found.high))


def test_noise_alone_is_not_real() -> None:
    rng = np.random.default_rng(3)
    found = reality_spectrum(pair(np.zeros((96, 96)), 1.0, rng))
    assert found.real_above is None
    assert np.all(found.low[-4:] < 0.05)
    assert np.mean(found.coherence) < 0.05


def test_holes_are_weights() -> None:
    rng = np.random.default_rng(4)
    whole = pair(rng.standard_normal((96, 96)), 0.5, rng)
    used = rng.random((96, 96)) > 0.1
    from dataclasses import replace

    holed = replace(whole, maps=tuple(np.where(used, z, 0.0) for z in whole.maps), used=used)
    assert reality_spectrum(holed).share[-3:] == pytest.approx(reality_spectrum(whole).share[-3:], abs=0.05)


def test_read_only() -> None:
    found = reality_spectrum(pair(np.ones((40, 40)), 1.0, np.random.default_rng(5)))
    with pytest.raises(ValueError, match="read-only"):
        found.share[0] = 0.0
