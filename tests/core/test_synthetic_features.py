"""Steps, grains and specks against their closed forms; expected values derived here unless a source is named."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import ndimage

from core.errors import LowreliefError
from core.heightmap import FloatArray
from core.synthetic import grains, single_step, specks, terraces

SILICON = 0.3136e-9  # Si(111): a/√3, d220 of Basile et al., IEEE Trans. Instrum. Meas. 44 (1995) 526
MISCUT = math.radians(0.1)


def staircase(**more: object) -> tuple[FloatArray, FloatArray]:
    """Si(111) cut 0.1° off, climbing along the rows, and the places of the points along the climb."""
    width = SILICON / math.tan(MISCUT)  # 179.68 nm
    pitch = (width / 90, width / 90)  # 20 whole terraces of 90 points
    z = terraces((4, 1800), pitch, step=SILICON, width=width, angle=0, rng=np.random.default_rng(1), **more)  # type: ignore[arg-type]
    return z, (np.arange(1800) - 899.5) * pitch[1]


def test_terrace_width_is_step_over_tangent_of_the_miscut() -> None:
    z, x = staircase()
    edges = x[1:][np.diff(z[0]) > 0]
    assert np.diff(edges).mean() == pytest.approx(179.679382108e-9, rel=1e-6)
    assert np.unique(np.round(np.diff(z[0]) / SILICON, 9)).tolist() == [0.0, 1.0]


def test_a_staircase_without_its_slope_is_a_sawtooth() -> None:
    z, x = staircase()
    saw = z - math.tan(MISCUT) * x
    saw -= saw.mean()
    # Sampling a terrace at 90 points costs 1/(2·90²) = 6e-5 of Sq and Sa and one point in 90 of Sz.
    assert np.sqrt(np.mean(saw**2)) == pytest.approx(SILICON / math.sqrt(12), rel=0.002)
    assert np.mean(np.abs(saw)) == pytest.approx(SILICON / 4, rel=0.002)
    assert np.ptp(saw) == pytest.approx(SILICON, rel=0.02)


@pytest.mark.parametrize("angle", [0.0, 35.0, 90.0, 200.0])
def test_a_staircase_climbs_in_its_direction(angle: float) -> None:
    shape, pitch, width, step = (200, 200), (2e-8, 2e-8), 1.5e-7, 0.2e-9
    z = terraces(shape, pitch, step=step, width=width, angle=angle, waviness=0.1 * width, rng=np.random.default_rng(2))
    y, x = np.mgrid[:200, :200] * pitch[0]
    right, down, _ = np.linalg.lstsq(np.c_[x.ravel(), y.ravel(), np.ones(x.size)], z.ravel(), rcond=None)[0]
    slope = step / width
    # The edges wander: a tenth of a terrace over the map's 27 terraces bends the mean slope by well under 2 %.
    assert right == pytest.approx(slope * math.cos(math.radians(angle)), abs=0.02 * slope)
    assert -down == pytest.approx(slope * math.sin(math.radians(angle)), abs=0.02 * slope)


def test_heights_of_terraces_are_whole_steps_with_no_islands() -> None:
    z = terraces(
        (256, 256), (2e-8, 2e-8), step=0.2e-9, width=4e-7, angle=20, waviness=8e-8, rng=np.random.default_rng(3)
    )
    levels = np.round(z / 0.2e-9)
    assert np.allclose(levels * 0.2e-9, z, rtol=0, atol=1e-20)
    for level in np.unique(levels):
        assert ndimage.label(levels == level)[1] == 1


@pytest.mark.parametrize("offset", [0.0, 0.3e-6, -0.45e-6])
def test_rms_of_a_single_step(offset: float) -> None:
    z = single_step((400, 400), (5e-9, 5e-9), height=0.335e-9, angle=0, offset=offset, rng=np.random.default_rng(4))
    up = 0.5 - offset / 2e-6  # share above the edge; the edge lies between rows, so the share is exact
    assert set(np.unique(z)) == {0.0, 0.335e-9}
    assert z[0, 0] > z[-1, 0]  # to the left of a direction that points right is up
    assert z.mean() == pytest.approx(0.335e-9 * up, rel=1e-9)
    assert z.std() == pytest.approx(0.335e-9 * math.sqrt(up * (1 - up)), rel=1e-9)


def test_a_wandering_step_stays_one_edge() -> None:
    z = single_step(
        (256, 256), (2e-8, 2e-8), height=0.335e-9, angle=70, waviness=1e-7, length=1e-6, rng=np.random.default_rng(5)
    )
    assert ndimage.label(z > 0)[1] == 1
    assert ndimage.label(z == 0)[1] == 1


def test_grains_have_the_rms_and_the_density_asked_for() -> None:
    pitch, diameter = (5e-9, 5e-9), 8e-8
    z = grains((400, 400), pitch, sq=0.4e-9, diameter=diameter, rng=np.random.default_rng(6), unevenness=0.0)
    assert np.sqrt(np.mean(z**2)) == pytest.approx(0.4e-9, rel=1e-9)
    tops = (z == ndimage.maximum_filter(z, 5)) & (z > np.quantile(z, 0.5))
    # Without unevenness every dome is one grain; a seed's cell rises to its dome unless it is tiny or cut by the edge.
    expected = (400 * pitch[0]) ** 2 / (math.pi / 4 * diameter**2)
    assert ndimage.label(tops)[1] == pytest.approx(expected, rel=0.25)


def test_volume_and_places_of_specks() -> None:
    pitch = (2e-9, 2e-9)
    z, truth = specks(
        (500, 500), pitch, count=12, diameter=(4e-8, 6e-8), height=(8e-9, 15e-9), rng=np.random.default_rng(7)
    )
    labels, found = ndimage.label(z > 0)
    assert found == len(truth) == 12
    volume = sum(math.pi * speck.height * speck.diameter**2 / 8 for speck in truth)
    assert z.sum() * pitch[0] * pitch[1] == pytest.approx(volume, rel=0.002)
    centres = (
        np.array(ndimage.center_of_mass(z, labels, range(1, 13))) + 0.5
    )  # from the outer corner of the first point
    for speck in truth:
        gap = np.hypot(centres[:, 0] * pitch[0] - speck.y, centres[:, 1] * pitch[1] - speck.x)
        assert gap.min() < 0.2 * pitch[0]  # the lattice cuts an edge of twenty points: a fraction of one point
        top = z[labels == gap.argmin() + 1].max()
        lost = speck.height * (pitch[0] ** 2 + pitch[1] ** 2) / speck.diameter**2
        assert speck.height - lost <= top <= speck.height


def test_specks_by_density_follow_poisson() -> None:
    density = 5 / 6.4e-7**2
    counts = []
    for i in range(200):
        rng = np.random.default_rng(i)
        counts.append(len(specks((64, 64), (1e-8, 1e-8), density=density, diameter=3e-8, height=1e-8, rng=rng)[1]))
    # Mean of 200 Poisson(5) counts: standard error √(5/200) = 0.16; four of those. Variance the same within 1/√100 · 4.
    assert np.mean(counts) == pytest.approx(5, abs=0.64)
    assert np.var(counts, ddof=1) == pytest.approx(5, rel=0.4)


@pytest.mark.parametrize(
    "make",
    [
        lambda rng: terraces((8, 8), (1e-8, 1e-8), step=0.0, width=4e-8, angle=0, rng=rng),
        lambda rng: terraces((8, 8), (1e-8, 1e-8), step=1e-10, width=4e-8, angle=0, waviness=2e-8, rng=rng),
        lambda rng: single_step((8, 8), (1e-8, 1e-8), height=-1e-10, angle=0, rng=rng),
        lambda rng: grains((8, 8), (1e-8, 1e-8), sq=1e-9, diameter=0.0, rng=rng),
        lambda rng: specks((8, 8), (1e-8, 1e-8), diameter=3e-8, height=1e-8, rng=rng),
        lambda rng: specks((8, 8), (1e-8, 1e-8), count=1, density=1.0, diameter=3e-8, height=1e-8, rng=rng),
        lambda rng: specks((8, 8), (1e-8, 1e-8), count=1, diameter=1e-7, height=1e-8, rng=rng),
        lambda rng: specks((8, 8), (1e-8, 1e-8), count=50, diameter=3e-8, height=1e-8, rng=rng),
        lambda rng: specks((8, 8), (1e-8, 1e-8), count=1, diameter=3e-8, height=(2e-8, 1e-8), rng=rng),
    ],
)  # fmt: skip
def test_bad_wishes_are_refused(make) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(LowreliefError):
        make(np.random.default_rng(8))
