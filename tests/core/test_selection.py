"""Quantiles without sorting equal numpy's, whatever the order and the ties of the values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from core.heightmap import HeightMap
from core.selection import median, quantile, typical_height

SHARES = (0.0, 1e-4, 0.001, 0.3, 0.5, 0.999, 1.0)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=40), st.floats(0, 1))
def test_small(values: list[float], share: float) -> None:
    z = np.array(values)
    assert quantile(z, share) == pytest.approx(np.quantile(z, share), rel=1e-12, abs=1e-12)


def shapes() -> dict[str, NDArray[np.float64]]:
    rng = np.random.default_rng(5)
    n = 300_000
    return {
        "random": rng.standard_normal(n),
        "sorted": np.sort(rng.standard_normal(n)),
        "quantised": np.round(rng.standard_normal(n), 1),
        "constant": np.ones(n),
        "spikes where no sample falls": np.where(np.arange(n) % 19 == 1, 1e3 + rng.random(n), rng.random(n)),
        "periodic": np.sin(np.arange(n) * 2 * np.pi / 19),
    }


@pytest.mark.parametrize("name", shapes())
def test_large(name: str) -> None:
    z = shapes()[name]
    for share in SHARES:
        assert quantile(z, share) == pytest.approx(np.quantile(z, share), rel=1e-14, abs=1e-14), share
    assert median(z) == pytest.approx(np.median(z), rel=1e-14, abs=1e-14)


def test_typical_height_looks_at_points_that_count() -> None:
    z = np.full((30, 30), 5.0)
    z[:20] = np.nan
    mask = np.zeros((30, 30), bool)
    mask[25:] = True
    z[25:] = 1e9
    assert typical_height(HeightMap(z, (1.0, 1.0), mask=mask)) == 5.0
    assert typical_height(HeightMap(np.full((3, 3), np.nan), (1.0, 1.0))) == 0.0
