"""Repeats of one place with a known shift, surface and noise; lengths in points."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from core.heightmap import FloatArray, HeightMap
from core.synthetic import gaussian_texture, self_affine
from core.synthetic.texture import _from_density

PITCH = 1e-9
MARGIN = 32
Repeats = Callable[..., tuple[list[HeightMap], tuple[float, float]]]


def texture(kind: str, length: float, side: int, rng: np.random.Generator) -> FloatArray:
    """Of ensemble RMS 1 nm: Gaussian or exponential by correlation length, self-affine (H 0.5 or 0.8) by roll-off."""
    shape, pitch = (side, side), (PITCH, PITCH)
    if kind == "gaussian":
        return gaussian_texture(shape, pitch, sq=1e-9, length=length * PITCH, rng=rng)
    if kind == "exponential":
        t = length * PITCH
        return _from_density(
            shape,
            pitch,
            lambda fy, fx: (1 + (2 * np.pi * t) ** 2 * (fy**2 + fx**2)) ** -1.5,
            sq=1e-9,
            reach=16 * t,
            rng=rng,
        )
    return self_affine(shape, pitch, sq=1e-9, hurst=float(kind), roll_off=length * PITCH, rng=rng)


def moved(z: FloatArray, down: float, across: float) -> FloatArray:
    """A field whose content lies `down` and `across` points further."""
    waves = np.fft.rfft2(z)
    waves *= np.exp(-2j * np.pi * down * np.fft.fftfreq(z.shape[0]))[:, None]
    waves *= np.exp(-2j * np.pi * across * np.fft.rfftfreq(z.shape[1]))
    return np.asarray(np.fft.irfft2(waves, z.shape))


@pytest.fixture(scope="session")
def make_repeats() -> Repeats:
    """Repeats of one place: `noise` is N over the ensemble S of 1 nm."""

    def make(
        rng: np.random.Generator,
        *,
        kind: str = "gaussian",
        length: float = 4.0,
        noise: float = 1.0,
        side: int = 128,
        shift: tuple[float, float] | None = None,
        count: int = 2,
    ) -> tuple[list[HeightMap], tuple[float, float]]:
        field = texture(kind, length, side + 2 * MARGIN, rng)
        down, across = rng.uniform(-6, 6, 2) if shift is None else shift
        inner = slice(MARGIN, MARGIN + side)
        maps = []
        for number in range(count):
            z = moved(field, number * down, number * across)[inner, inner]
            z = z + noise * 1e-9 * rng.standard_normal((side, side))
            maps.append(HeightMap(z, (PITCH, PITCH), name=f"scan {number + 1}"))
        return maps, (float(down), float(across))

    return make
