"""The profile filter: the plain weighted sum along every profile, the parting into roughness and waviness."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.errors import MapError, QuantityError
from core.filters import low_pass, part_profiles, profile_low_pass, transmission
from core.filters.weights import ALPHA
from core.heightmap import HeightMap

NM, UM = 1e-9, 1e-6


@settings(max_examples=60, deadline=None)
@given(
    st.integers(1, 150), st.floats(1.5, 90), st.sampled_from([0.0, 0.1, 0.5]), st.sampled_from(["direct", "waves"]),
    st.integers(0, 2**32),
)  # fmt: skip
def test_equals_the_plain_sum(n: int, cutoff: float, holes: float, way: Any, seed: int) -> None:
    rng = np.random.default_rng(seed)
    z = rng.standard_normal((3, n)) * NM
    z[rng.random(z.shape) < holes] = np.nan
    used = rng.random(z.shape) > 0.1
    s = np.exp(-math.pi * ((np.arange(n) - np.arange(n)[:, None]) / (ALPHA * cutoff)) ** 2)
    weights = (used & ~np.isnan(z)).astype(float)
    share = (weights @ s) / s.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        wanted = (np.nan_to_num(z) * weights) @ s / (weights @ s)
    found = profile_low_pass(z, 2e-9, 2e-9 * cutoff, used=used, way=way)
    clear = abs(share - 0.5) > 1e-9  # rounding decides the others
    assert np.array_equal(np.isnan(found)[clear], (np.isnan(z) | (share < 0.5))[clear])
    known = ~np.isnan(found)
    np.testing.assert_allclose(found[known], wanted[known], rtol=0, atol=1e-10 * NM)


def test_one_profile_or_many() -> None:
    rows = np.random.default_rng(2).standard_normal((4, 5, 60))
    together = profile_low_pass(rows, 1.0, 9.0)
    assert together.shape == rows.shape
    np.testing.assert_allclose(together[2, 3], profile_low_pass(rows[2, 3], 1.0, 9.0), rtol=0, atol=1e-14)


def test_a_map_alike_in_every_row_is_filtered_like_its_profile() -> None:
    profile = np.random.default_rng(3).standard_normal(90)
    scan = HeightMap(np.broadcast_to(profile, (40, 90)), (1.0, 1.0))
    np.testing.assert_allclose(
        low_pass(scan, 14.0, edges="kept").z[20], profile_low_pass(profile, 1.0, 14.0), rtol=0, atol=1e-13
    )


def test_parted_waves() -> None:
    """Three waves, λs = 2.5 µm and λc = 80 µm: each profile keeps what the transmissions say (closed form)."""
    x = np.arange(8000) * 0.25 * UM
    wavelengths = (1.0 * UM, 20 * UM, 400 * UM)
    profile = NM * sum(np.cos(2 * np.pi * x / w) for w in wavelengths)
    parted = part_profiles(profile, 0.25 * UM, shortest=2.5 * UM, longest=80 * UM, edges="cut")
    assert parted.keep == slice(160, 7840)
    inner = slice(1600, 4800)  # a whole number of every wave, and no edge in any footprint
    short, long = ([transmission(w, c) for w in wavelengths] for c in (2.5 * UM, 80 * UM))
    for found, kept in (
        (parted.primary, short),
        (parted.waviness, [s * t for s, t in zip(short, long, strict=True)]),
        (parted.roughness, [s * (1 - t) for s, t in zip(short, long, strict=True)]),
    ):
        wanted = NM * sum(k * np.cos(2 * np.pi * x / w) for k, w in zip(kept, wavelengths, strict=True))
        np.testing.assert_allclose(found[inner], wanted[inner], rtol=0, atol=1e-12 * NM)


def test_the_parts_make_the_primary_profile() -> None:
    z = np.random.default_rng(4).standard_normal((2, 200))
    z[:, 50:60] = np.nan
    parted = part_profiles(z, 1.0, shortest=4.0, longest=30.0, edges="kept")
    np.testing.assert_allclose(parted.roughness + parted.waviness, parted.primary, rtol=0, atol=1e-14)
    assert np.array_equal(np.isnan(parted.roughness), np.isnan(z))
    assert parted.keep == slice(0, 200)


def test_one_limit_alone() -> None:
    z = np.random.default_rng(5).standard_normal(200)
    only_short = part_profiles(z, 1.0, shortest=8.0, longest=None, edges="cut")
    assert only_short.keep == slice(4, 196)
    assert not only_short.waviness.any()
    assert np.array_equal(only_short.roughness, only_short.primary)
    only_long = part_profiles(z, 1.0, shortest=None, longest=50.0, edges="cut")
    assert only_long.keep == slice(25, 175)
    assert np.array_equal(only_long.primary, z)


def test_points_that_do_not_count_keep_their_heights() -> None:
    z = np.random.default_rng(6).standard_normal(100)
    used = np.ones(100, bool)
    used[40:43] = False
    wild = np.where(used, z, 1e9)
    parted = [part_profiles(p, 1.0, shortest=5.0, longest=30.0, edges="kept", used=used) for p in (z, wild)]
    np.testing.assert_allclose(parted[0].roughness[used], parted[1].roughness[used], rtol=0, atol=1e-12)
    assert (parted[1].primary[~used] == 1e9).all()


def test_refusals() -> None:
    z = np.zeros(50)
    with pytest.raises(QuantityError):
        profile_low_pass(z, 1.0, 0.0)
    with pytest.raises(MapError, match="below"):
        part_profiles(z, 1.0, shortest=5.0, longest=5.0, edges="cut")
    with pytest.raises(MapError, match="nothing"):
        part_profiles(z, 1.0, shortest=None, longest=50.0, edges="cut")
    with pytest.raises(MapError, match="Edges"):
        part_profiles(z, 1.0, shortest=None, longest=9.0, edges="open")  # type: ignore[arg-type]
