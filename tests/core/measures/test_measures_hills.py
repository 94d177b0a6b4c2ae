"""Hills and dales against a plain union-find over all points in order of height, and against scikit-image."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from core.heightmap import HeightMap
from core.measures.ascent import RING
from core.measures.hills import Hills, hills_of, volumes
from core.synthetic import gaussian_texture

Heights = NDArray[np.float64]
PITCH = (1.2e-8, 0.9e-8)


@dataclass
class Flood:
    """The answer the slow way: the summits that stay, with the highest saddle of each to another that stays."""

    rims: dict[int, float]


def flood(z: Heights, used: NDArray[np.bool_], least: float) -> Flood:
    """Sink a flood point by point. Where two islands meet, the one with the lower summit falls if it is low.

    A first flood finds who stays, a second one the height at which an island with a summit that stays first meets
    another such island.
    """
    stays = _meetings(z, used, lambda summit, saddle: z.flat[summit] - saddle < least)[0]
    islands = _islands(z, used)
    for island in islands:
        if not len(island & stays) > 1:
            span = max(z.flat[list(island)]) - min(z.flat[list(island)])
            if span < least and not used.all():
                stays -= island
    return Flood(_meetings(z, used, lambda *_: False, stays)[1])


def _meetings(z, used, falls, wanted=None):  # type: ignore[no-untyped-def]
    ny, nx = z.shape
    parent: dict[int, int] = {}
    held: dict[int, list[int]] = {}
    fallen: set[int] = set()
    summits: set[int] = set()
    rims: dict[int, float] = {} if wanted is None else dict.fromkeys(wanted, -np.inf)

    def root(p: int) -> int:
        while parent[p] != p:
            parent[p] = parent[parent[p]]
            p = parent[p]
        return p

    order = np.lexsort((np.arange(z.size), z.reshape(-1)))[::-1]
    for p in order[used.reshape(-1)[order]].tolist():
        y, x = divmod(p, nx)
        around = {
            root((y + dy) * nx + x + dx)
            for dy, dx in RING
            if 0 <= y + dy < ny and 0 <= x + dx < nx and (y + dy) * nx + x + dx in parent
        }
        parent[p] = p
        if not around:  # a summit; roots are always summits
            summits.add(p)
            held[p] = [p] if wanted is not None and p in wanted else []
            continue
        by_rank = sorted(around, key=lambda s: (z.flat[s], s))
        highest = by_rank.pop()
        parent[p] = highest
        for other in by_rank:
            if falls(other, z.flat[p]):
                fallen.add(other)
            if held[other] and held[highest]:
                for summit in held[other] + held[highest]:
                    if rims[summit] == -np.inf:
                        rims[summit] = z.flat[p]
            held[highest] += held[other]
            parent[other] = highest
    return summits - fallen, rims


def _islands(z: Heights, used: NDArray[np.bool_]) -> list[set[int]]:
    from scipy import ndimage

    labels, n = ndimage.label(used, np.ones((3, 3)))
    return [set(np.flatnonzero(labels.reshape(-1) == k).tolist()) for k in range(1, n + 1)]


def texture(seed: int, kind: str, shape: tuple[int, int], missing: float) -> tuple[Heights, NDArray[np.bool_]]:
    rng = np.random.default_rng(seed)
    if kind == "white":
        z = 1e-9 * rng.standard_normal(shape)
    else:
        z = gaussian_texture(shape, (1.0, 1.0), sq=1e-9, length=3.0, rng=rng)
        if kind == "noisy":
            z += 0.3e-9 * rng.standard_normal(shape)
        if kind == "quantised":
            z = np.round(z / 0.4e-9) * 0.4e-9
    used = rng.random(shape) >= missing
    used.flat[0] = True
    return z, used


def found_on(z: Heights, used: NDArray[np.bool_], least: float, *, down: bool = False) -> tuple[HeightMap, Hills]:
    rng = np.random.default_rng(1)
    lost = ~used & (rng.random(z.shape) < 0.5)  # half of what does not count is missing, half is masked
    scan = HeightMap(np.where(lost, np.nan, z), PITCH, mask=~used & ~lost)
    return scan, hills_of(scan, least, down=down)


def check_against_flood(
    seed: int, kind: str, shape: tuple[int, int], missing: float, share: float, down: bool = False
) -> None:
    z, used = texture(seed, kind, shape, missing)
    least = share * float(np.ptp(z[used]))
    _, found = found_on(z, used, least, down=down)
    expected = flood(-z if down else z, used, least).rims
    numbers = [int(y) * shape[1] + int(x) for y, x in found.places]
    assert dict(zip(numbers, found.rims.tolist(), strict=True)) == expected
    assert found.heights.tolist() == (-z if down else z).reshape(-1)[numbers].tolist()


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.sampled_from(["smooth", "noisy", "white", "quantised"]),
    st.tuples(st.integers(1, 40), st.integers(1, 40)),
    st.sampled_from([0.0, 0.0, 0.05, 0.5]),
    st.sampled_from([0.0, 0.02, 0.05, 0.2, 0.5]),
    st.booleans(),
)
def test_summits_and_saddles_are_those_of_a_flood(
    seed: int, kind: str, shape: tuple[int, int], missing: float, share: float, down: bool
) -> None:
    check_against_flood(seed, kind, shape, missing, share, down)


@pytest.mark.long
@pytest.mark.parametrize("kind", ["smooth", "noisy", "white", "quantised"])
@pytest.mark.parametrize("missing", [0.0, 0.05, 0.4])
def test_summits_and_saddles_on_larger_maps(kind: str, missing: float) -> None:
    for seed in range(10):
        check_against_flood(seed, kind, (150, 131), missing, [0.01, 0.05, 0.2][seed % 3], bool(seed % 2))
