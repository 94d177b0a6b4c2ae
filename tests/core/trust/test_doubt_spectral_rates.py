"""How often the spectral doubts are right on the ten clean textures: false alarms and detection.

Expected rates: simulated for this program (bed of core.synthetic.clean_bed). A right program misses fewer than one
plant in thirty at these strengths; of 40 it finds 35 and more but once in 500 (binomial), and of 10 eight.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest

from core.heightmap import FloatArray
from core.synthetic.clean_bed import TEXTURES, CleanMap, clean_map
from core.synthetic.instrument import hum as mains
from core.synthetic.stripes import fringes as stripes
from core.synthetic.stripes import fuzz, wandering_hum
from core.trust.doubts.doubt import Doubt
from core.trust.doubts.fringes import fringes
from core.trust.doubts.hum import hum
from core.trust.doubts.look import Look
from core.trust.doubts.noise_floor import noise_floor
from core.trust.doubts.oscillation import oscillation

Detector = Callable[[Look], Doubt | None]
DETECTORS: tuple[Detector, ...] = (noise_floor, oscillation, hum, fringes)

FUZZ_HIDDEN = {"TE", "L|"}
"""Where all rows are alike the fuzz of 0.2 S is found in 70 and 87 % only: the exceptions."""


def alarm(detector: Detector, look: Look) -> bool:
    doubt = detector(look)
    return doubt is not None and doubt.level != "note"


def drawn(texture: str, seed: int, side: int = 256) -> tuple[CleanMap, np.random.Generator]:
    rng = np.random.default_rng([31, TEXTURES.index(texture), seed, side])
    return clean_map(texture, rng, shape=(side, side)), rng


def planted(clean: CleanMap, rng: np.random.Generator) -> dict[str, tuple[Detector, FloatArray]]:
    shape, s = clean.scan.shape, clean.rough
    true = math.sqrt(s**2 - clean.noise**2)
    noise = 0.57 / math.sqrt(1 - 0.57**2) * true
    frequency = float(rng.choice([50.0, 60.0])) + rng.uniform(-0.05, 0.05)
    return {
        "noise": (noise_floor, math.sqrt(noise**2 - clean.noise**2) * rng.standard_normal(shape)),
        "steady hum": (
            hum,
            mains(
                shape,
                amplitude=math.sqrt(2) * 0.2 * s,
                frequency=frequency,
                line_rate=clean.line_rate,
                phase=rng.uniform(0, 6),
            ),
        ),
        "wandering hum": (
            hum,
            wandering_hum(shape, rms=0.2 * s, frequency=50, line_rate=clean.line_rate, spread=0.02, memory=30, rng=rng),
        ),
        "fuzz": (
            oscillation,
            fuzz(shape, rms=0.2 * s, centre=rng.uniform(0.15, 0.35), width=rng.uniform(0.02, 0.05), rng=rng),
        ),
        "fringes": (
            fringes,
            stripes(shape, rms=0.5 * s, periods=rng.uniform(12, 36), angle=rng.uniform(0, 180), phase=1.0),
        ),
    }


def counts(texture: str, maps: int, side: int = 256) -> tuple[int, dict[str, int]]:
    """False alarms on clean maps of a texture, and how many of each plant were found."""
    alarms, found = 0, dict.fromkeys(("noise", "steady hum", "wandering hum", "fuzz", "fringes"), 0)
    for seed in range(maps):
        clean, rng = drawn(texture, seed, side)
        look = Look(clean.scan)
        alarms += sum(alarm(detector, look) for detector in DETECTORS)
        for name, (detector, added) in planted(clean, rng).items():
            found[name] += alarm(detector, Look(clean.plus(added)))
    return alarms, found


def check(texture: str, maps: int, least: int, most_alarms: int, side: int = 256) -> None:
    alarms, found = counts(texture, maps, side)
    assert alarms <= most_alarms
    if texture in FUZZ_HIDDEN:
        del found["fuzz"]
    assert min(found.values()) >= least, found


@pytest.mark.parametrize("texture", ["G20", "A8", "PA"])
def test_few_alarms_and_all_plants_found(texture: str) -> None:
    check(texture, maps=6, least=4, most_alarms=1)


@pytest.mark.long
@pytest.mark.parametrize("texture", TEXTURES)
def test_rates_of_one_texture(texture: str) -> None:
    check(texture, maps=40, least=34, most_alarms=2)


@pytest.mark.long
@pytest.mark.parametrize("texture", ["A3", "GR", "La"])
def test_the_same_at_128_points(texture: str) -> None:
    check(texture, maps=20, least=15, most_alarms=2, side=128)


@pytest.mark.long
@pytest.mark.parametrize("texture", ["A8", "L="])
def test_the_same_at_1024_points(texture: str) -> None:
    alarms, found = counts(texture, 2, side=1024)
    assert alarms == 0
    assert found["noise"] == found["fuzz"] == 2
