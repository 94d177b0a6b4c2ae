"""Drift between two repeats of one place."""

from __future__ import annotations

import numpy as np
import pytest

from core.heightmap import HeightMap
from core.synthetic import gaussian_texture, white_noise
from core.trust.doubts.look import Look
from core.trust.doubts.shift import shift_of_repeats

PITCH = (1e-8, 1e-8)


def repeats(down: int, across: int, *, rate: float | None = None) -> tuple[Look, Look]:
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
    return Look(maps[0]), Look(maps[1])


def test_a_shift_beyond_two_points_is_told_with_its_rate() -> None:
    doubt = shift_of_repeats(*repeats(3, -4, rate=2.0))
    assert doubt is not None
    assert doubt.level == "amber"
    assert doubt.figures["down_px"] == pytest.approx(3, abs=0.1)
    assert doubt.figures["across_px"] == pytest.approx(-4, abs=0.1)
    assert doubt.figures["rate_m_per_s"] == pytest.approx(5e-8 / 64, rel=0.03)  # 128 lines at 2 Hz
    assert "50 nm" in doubt.message or "50." in doubt.message or "49." in doubt.message


def test_a_small_shift_is_none() -> None:
    assert shift_of_repeats(*repeats(1, -1)) is None


def test_unrelated_maps_are_not_judged() -> None:
    first, _ = repeats(0, 0)
    other = gaussian_texture((128, 128), PITCH, sq=4e-10, length=5e-8, rng=np.random.default_rng(77))
    doubt = shift_of_repeats(first, Look(HeightMap(other, PITCH)))
    assert doubt is not None
    assert doubt.level == "note"


def test_maps_that_cannot_be_repeats_are_left_alone() -> None:
    first, second = repeats(3, 3)
    assert shift_of_repeats(first, Look(second.raw.with_(pitch=(2e-8, 2e-8)))) is None
    assert shift_of_repeats(first, Look(HeightMap(np.zeros((128, 128)), PITCH))) is None
