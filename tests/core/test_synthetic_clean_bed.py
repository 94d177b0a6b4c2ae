"""The test bed of the doubts: ten textures, levelled, with the noise and the features that they promise."""

from __future__ import annotations

import numpy as np
import pytest

from core.errors import MapError
from core.synthetic import directional_texture
from core.synthetic.clean_bed import LINE_RATES, NOISE, TEXTURES, clean_map


@pytest.mark.parametrize("texture", TEXTURES)
def test_a_clean_map_is_level_noisy_and_of_the_scale_asked_for(texture: str) -> None:
    clean = clean_map(texture, np.random.default_rng(5), shape=(96, 128), sq=2e-10)
    y, x = np.mgrid[0:96, 0:128]
    for term in (np.ones((96, 128)), y - 47.5, x - 63.5):
        assert abs(np.sum(clean.z * term)) < 1e-9 * np.sum(np.abs(clean.z * term))
    assert NOISE[0] * 0.99 < clean.noise / clean.rough < NOISE[1] * 1.01  # S of one map, not of the ensemble
    assert LINE_RATES[0] <= clean.line_rate <= LINE_RATES[1]
    assert clean.rough == pytest.approx(2e-10, rel=0.05)  # the texture's, and noise up to 0.2 of it in quadrature
    if texture == "PA":
        assert clean.z.max() > 8 * clean.rough
    else:
        assert clean.z.std() == pytest.approx(clean.rough, rel=1e-9)


def test_the_same_seed_draws_the_same_map_and_another_seed_another() -> None:
    one, same, other = (clean_map("GR", np.random.default_rng(seed), shape=(64, 64)).z for seed in (1, 1, 2))
    assert np.array_equal(one, same)
    assert not np.array_equal(one, other)


def test_unknown_textures_and_tiny_maps_are_refused() -> None:
    with pytest.raises(MapError, match="G7"):
        clean_map("G7", np.random.default_rng(1))
    with pytest.raises(MapError, match="48"):
        clean_map("G4", np.random.default_rng(1), shape=(20, 64))


def test_directional_texture_has_its_two_correlation_lengths() -> None:
    """ACF along the axes in closed form exp(−(d/T)²); some 500 independent patches leave 5 % of scatter."""
    z = directional_texture(
        (512, 512), (1.0, 1.0), sq=1.0, across=5.0, along=40.0, angle=0, rng=np.random.default_rng(3)
    )
    power = np.mean(z * z)
    assert np.mean(z[5:] * z[:-5]) / power == pytest.approx(np.exp(-1), abs=0.08)
    assert np.mean(z[:, 40:] * z[:, :-40]) / power == pytest.approx(np.exp(-1), abs=0.12)
