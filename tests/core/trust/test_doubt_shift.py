"""Drift between two repeats of one place."""

from __future__ import annotations

import numpy as np
import pytest

from core.heightmap import HeightMap
from core.synthetic import gaussian_texture, white_noise
from core.trust.doubts.doubt import Doubt
from core.trust.doubts.shift import drift_between
from core.trust.noise.registration import register

PITCH = (1e-8, 1e-8)


def told(first: HeightMap, second: HeightMap) -> Doubt | None:
    rate = first.metadata.get("line_rate")
    return drift_between("first", "second", register(first, second), lines=first.shape[0], line_rate=rate)


def repeats(down: int, across: int, *, rate: float | None = None) -> tuple[HeightMap, HeightMap]:
    rng = np.random.default_rng(9)
    ground = gaussian_texture((200, 200), PITCH, sq=4e-10, length=5e-8, rng=rng)
    metadata = {} if rate is None else {"line_rate": rate}
    cuts = ((30, 30), (30 - down, 30 - across))
    maps = [
        HeightMap(
            ground[y : y + 128, x : x + 128] + white_noise((128, 128), sq=4e-11, rng=rng), PITCH, metadata=metadata
        )
        for y, x in cuts
    ]
    return maps[0], maps[1]


def test_a_shift_beyond_two_points_is_told_with_its_rate() -> None:
    doubt = told(*repeats(3, -4, rate=2.0))
    assert doubt is not None
    assert doubt.level == "amber"
    assert doubt.figures["down_px"] == pytest.approx(3, abs=0.1)
    assert doubt.figures["across_px"] == pytest.approx(-4, abs=0.1)
    assert doubt.figures["rate_m_per_s"] == pytest.approx(5e-8 / 64, rel=0.03)  # 128 lines at 2 Hz
    assert "50 nm" in doubt.message or "50." in doubt.message or "49." in doubt.message


def test_a_small_shift_is_none() -> None:
    assert told(*repeats(1, -1)) is None


def test_unrelated_maps_are_not_judged() -> None:
    first, _ = repeats(0, 0)
    other = gaussian_texture((128, 128), PITCH, sq=4e-10, length=5e-8, rng=np.random.default_rng(77))
    doubt = told(first, HeightMap(other, PITCH))
    assert doubt is not None
    assert doubt.level == "note"
