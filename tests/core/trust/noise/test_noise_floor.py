"""Floors: whether they are white, where they may be carried, how several become one."""

from __future__ import annotations

import math

import numpy as np
import pytest

from core.errors import MapError
from core.heightmap import HeightMap
from core.synthetic import row_offsets
from core.treatment import Treatment
from core.treatment.frame import Frame
from core.trust.noise.alignment import align
from core.trust.noise.covariance import covariance
from core.trust.noise.floor import NoiseFloor, carried, from_plateau, from_reference, from_repeats, pooled
from core.trust.noise.registration import Shift
from core.trust.noise.share import is_white, noise_share

PITCH = (1e-9, 1e-9)


def floor(value=1e-10, *, band=(None, None), pitch=PITCH, white=True, u=0.03, **more):
    return NoiseFloor(value, u, "repeats", ("a", "b"), band, (128, 128), pitch, white, **more)


def unmoved(one, other):
    return align([one, other], shifts=[Shift(0.0, 0.0, one.pitch, 99.0, registered=True)])


@pytest.mark.parametrize("band", [("5 nm", None), (None, "40 nm"), ("5 nm", "40 nm")])
@pytest.mark.parametrize("pitch", [(1e-9, 1e-9), (1e-9, 2e-9)])
def test_share_is_what_filters_leave_of_white_noise(band, pitch) -> None:
    step = {"do": "band"} | {key: value for key, value in zip(("shortest", "longest"), band, strict=True) if value}
    treatment = Treatment.from_list([step])
    scan = HeightMap(np.random.default_rng(1).standard_normal((400, 400)), pitch)
    limits = treatment.limits
    # as many independent points as the filter leaves: 400² × share; the scatter of a variance is √(2/n)
    share = noise_share(pitch, limits)
    assert treatment.apply(scan).z.var() == pytest.approx(share, rel=4 * math.sqrt(2 / (400 * 300 * share)))


def test_share_closed_form() -> None:
    """Gaussian low-pass of λ = 12 points: π/(2 ln 2 λ²), to the sum of its aliases."""
    assert noise_share(PITCH, (12e-9, None)) == pytest.approx(math.pi / (2 * math.log(2) * 144), rel=1e-4)


def test_white_noise_is_white_and_others_are_not(make_repeats) -> None:
    rng = np.random.default_rng(2)
    verdicts = {"white": 0, "offsets": 0, "texture": 0}
    for _ in range(12):
        white = [HeightMap(rng.standard_normal((128, 128)), PITCH) for _ in range(2)]
        verdicts["white"] += is_white(unmoved(*white), (None, None))
        offsets = [scan.with_(z=scan.z + row_offsets(scan.shape, sq=0.5, rng=rng)) for scan in white]
        verdicts["offsets"] += is_white(unmoved(*offsets), (None, None))
        textures = [make_repeats(rng, noise=0.1)[0][0] for _ in range(2)]
        verdicts["texture"] += is_white(unmoved(*textures), (None, None))
    assert verdicts == {"white": 12, "offsets": 0, "texture": 0}


def test_white_in_a_band() -> None:
    treatment = Treatment.from_list([{"do": "band", "shortest": "5 nm", "longest": "32 nm"}])
    rng = np.random.default_rng(3)
    maps = [treatment.apply(HeightMap(rng.standard_normal((160, 160)), PITCH)) for _ in range(2)]
    assert is_white(unmoved(*maps), treatment.limits)


def test_from_repeats(make_repeats) -> None:
    maps, _ = make_repeats(np.random.default_rng(4), noise=0.5)
    aligned = align(maps)
    found = from_repeats(aligned, covariance(aligned), (None, None))
    assert found.low < 0.5e-9 < found.high
    assert found.white
    assert not found.upper_limit
    assert found.scans == ("scan 1", "scan 2")
    assert 0.025 <= found.u < 0.05
    assert found.describe().startswith("N = 0.5")


def test_two_places_are_no_repeats(make_repeats) -> None:
    rng = np.random.default_rng(5)
    maps = [make_repeats(rng, noise=0.1)[0][0] for _ in range(2)]
    aligned = align(maps)
    found = from_repeats(aligned, covariance(aligned), (None, None))
    assert found.upper_limit
    assert found.low == 0.0
    assert "two places" in found.note


def test_nothing_above_noise_is_a_floor_without_registration() -> None:
    rng = np.random.default_rng(6)
    aligned = align([HeightMap(1e-10 * rng.standard_normal((128, 128)), PITCH) for _ in range(2)])
    found = from_repeats(aligned, covariance(aligned), (None, None))
    assert not aligned.registered
    assert not found.upper_limit
    assert found.value == pytest.approx(1e-10, rel=0.03)


def test_reference_reads_its_own_rms() -> None:
    scan = HeightMap(2e-10 * np.random.default_rng(7).standard_normal((64, 64)) + 5e-9, PITCH, name="mica")
    found = from_reference(scan, (None, None))
    assert found.value == pytest.approx(float(scan.z.std()), rel=1e-9)
    assert (found.method, found.scans) == ("reference", ("mica",))
    with pytest.raises(MapError, match="No point"):
        from_reference(scan.with_(z=np.full((4, 4), np.nan)), (None, None))


def test_plateau_is_an_upper_limit(make_repeats) -> None:
    (scan, _), _ = make_repeats(np.random.default_rng(8), length=6, noise=0.3)
    found = from_plateau(scan, (None, None))
    assert found.upper_limit
    assert found.value == pytest.approx(0.3e-9, rel=0.1)
    assert from_plateau(scan, (5e-9, None)) is None
    assert from_plateau(HeightMap(np.zeros((64, 64)), PITCH), (None, None)) is None


def test_same_lattice_takes_it_as_it_is() -> None:
    assert carried(floor(white=False), Frame((64, 64), PITCH), (None, None)).value == 1e-10


def test_carried_to_another_pixel_and_band() -> None:
    """Measured: white noise of one RMS per point, filtered at 10 nm on pixels of 1 and 2 nm."""
    rng = np.random.default_rng(9)
    treatment = Treatment.from_list([{"do": "band", "shortest": "10 nm"}])
    fine, coarse = (HeightMap(rng.standard_normal((300, 300)), (step, step)) for step in (1e-9, 2e-9))
    measured = floor(float(treatment.apply(fine).z.std()), band=treatment.limits)
    found = carried(measured, coarse, treatment.limits)
    assert found.value == pytest.approx(float(treatment.apply(coarse).z.std()), rel=0.06)
    assert found.u >= 0.15
    assert "carried" in found.note


@pytest.mark.parametrize(
    ("have", "want"),
    [
        ((5e-9, None), (None, None)),
        ((5e-9, None), (2e-9, None)),
        ((None, 4e-8), (None, None)),
        ((None, 4e-8), (None, 8e-8)),
    ],
)
def test_narrower_band_is_refused(have, want) -> None:
    with pytest.raises(MapError, match="narrower band"):
        carried(floor(band=have), Frame((64, 64), PITCH), want)


def test_wider_band_is_carried_when_white() -> None:
    found = carried(floor(), Frame((64, 64), PITCH), (5e-9, None))
    assert found.value == pytest.approx(1e-10 * math.sqrt(noise_share(PITCH, (5e-9, None))))
    with pytest.raises(MapError, match="not white"):
        carried(floor(white=False), Frame((64, 64), PITCH), (5e-9, None))


def test_pooled() -> None:
    found = pooled([floor(1e-10), floor(2e-10)])
    assert found.value == pytest.approx(math.sqrt(2.5) * 1e-10)
    assert found.u == pytest.approx(math.log(2) / math.sqrt(2) * math.sqrt(1.5))
    assert pooled([floor()]) == floor()
    assert pooled([floor(), floor()]).u == 0.03
