"""Hills and dales against a plain union-find over all points in order of height, and against scikit-image."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from core.heightmap import HeightMap
from core.measures.ascent import RING, ascent
from core.measures.hills import Hills, hills_of, prune, volumes
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


@pytest.mark.parametrize("kind", ["smooth", "noisy", "white"])
@pytest.mark.parametrize("share", [0.02, 0.05, 0.2])
def test_as_many_as_scikit_image_finds(kind: str, share: float) -> None:
    """On heights that are all different the h-maxima are the same hills (equal ones are told apart here only)."""
    from scipy import ndimage
    from skimage.morphology import h_maxima

    for seed in range(3):
        z, used = texture(seed, kind, (90, 70), 0.0)
        least = share * float(np.ptp(z))
        # scikit-image reconstructs from z − h: no hill here rises by exactly h
        # its allowance for rounding goes with the height, so that near height 0 it loses summits: lifted off 0
        peaks, count = ndimage.label(h_maxima(z - z.min() + 10 * least, least), np.ones((3, 3)))
        _, found = found_on(z, used, least)
        assert count == len(found)
        assert all(peaks[y, x] for y, x in found.places)


def test_areas_are_near_those_of_a_flood() -> None:
    """A watershed from the same summits draws a few per cent of the borders elsewhere, no more."""
    from skimage.segmentation import watershed

    z, used = texture(5, "smooth", (150, 150), 0.0)
    _, found = found_on(z, used, 0.05 * float(np.ptp(z)))
    markers = np.zeros(z.shape, np.int32)
    markers[tuple(found.places.T)] = np.arange(1, len(found) + 1)
    flooded = watershed(-z, markers, connectivity=2) - 1
    assert np.mean(flooded != found.labels) < 0.03


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(["smooth", "noisy", "quantised"]), st.booleans())
def test_volumes_are_sums_over_the_rims(seed: int, kind: str, down: bool) -> None:
    z, used = texture(seed, kind, (70, 33), 0.03)  # more than one strip
    scan, found = found_on(z, used, 0.05 * float(np.ptp(z[used])), down=down)
    filled = volumes(found, scan, down=down)
    upright = -z if down else z
    for number in range(len(found)):
        over = upright[found.labels == number] - found.rims[number]
        expected = over[over > 0].sum() * PITCH[0] * PITCH[1] if found.rims[number] > -np.inf else np.nan
        assert filled[number] == pytest.approx(expected, rel=1e-9, abs=1e-40, nan_ok=True)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(["smooth", "noisy", "quantised", "white"]), st.booleans())
def test_basins_are_those_of_single_steps(seed: int, kind: str, holes: bool) -> None:
    """Each point, moved to the highest of its neighbours until there is none, ends at the summit of its basin."""
    shape = (140, 11)  # ways through three strips
    z, used = texture(seed, kind, shape, 0.1 if holes else 0.0)
    scan, _ = found_on(z, used, 0.0)
    found = ascent(scan)
    order = np.full((shape[0] + 2, shape[1] + 2), -1)
    ranks = np.empty(z.size, np.int64)
    ranks[np.lexsort((np.arange(z.size), z.reshape(-1)))] = np.arange(z.size)
    order[1:-1, 1:-1] = np.where(used, ranks.reshape(shape), -1)
    basins = found.basins.reshape(shape)
    for y, x in np.argwhere(used):
        here = (y + 1, x + 1)
        while True:
            steps = [here, *((here[0] + dy, here[1] + dx) for dy, dx in RING)]
            best = max(steps, key=lambda place: order[place])
            if best == here:
                break
            here = best
        assert found.summits[basins[y, x]] == (here[0] - 1) * shape[1] + here[1] - 1
    assert (basins[~used] == len(found.summits)).all()


@pytest.mark.parametrize("z", [np.zeros((5, 5)), np.array([[1.0]]), np.full((3, 3), np.nan), np.zeros((1, 70))])
def test_maps_without_relief(z: Heights) -> None:
    found = hills_of(HeightMap(z, PITCH), 1e-12)
    assert len(found) == (0 if np.isnan(z).any() else 1)
    assert found.points.sum() == np.count_nonzero(~np.isnan(z))


def noisy(seed: int, shape: tuple[int, int], *, steps: float = 0.0, missing: float = 0.0) -> HeightMap:
    rng = np.random.default_rng(seed)
    z = gaussian_texture(shape, (1.0, 1.0), sq=1.0, length=6.0, rng=rng) + 0.3 * rng.standard_normal(shape)
    if steps:
        z = np.round(z * steps)
    z[rng.random(shape) < missing] = np.nan
    return HeightMap(z, (1.0, 1.0))


@pytest.mark.parametrize("missing", [0.0, 0.05])
@pytest.mark.parametrize("steps", [0.0, 8.0], ids=["exact", "quantised"])
def test_pruning_stretch_by_stretch_is_pruning_as_a_whole(
    monkeypatch: pytest.MonkeyPatch, steps: float, missing: float
) -> None:
    """Of equal heights more than one way may be the highest, and the order decides: there only labels may differ."""
    scan = noisy(3, (330, 150), steps=steps, missing=missing)
    for share in (0.01, 0.1, 0.3):
        least = share * float(np.ptp(scan.heights()))
        whole = hills_of(scan, least)
        with monkeypatch.context() as patch:
            patch.setattr("core.measures.ascent.STRETCH", 1)  # a strip each
            parts = hills_of(scan, least)
        np.testing.assert_array_equal(parts.places, whole.places)
        np.testing.assert_array_equal(parts.heights, whole.heights)
        np.testing.assert_array_equal(parts.rims, whole.rims)
        if not steps:
            np.testing.assert_array_equal(parts.labels, whole.labels)
            np.testing.assert_array_equal(parts.points, whole.points)


def flooded(scan: HeightMap, least: float) -> list[int]:
    """What each basin becomes part of when saddles are met one after the other from the highest down.

    At a saddle all that rises too little over it and is lower than the saddle's own basin joins that one, which then,
    if it rises too little itself, joins the highest of the others.
    """
    found = ascent(scan)
    z = scan.z.reshape(-1)
    summit = z[found.summits].tolist()
    parent = list(range(len(summit)))

    def top(basin: int) -> int:
        while parent[basin] != basin:
            basin = parent[basin]
        return basin

    for point in sorted(set(found.saddles.tolist()), key=lambda point: -z[point]):
        own, others = found.sides[:, found.saddles == point]
        for other in map(top, others.tolist()):
            here = top(int(own[0]))
            if summit[other] < summit[here] and summit[other] - z[point] < least:
                parent[other] = here
        here = top(int(own[0]))
        higher = [other for other in map(top, others.tolist()) if summit[other] > summit[here]]
        if higher and summit[here] - z[point] < least:
            parent[here] = max(higher, key=lambda other: summit[other])
    return [top(basin) for basin in range(len(summit))]


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("share", [0.05, 0.2])
def test_hills_join_as_in_a_flood(monkeypatch: pytest.MonkeyPatch, seed: int, share: float) -> None:
    monkeypatch.setattr("core.measures.ascent.STRETCH", 1)
    scan = noisy(seed, (140, 90))
    least = share * float(np.ptp(scan.z))
    found = ascent(scan)
    z = scan.z.reshape(-1)
    joined, _ = prune(z[found.summits], z[found.saddles], found.sides, least, found.stretches)
    assert joined.tolist() == flooded(scan, least)
