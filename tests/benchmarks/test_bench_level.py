"""Plane levelling against the script: a design matrix over all points and numpy's least squares.

Run with:  pytest tests/benchmarks --benchmark-enable --benchmark-only -m "long or not long"
Both run in one process on the same map, so the ratio of their times is the result; no time is asserted, equality is.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from pytest_benchmark.fixture import BenchmarkFixture

from core.heightmap import HeightMap
from core.treatment import Level

SIDES = [1024, pytest.param(4096, marks=pytest.mark.long)]
KINDS = ["complete", "2 % missing"]


def tilted(side: int, kind: str) -> HeightMap:
    rng = np.random.default_rng(side)
    along = np.linspace(0, 20e-9, side)
    z = 1e-9 * rng.standard_normal((side, side)) + along - 2 * along[:, None] + 1e-6
    if kind != "complete":
        z[rng.random(z.shape) < 0.02] = np.nan
    return HeightMap(z, pitch=(1e-8, 1e-8))


def script(z: NDArray[np.float64]) -> NDArray[np.float64]:
    ny, nx = z.shape
    y, x = np.mgrid[:ny, :nx]
    design = np.c_[np.ones(z.size), x.ravel(), y.ravel()]
    used = np.isfinite(z.ravel())
    plane, *_ = np.linalg.lstsq(design[used], z.ravel()[used], rcond=None)
    return np.asarray(z - (design @ plane).reshape(z.shape))


def blocks_and_weights(scan: HeightMap) -> NDArray[np.float64]:
    return Level().apply(scan).z


def plain(scan: HeightMap) -> NDArray[np.float64]:
    return script(scan.z)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("way", [blocks_and_weights, plain], ids=lambda way: way.__name__)
def test_plane(
    benchmark: BenchmarkFixture, way: Callable[[HeightMap], NDArray[np.float64]], kind: str, side: int
) -> None:
    scan = tilted(side, kind)
    benchmark.group = f"plane, {side}², {kind}"
    found = benchmark(way, scan)
    # 1e-10 of Sq is what the script reaches with its unscaled design matrix at an offset of 10³ Sq
    np.testing.assert_allclose(found, script(scan.z), rtol=0, atol=1e-19 * 10)


@pytest.mark.parametrize("kind", KINDS)
def test_copy_floor(benchmark: BenchmarkFixture, kind: str) -> None:
    """The copy that no levelling can go below, for the ratio."""
    scan = tilted(1024, kind)
    benchmark.group = f"plane, 1024², {kind}"
    assert benchmark(scan.z.copy).shape == scan.shape
