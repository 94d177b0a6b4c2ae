"""Gratings: pitch within 0.01 px, angle, factors of the pixel sizes, and the record.

Expected values are those of the gratings as drawn here (closed form). Tolerances: 0.01 points of a period, what the
method promises; factors within 0.01 points over the points of a period.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from core.errors import MapError
from core.fitness.calibration import Calibration, StepHeight, gratings
from core.heightmap import HeightMap
from core.synthetic.lattice import turned

PX = (1e-8, 1e-8)


def lines(period: float, angle: float, *, n: int = 256, noise: float = 0.0, seed: int = 0, shape: str = "square",
          x: float = 1.0, y: float = 1.0) -> HeightMap:  # fmt: skip
    """A grating of this period (pixels) measured by an instrument whose factors are x and y."""
    along, _ = turned((n, n), (PX[0] * y, PX[1] * x), angle)
    wave = np.sin(2 * np.pi * along / (period * 1e-8) + 0.7)
    z = 20e-9 * (np.clip(4 * wave, -1, 1) if shape == "square" else wave)
    return HeightMap(z + noise * np.random.default_rng(seed).standard_normal((n, n)), PX)


@pytest.mark.parametrize("shape", ["sine", "square"])
@pytest.mark.parametrize("angle", [0.0, 1.3, -7.0, 40.0, 90.0, 88.0])
@pytest.mark.parametrize("period", [7.3, 12.0, 20.37, 33.3])
def test_pitch_within_a_hundredth_of_a_pixel(period: float, angle: float, shape: str) -> None:
    (found,) = gratings(lines(period, angle, noise=2e-9, shape=shape), 1.05 * period * 1e-8)
    assert found.period == pytest.approx(period * 1e-8, abs=0.01e-8)
    turned_by = (found.angle - angle + 90) % 180 - 90
    assert abs(turned_by) < 0.02


def test_uncertainty_covers_the_error() -> None:
    inside = 0
    for seed in range(20):
        (found,) = gratings(lines(20.37, 2.0, noise=40e-9, seed=seed), 20e-8)
        assert 0 < found.u < 3e-3
        inside += abs(found.period / 20.37e-8 - 1) <= 3.18 * found.u  # t(3), 95 %
    assert inside >= 16


def test_one_set_of_lines_gives_one_factor() -> None:
    period = 25.0
    record = Calibration().with_gratings(gratings(lines(period, 0.8, x=1.04), period * 1e-8), period * 1e-8, 0.1e-8)
    assert record.x == pytest.approx(1.04, abs=4e-4)  # 0.01 px of 25
    assert (record.y, record.u_y) == (1.0, 0.0)
    assert record.u_x == pytest.approx(0.1 / 25, rel=0.05)
    upright = Calibration().with_gratings(gratings(lines(period, 90.5, y=0.97), period * 1e-8), period * 1e-8)
    assert upright.y == pytest.approx(0.97, abs=4e-4)


def test_two_sets_give_both_factors_and_the_angle_between_the_axes() -> None:
    period, turn = 18.0, 3.0
    both = [lines(period, turn + right, x=1.03, y=0.96) for right in (0.0, 90.0)]
    dots = HeightMap(both[0].z + both[1].z, PX)
    found = gratings(dots, period * 1e-8, count=2)
    assert len(found) == 2
    record = Calibration(instrument="AFM 2", probe="P7", date="2026-11-02", standard="G 4").with_gratings(
        found, period * 1e-8
    )
    assert (record.x, record.y) == pytest.approx((1.03, 0.96), abs=6e-4)
    assert record.angle == pytest.approx(90, abs=0.1)
    again = record.step.apply(dots)
    assert again.pitch == pytest.approx((0.96e-8, 1.03e-8), rel=6e-4)
    assert [one.period for one in gratings(again, period * 1e-8, count=2)] == pytest.approx([18e-8, 18e-8], rel=6e-4)


def test_missing_points_do_not_matter_much() -> None:
    scan = lines(20.37, 4.0)
    z = scan.z.copy()
    z[np.random.default_rng(2).random(z.shape) < 0.05] = np.nan
    z[100:104] = np.nan
    (found,) = gratings(scan.with_(z=z), 20e-8)
    assert found.period == pytest.approx(20.37e-8, abs=0.01e-8)


def test_record_of_a_step_standard() -> None:
    found = StepHeight(height=-97e-9, slope=0.0, edges=(1e-6, 4e-6), rms=0.0, u=0.2e-9, profiles=256)
    record = Calibration(standard="S 1").with_step(found, 100e-9, 0.5e-9)
    assert record.z == pytest.approx(100 / 97)
    assert record.u_z == pytest.approx(math.hypot(0.5 / 100, 0.2 / 97))
    assert record.certified_step == 100e-9
    assert record.step.standard == "S 1"
    with pytest.raises(MapError, match="above 0"):
        record.with_step(found, 0.0)


def test_refusals() -> None:
    scan = lines(20.0, 0.0)
    with pytest.raises(MapError, match="fewer than 4 periods"):
        gratings(scan, 1e-6)
    with pytest.raises(MapError, match="fewer than 3 pixels"):
        gratings(scan, 2e-8)
    with pytest.raises(MapError, match="stands out"):
        gratings(scan.with_(z=1e-9 * np.random.default_rng(1).standard_normal(scan.shape)), 20e-8)
    with pytest.raises(MapError, match="second set"):
        gratings(scan, 20e-8, count=2)
    with pytest.raises(MapError, match="positive"):
        gratings(scan, -1.0)
    with pytest.raises(MapError, match="one or two"):
        gratings(scan, 20e-8, count=3)
    one = gratings(lines(20.0, 45.0), 20e-8)[0]
    with pytest.raises(MapError, match="45"):
        Calibration().with_gratings([one, one], 20e-8)
