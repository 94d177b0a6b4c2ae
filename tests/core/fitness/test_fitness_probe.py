"""The probe: exact against brute force, radii add, what was touched is recovered, and where."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.errors import QuantityError
from core.fitness.probe import apparent_width, certainty, dilated, eroded, sharpest_radius, sweep
from core.heightmap import HeightMap
from core.synthetic.texture import gaussian_texture


def brute(z: np.ndarray, pitch: tuple[float, float], radius: float, tip: str) -> np.ndarray:
    """By the definition, point by point."""
    y, x = np.mgrid[: z.shape[0], : z.shape[1]]
    out = np.full(z.shape, np.nan)
    for i, j in np.argwhere(~np.isnan(z)):
        square = ((y - i) * pitch[0]) ** 2 + ((x - j) * pitch[1]) ** 2
        inside = square <= radius**2 * (1 + 1e-12)
        depth = (
            square / (2 * radius) if tip == "parabola" else radius - np.sqrt(np.where(inside, radius**2 - square, 0))
        )
        reached = z - depth
        if tip == "ball":
            reached = np.where(inside, reached, np.nan)
        out[i, j] = np.nanmax(reached)
    return out


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    pitch=st.tuples(st.floats(1e-9, 5e-9), st.floats(1e-9, 5e-9)),
    radius=st.floats(2e-9, 50e-9),
    tip=st.sampled_from(["parabola", "ball"]),
)
def test_dilation_is_exact(seed: int, pitch: tuple[float, float], radius: float, tip: str) -> None:
    rng = np.random.default_rng(seed)
    z = 5e-9 * rng.standard_normal((11, 13))
    z[rng.random(z.shape) < 0.1] = np.nan
    got = dilated(z, pitch, radius, tip)  # type: ignore[arg-type]
    assert np.allclose(got, brute(z, pitch, radius, tip), rtol=0, atol=1e-20, equal_nan=True)
    assert np.array_equal(eroded(z, pitch, radius), -dilated(-z, pitch, radius), equal_nan=True)


def test_radii_add() -> None:
    """A paraboloid of 20 nm under a parabola of 10 nm is one of 30 nm (derived here: closed form)."""
    y, x = np.mgrid[-30:31, -30:31] * 1e-9
    square = x**2 + y**2
    image = dilated(-square / 40e-9, (1e-9, 1e-9), 10e-9)
    inner = (abs(x) <= 12e-9) & (abs(y) <= 12e-9)  # beyond, the touching point leaves the map
    # The touching point lies between pixels: at most half a pixel off, (1/2)²(1/20 + 1/10)/2 nm per axis too low.
    low = -square / 60e-9 - image
    assert low[inner].min() > -1e-20
    assert low[inner].max() < 2 * 0.25 * (1 / 20 + 1 / 10) / 2 * 1e-9


def test_dilation_distributes_over_maxima() -> None:
    """dil max(z, ball) = max(dil z, dil ball): why the measured map must not be dilated again."""
    rng = np.random.default_rng(3)
    one, other = rng.standard_normal((2, 40, 40)) * 2e-9
    both = dilated(np.maximum(one, other), (2e-9, 2e-9), 8e-9, "ball")
    apart = np.maximum(*(dilated(z, (2e-9, 2e-9), 8e-9, "ball") for z in (one, other)))
    assert np.array_equal(both, apart)


def test_what_is_certain_is_true_and_texture_mostly_is() -> None:
    pitch, radius = (4e-9, 4e-9), 10e-9
    surface = gaussian_texture((128, 128), pitch, sq=1e-9, length=20e-9, rng=np.random.default_rng(5))
    image = dilated(surface, pitch, radius)
    back, known = eroded(image, pitch, radius), certainty(image, pitch, radius)
    assert np.allclose(dilated(back, pitch, radius), image, rtol=0, atol=1e-22)  # opening a dilation changes nothing
    assert (back >= surface - 1e-22).all()
    assert np.allclose(back[known], surface[known], rtol=0, atol=1e-20)
    assert 0.3 < known.mean() < 1.0
    deep = back > surface + 1e-12
    assert not (deep & known).any()


def test_a_blunter_probe_is_certain_of_less() -> None:
    pitch = (4e-9, 4e-9)
    surface = gaussian_texture((96, 96), pitch, sq=2e-9, length=20e-9, rng=np.random.default_rng(6))
    shares = [certainty(dilated(surface, pitch, r), pitch, r).mean() for r in (2e-9, 10e-9, 30e-9)]
    assert shares[0] > shares[1] > shares[2]


def test_the_sweep_finds_the_radius_that_drew_the_map() -> None:
    pitch, radius = (2e-9, 2e-9), 15e-9
    surface = gaussian_texture((256, 256), pitch, sq=3e-9, length=10e-9, rng=np.random.default_rng(7))
    image = dilated(surface, pitch, radius) + 0.03e-9 * np.random.default_rng(8).standard_normal(surface.shape)
    tried = sweep(HeightMap(image, pitch), (5e-9, 10e-9, 15e-9, 25e-9, 40e-9), noise=0.03e-9)
    by = {one.radius: one.unexplained for one in tried}
    assert max(by[5e-9], by[10e-9], by[15e-9]) < 0.02  # blunter than the probe there is nothing but noise to see
    assert 0.1 < by[25e-9] < by[40e-9]
    assert [one.hidden for one in tried] == sorted(one.hidden for one in tried)
    assert sharpest_radius(HeightMap(dilated(surface, pitch, radius), pitch)) > 0.9 * radius


def test_curvature_of_a_paraboloid_on_oblong_pixels() -> None:
    y, x = np.mgrid[-20:21, -20:21]
    z = -((y * 2e-9) ** 2 + (x * 3e-9) ** 2) / (2 * 12e-9)
    assert sharpest_radius(HeightMap(z, (2e-9, 3e-9))) == pytest.approx(12e-9)
    assert sharpest_radius(HeightMap(-z, (2e-9, 3e-9))) == math.inf


def test_widths_and_refusals() -> None:
    """A sphere of 20 nm on 10 nm and 30 nm probes (closed form 4√(Rr))."""
    assert apparent_width(10e-9, 10e-9) == pytest.approx(40e-9)
    assert apparent_width(30e-9, 10e-9) == pytest.approx(69.28e-9, rel=1e-4)
    with pytest.raises(QuantityError):
        dilated(np.zeros((3, 3)), (1e-9, 1e-9), -1.0)
