"""Step standards: the worked example of the rule, its bias from bow, noise, tilt and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from core.errors import MapError
from core.fitness.calibration import step_height
from core.heightmap import FloatArray, HeightMap
from core.measures.profiles import Profiles

PITCH = 10e-9
X = np.arange(-450, 451) * PITCH
W = 3e-6


def groove(depth: float = 100e-9, *, slope: float = 0.02, bow: float = 0.0, wall: float = 1e-6) -> FloatArray:
    """Raised-cosine walls from |x| = W/2 − wall/2 to W/2 + wall/2."""
    away = np.clip((np.abs(X) - (W / 2 - wall / 2)) / wall, 0, 1)
    return np.asarray(-depth * (1 + np.cos(np.pi * away)) / 2 + slope * X + 7e-9 + bow * X**2)


def test_worked_example(expected) -> None:  # type: ignore[no-untyped-def]
    """ISO 5436-1 type A1, the rule from memory; value derived here: closed form."""
    found = step_height(Profiles(groove(), PITCH))
    assert -found.height == expected("6.01|depth 2h", unit=1e-9)
    assert found.slope == expected("6.01|tilt", unit=1e-3)
    assert found.edges == pytest.approx((3e-6, 6e-6), abs=PITCH)
    assert found.rms < 1e-18


def test_bias_of_bow(expected) -> None:  # type: ignore[no-untyped-def]
    k = 1e-9 / 1e-12
    bias = -step_height(Profiles(groove(bow=k), PITCH)).height - 100e-9
    assert bias / (k * W**2) == expected("6.02|bias / (k W^2)")


def test_single_step_with_tilt(expected) -> None:  # type: ignore[no-untyped-def]
    """Terraces at 0 and 0.3136 nm, slope 0.02 nm/µm, ramp between −1 and 1 µm."""
    x = np.arange(-400, 401) * PITCH
    z = 0.3136e-9 * np.clip((x + 1e-6) / 2e-6, 0, 1) + 0.02e-3 * x
    found = step_height(Profiles(z, PITCH), kind="step")
    assert found.height == expected("6.03|common-slope fit", unit=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.floats(-200e-9, 200e-9).filter(lambda d: abs(d) > 5e-9), st.floats(-0.05, 0.05), st.floats(0.05e-6, 1.2e-6))
def test_depth_whatever_tilt_and_walls(depth: float, slope: float, wall: float) -> None:
    assume(abs(slope) * wall < abs(depth) / 2)  # a wall that the tilt outweighs is no wall
    found = step_height(Profiles(groove(depth, slope=slope, wall=wall), PITCH))
    assert found.height == pytest.approx(-depth, rel=1e-6)


def test_noise_enters_u_and_the_truth_lies_within() -> None:
    inside = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        z = groove(20e-9)[None, :] + 1e-9 * rng.standard_normal((64, X.size))
        found = step_height(HeightMap(z, pitch=(PITCH, PITCH)))
        assert found.profiles == 64
        inside += abs(-found.height - 20e-9) <= 2.36 * found.u  # t(7), 95 %
    assert inside >= 16  # binomial: P(fewer than 16 of 20 at 95 %) = 0.3 %


def test_columns_and_missing_points() -> None:
    z = np.repeat(groove()[:, None], 12, axis=1)
    z[np.random.default_rng(1).random(z.shape) < 0.1] = np.nan
    found = step_height(HeightMap(z, pitch=(PITCH, PITCH)), along="columns")
    # the mean over the profiles that have a point there: without scatter between them it is exact
    assert -found.height == pytest.approx(100e-9, rel=1e-9)


def test_refusals() -> None:
    with pytest.raises(MapError, match="three widths"):
        step_height(Profiles(groove()[100:-100], PITCH))
    with pytest.raises(MapError, match=r"[Nn]o edge|Only one edge"):
        step_height(Profiles(1e-9 * np.random.default_rng(1).standard_normal(400), PITCH))
    with pytest.raises(MapError, match="at least 20"):
        step_height(Profiles(np.zeros(5), PITCH))
    with pytest.raises(MapError, match="groove or a step"):
        step_height(Profiles(groove(), PITCH), kind="hole")
    with pytest.raises(MapError, match="rows or columns"):
        step_height(Profiles(groove(), PITCH), along="diagonals")


def test_vicinal_face_by_its_numbers(expected) -> None:  # type: ignore[no-untyped-def]
    assert 0.3136e-9 / math.tan(math.radians(0.1)) == expected("6.05|terrace width h/tan(0.1 deg)", unit=1e-9)
