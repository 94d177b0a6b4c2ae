"""The six carriers and the instrument: what is planted in every sample scan."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from core import synthetic
from core.heightmap import FloatArray, HeightMap
from core.synthetic import Speck
from core.synthetic.lattice import Pitch, Shape

SEED = 20260301
"""The seed of the samples that come with the program."""

POINTS = 256
WIDE, CLOSE = 5e-6, 2e-6
MAINS = 50.0
SAPPHIRE_STEP = 12.99e-10 / 6  # c-plane, c/6; lattice constant from memory
GRAPHITE_STEP = 6.711e-10 / 2  # c/2; P. Trucano, R. Chen, Nature 258 (1975) 136

CONVERTER_STEP = 2.0**-39
"""Metres: 16 bit over a z range of 119 nm. A power of two, so that every height is exact in single precision too."""

INVENTED = "Invented data, computed by lowrelief; no such specimen was measured."


@dataclass(frozen=True, slots=True)
class Truth:
    """What was planted in one scan, SI.

    Attributes
    ----------
    surface : float
        Sq of the surface alone, its mean plane taken off.
    noise, rows, hum, bow : float
        RMS that the instrument adds: white noise, row offsets, mains hum, scanner bow (its plane taken off).
    hum_frequency : float
        Hz; 0 where there is no hum.
    steps : tuple of float
        Heights of the crystal steps: one value for a staircase of equal steps, one for each single step.
    terrace : float
        Mean terrace width; 0 where there is no staircase.
    specks : tuple of Speck
        Planted specks.
    missing : int
        Points without a height.
    """

    surface: float = 0.0
    noise: float = 0.0
    rows: float = 0.0
    hum: float = 0.0
    bow: float = 0.0
    hum_frequency: float = 0.0
    steps: tuple[float, ...] = ()
    terrace: float = 0.0
    specks: tuple[Speck, ...] = ()
    missing: int = 0

    @property
    def sq(self) -> float:
        """Sq that a levelled scan should show: surface and instrument are independent, so their squares add up."""
        parts = (self.surface, self.noise, self.rows, self.hum, self.bow)
        return float(np.sqrt(sum(part**2 for part in parts)))


class Sample(NamedTuple):
    """One invented scan.

    Attributes
    ----------
    specimen, spot : str
        As in its sidecar.
    scan : HeightMap
        As recorded: tilted, noisy, not treated.
    truth : Truth
        What was planted.
    """

    specimen: str
    spot: str
    scan: HeightMap
    truth: Truth


@dataclass(frozen=True, slots=True)
class _Spot:
    """One place on a carrier: where the points lie, how rough it is beside the others, and its own random numbers."""

    number: int
    shape: Shape
    pitch: Pitch
    factor: float
    close: bool
    rng: np.random.Generator

    @property
    def side(self) -> float:
        return self.shape[1] * self.pitch[1]


@dataclass(frozen=True, slots=True)
class _Carrier:
    """One specimen of the scenario, and how the instrument behaved on it."""

    name: str
    surface: Callable[[_Spot], tuple[FloatArray, Truth]]
    factors: tuple[float, float, float]  # roughness of the spots beside each other: 5 to 15 % apart
    rows: float  # RMS of the row offsets, metres
    line_rate: float  # Hz
    date: str
    sag: float = 0.1e-9  # scanner bow over a 5 µm scan, metres: the same scanner bends under every carrier


def _sapphire(spot: _Spot) -> tuple[FloatArray, Truth]:
    """Terraces of single steps after annealing, with a trace of adsorbate on them."""
    width = 390e-9 * float(spot.rng.uniform(0.92, 1.08))
    staircase = synthetic.terraces(
        spot.shape,
        spot.pitch,
        step=SAPPHIRE_STEP,
        width=width,
        angle=24 + float(spot.rng.uniform(-4, 4)),
        waviness=0.14 * width,
        rng=spot.rng,
    )
    dirt = _texture(spot, sq=0.032e-9 * spot.factor, hurst=0.4, roll_off=150e-9)
    return staircase + dirt, Truth(steps=(SAPPHIRE_STEP,), terrace=width)


def _graphite(spot: _Spot) -> tuple[FloatArray, Truth]:
    """Nearly flat, crossed by one or two cleavage steps of one or two layers."""
    cleavage = {
        1: ((1, 66.0, 0.46),),
        2: ((1, 118.0, -0.24), (1, 112.0, 0.21)),
        3: ((2, 38.0, -0.48),),
    }[spot.number]
    surface = _texture(spot, sq=0.034e-9 * spot.factor, hurst=0.7, roll_off=1.2e-6)
    for layers, angle, offset in cleavage:
        surface = surface + synthetic.single_step(
            spot.shape,
            spot.pitch,
            height=layers * GRAPHITE_STEP,
            angle=angle,
            offset=offset * spot.side,
            waviness=0.03 * spot.side,
            length=0.35 * spot.side,
            rng=spot.rng,
        )
    return surface, Truth(steps=tuple(layers * GRAPHITE_STEP for layers, _, _ in cleavage))


def _gold(spot: _Spot) -> tuple[FloatArray, Truth]:
    """Small grains side by side on the gentle waves of the template they were stripped from."""
    film = synthetic.grains(spot.shape, spot.pitch, sq=0.37e-9 * spot.factor, diameter=45e-9, rng=spot.rng)
    return film + _texture(spot, sq=0.15e-9 * spot.factor, hurst=0.8, roll_off=0.8e-6), Truth()


def _glass(spot: _Spot) -> tuple[FloatArray, Truth]:
    """Fire-polished glass with specks that the cleaning left: about one on each square micrometre."""
    area = spot.side**2
    dirt, specks = synthetic.specks(
        spot.shape,
        spot.pitch,
        count=max(3, round(area / 25e-12 * spot.rng.integers(18, 25))),
        diameter=(42e-9, 64e-9),
        height=(8e-9, 15e-9),
        rng=spot.rng,
    )
    return _texture(spot, sq=0.44e-9 * spot.factor, hurst=0.55, roll_off=0.7e-6) + dirt, Truth(specks=specks)


def _film(spot: _Spot) -> tuple[FloatArray, Truth]:
    """A spun polymer film: long waves, smooth when looked at closely."""
    return _texture(spot, sq=1.12e-9 * spot.factor, hurst=0.9, roll_off=2e-6), Truth()


def _steel(spot: _Spot) -> tuple[FloatArray, Truth]:
    """Lapped steel: two sets of scratches a few degrees apart, and a little roughness between them."""
    rough = np.zeros(spot.shape)
    for share, across, angle in ((1.0, 0.6e-6, 107.0), (0.5, 0.25e-6, 112.5)):
        rough += synthetic.lapping(
            spot.shape,
            spot.pitch,
            sq=share,
            across=across,
            along=5e-6,
            angle=angle + float(spot.rng.uniform(-1.5, 1.5)),
            rng=spot.rng,
        )
    rough += synthetic.self_affine(spot.shape, spot.pitch, sq=0.12, hurst=0.6, roll_off=0.3e-6, rng=spot.rng)
    return synthetic.normalised(rough, sq=5.5e-9 * spot.factor), Truth()


CARRIERS = (
    _Carrier("annealed sapphire", _sapphire, (1.10, 0.86, 1.0), 0.003e-9, 0.97, "2026-03-02"),
    _Carrier("cleaved graphite", _graphite, (0.93, 1.08, 1.0), 0.003e-9, 0.97, "2026-03-02"),
    _Carrier("stripped gold", _gold, (1.0, 0.94, 1.07), 0.012e-9, 0.97, "2026-03-02"),
    _Carrier("cover glass", _glass, (0.93, 1.0, 1.09), 0.015e-9, 0.97, "2026-03-03"),
    # The film sheet lies off the middle of the scanner's range, where its bow is larger.
    _Carrier("polymer film", _film, (1.08, 0.90, 1.0), 0.04e-9, 0.97, "2026-03-03", sag=2e-9),
    _Carrier("lapped steel", _steel, (0.95, 1.06, 1.0), 0.1e-9, 0.97, "2026-03-03"),
)

HUMMING = ("stripped gold", 2)  # the scan with mains hum
HUM = 0.075e-9  # its amplitude, metres
GAPPED = ("polymer film", 3)  # the scan with missing points
GAPS = 9
CLOSE_UPS = (
    ("annealed sapphire", 1),
    ("annealed sapphire", 2),
    ("stripped gold", 1),
    ("stripped gold", 3),
    ("cover glass", 2),
)


def carriers(rng_seed: int = SEED) -> list[Sample]:
    """The eighteen main scans: six carriers, three spots each, 5 µm × 5 µm, 256 × 256 points.

    Parameters
    ----------
    rng_seed : int
        Each scan draws from its own generator, seeded by this number, the carrier and the spot.

    Returns
    -------
    list of Sample
        By carrier, then by spot.

    Examples
    --------
    >>> [sample.specimen for sample in carriers()][::3]
    ['annealed sapphire', 'cleaved graphite', 'stripped gold', 'cover glass', 'polymer film', 'lapped steel']
    """
    return [_sample(carrier, number, WIDE, rng_seed) for carrier in CARRIERS for number in (1, 2, 3)]


def close_ups(rng_seed: int = SEED) -> list[Sample]:
    """Five close-ups of three of the carriers, 2 µm × 2 µm, 256 × 256 points; parameters as in `carriers`."""
    by_name = {carrier.name: carrier for carrier in CARRIERS}
    return [_sample(by_name[name], number, CLOSE, rng_seed) for name, number in CLOSE_UPS]


def _texture(spot: _Spot, *, sq: float, hurst: float, roll_off: float) -> FloatArray:
    """A self-affine texture with an RMS that is exact for this spot: the spread between spots is the planted one."""
    rough = synthetic.self_affine(spot.shape, spot.pitch, sq=sq, hurst=hurst, roll_off=roll_off, rng=spot.rng)
    return synthetic.normalised(rough, sq=sq)


def _sample(carrier: _Carrier, number: int, side: float, seed: int) -> Sample:
    close = side == CLOSE
    rng = np.random.default_rng([seed, CARRIERS.index(carrier), number, int(close)])
    spot = _Spot(number, (POINTS, POINTS), (side / POINTS, side / POINTS), carrier.factors[number - 1], close, rng)
    surface, truth = carrier.surface(spot)
    heights, truth = _recorded(carrier, spot, surface, replace(truth, surface=_rms(surface)))
    told = f"close-up {number}" if close else f"spot {number}"
    name = f"{carrier.name} {told}".replace(" ", "-")
    return Sample(carrier.name, told, HeightMap(heights, spot.pitch, name, metadata=_metadata(carrier, told)), truth)


def _recorded(carrier: _Carrier, spot: _Spot, surface: FloatArray, truth: Truth) -> tuple[FloatArray, Truth]:
    """The surface as the instrument records it, and what the instrument added."""
    rng, shape = spot.rng, spot.shape
    slopes = rng.uniform(8e-9, 22e-9, 2) * rng.choice((-1, 1), 2) / spot.side
    sag = carrier.sag * (spot.side / WIDE) ** 2 * float(rng.uniform(0.9, 1.1))
    bow = synthetic.bow(shape, across=sag)
    noise = synthetic.white_noise(shape, sq=float(rng.uniform(0.030e-9, 0.038e-9)), rng=rng)
    rows = synthetic.row_offsets(shape, sq=carrier.rows, rng=rng)
    heights = surface + synthetic.tilt(shape, spot.pitch, down=float(slopes[0]), across=float(slopes[1]))
    heights = heights + bow + noise + rows
    truth = replace(truth, bow=_rms(bow), noise=float(noise.std()), rows=float(rows.std()))
    if (carrier.name, spot.number) == HUMMING and not spot.close:
        stripes = synthetic.hum(shape, amplitude=HUM, frequency=MAINS, line_rate=carrier.line_rate)
        heights = heights + stripes
        truth = replace(truth, hum=float(stripes.std()), hum_frequency=MAINS)
    heights = np.round(heights / CONVERTER_STEP) * CONVERTER_STEP
    if (carrier.name, spot.number) == GAPPED and not spot.close:
        heights = synthetic.missing(heights, count=GAPS, rng=rng)
        truth = replace(truth, missing=GAPS)
    return heights, truth


def _metadata(carrier: _Carrier, spot: str) -> Mapping[str, str | float]:
    return MappingProxyType(
        {
            "specimen": carrier.name,
            "spot": spot,
            "instrument": "invented",
            "date": carrier.date,
            "line_rate": carrier.line_rate,
            "probe_radius": 8e-9,
            "direction": "trace",
            "note": INVENTED,
        }
    )


def _rms(heights: FloatArray) -> float:
    """Sq without the mean plane, metres."""
    return float(np.std(synthetic.without_plane(heights)))
