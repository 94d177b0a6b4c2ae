"""Verdicts at and around the limits, and the sentences that say them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import linprog

from core.bench import Stated
from core.errors import ClaimError
from core.fitness.claims import decide, judge, judge_all
from core.fitness.claims.claim import Aperture
from core.fitness.claims.evidence import pixel_noise
from core.fitness.claims.form import without_power
from core.fitness.claims.reach import covers, cropped, extent, reach_of
from core.heightmap import Entry, FloatArray, HeightMap
from core.synthetic import gaussian_texture, tilt

S, NC, NS, C, NT = "supported", "not contradicted", "not supported", "contradicted", "not testable here"

DECISIONS = [
    # value, U, limit, rule, verdict; the limit is that of λ/10 at 632.8 nm, 63.28 nm
    (50.0, 8.0, 63.28, "guarded", S),
    (55.28, 8.0, 63.28, "guarded", S),  # 11.03 of the reference values: accepted up to limit − U = 55.28
    (55.29, 8.0, 63.28, "guarded", NC),
    (61.0, 8.0, 63.28, "guarded", NC),
    (63.28, 8.0, 63.28, "guarded", NC),
    (63.29, 8.0, 63.28, "guarded", NS),
    (71.28, 8.0, 63.28, "guarded", NS),
    (71.29, 8.0, 63.28, "guarded", C),
    (100.0, 8.0, 63.28, "guarded", C),
    (63.28, 0.0, 63.28, "guarded", S),
    (63.28 * (1 + 1e-12), 0.0, 63.28, "guarded", S),  # rounding is no excess
    (63.28 * (1 + 1e-6), 0.0, 63.28, "guarded", C),
    (50.0, None, 63.28, "guarded", NC),
    (70.0, None, 63.28, "guarded", NS),
    (63.28, 8.0, 63.28, "simple", S),
    (63.29, 8.0, 63.28, "simple", C),
    (55.0, None, 63.28, "simple", S),
    (70.0, None, 63.28, "simple", C),
]


@pytest.mark.parametrize(("value", "half", "limit", "rule", "verdict"), DECISIONS)
def test_decision(value: float, half: float | None, limit: float, rule: str, verdict: str) -> None:
    low, high = (None, None) if half is None else (value - half, value + half)
    assert decide(value, low, high, limit, rule) == verdict


def small(pv: float, side: float = 10e-6, n: int = 64, *, noise: float = 0.0) -> HeightMap:
    """A scan whose smooth relief, a product of waves, has this peak to valley about its plane."""
    phase = 2 * np.pi * (np.arange(n) + 0.5) / n * 2
    z = np.cos(phase)[:, None] * np.cos(phase)[None, :]
    z = z * pv / np.ptp(z) + noise * np.random.default_rng(5).standard_normal((n, n))
    return HeightMap(z, pitch=(side / n, side / n), name="small")


def face(height: float, n: int = 51, side: float = 25e-3, *, kind: str = "wave") -> HeightMap:
    """A whole face: PV or, for a bowl, power of this height."""
    u = np.linspace(-1, 1, n)
    if kind == "bowl":
        z = height / 2 * (u[:, None] ** 2 + u[None, :] ** 2)
    else:
        wave = np.cos(2 * np.pi * u)
        z = height * wave[None, :] / np.ptp(wave) * np.ones(n)[:, None]
    return HeightMap(z + 3e-6 * u[None, :], pitch=(side / n, side / n), name="face")


def texture(sq: float, n: int = 256, side: float = 10e-6, seed: int = 1) -> HeightMap:
    rng = np.random.default_rng(seed)
    z = gaussian_texture((n, n), (side / n, side / n), sq=sq, length=200e-9, rng=rng)
    z *= sq / z.std()
    return HeightMap(z + tilt((n, n), (side / n, side / n), down=1e-3, across=2e-3), pitch=(side / n, side / n))


WAVE = "PV <= lambda/20 @ 632.8nm over 25mm"
CASES = [
    # a scan of 10 µm against λ/20 over 25 mm: never supported, however flat
    ([small(1e-12)], WAVE, "guarded", NT),
    ([small(1e-12)], WAVE, "simple", NT),
    ([small(31e-9)], WAVE, "guarded", NT),
    ([small(31.64e-9 * 0.999)], WAVE, "guarded", NT),
    ([small(40e-9)], WAVE, "guarded", C),
    ([small(40e-9)], WAVE, "simple", C),
    ([small(40e-9, noise=5e-9)], WAVE, "guarded", C),
    ([small(33e-9, noise=0.0), small(5e-9)], WAVE, "guarded", C),  # one spot over the limit is enough
    ([small(33e-9)], "PV <= lambda/20 @ 632.8nm", "guarded", C),  # no aperture stated
    ([small(31e-9)], "PV <= lambda/20 @ 632.8nm", "guarded", NT),
    ([small(50e-9)], "PV <= lambda/20 over 25mm", "guarded", NT),  # no wavelength stated
    ([small(33e-9)], "PV <= lambda/10 wavefront @ 632.8nm over 25mm", "guarded", C),  # half of λ/10 is λ/20
    ([small(33e-9)], "PV <= lambda/10 @ 632.8nm over 25mm", "guarded", NT),
    ([small(33e-9)], "PV <= lambda/20 @ 546.1nm over 25mm", "guarded", C),
    ([small(29e-9)], "PV <= lambda/20 @ 546.1nm over 25mm", "guarded", C),  # 27.3 nm; at 632.8 nm it would pass
    ([small(29e-9)], WAVE, "guarded", NT),
    ([small(50e-9)], "RMS <= 1nm over 25mm", "guarded", NT),  # RMS of a part bounds nothing
    ([small(50e-9)], "PVr <= 1nm over 25mm", "guarded", NT),
    ([small(60e-9)], "ISO 3650 grade K 10 mm", "guarded", C),
    ([small(40e-9)], "ISO 3650 grade K 10 mm", "guarded", NT),
    ([small(60e-9)], "ISO 3650 grade 0 10 mm", "guarded", NT),
    ([face(40e-9, side=10e-6, kind="bowl")], WAVE, "guarded", NS),  # bow may be the scanner's
    # whole faces
    ([face(20e-9)], WAVE, "guarded", S),
    ([face(31.6e-9)], WAVE, "guarded", NC),
    ([face(31.7e-9)], WAVE, "guarded", NS),
    ([face(31.6e-9)], WAVE, "simple", S),
    ([face(31.7e-9)], WAVE, "simple", C),
    ([face(60e-9)], WAVE, "guarded", C),
    ([face(60e-9)], "PV <= lambda/5 wavefront @ 632.8nm over 25mm", "guarded", S),
    ([face(60e-9, side=12e-3)], WAVE, "guarded", C),  # part of the aperture
    ([face(20e-9, side=12e-3)], WAVE, "guarded", NT),
    ([face(100e-9, kind="bowl")], WAVE, "guarded", C),
    ([face(100e-9, kind="bowl")], "irregularity <= lambda/20 @ 632.8nm over 25mm", "guarded", S),
    ([face(100e-9, kind="bowl")], f"{WAVE} bow removed", "guarded", S),
    ([face(30e-9)], "RMS <= lambda/50 @ 632.8nm over 25mm", "guarded", S),  # 30/2/√2 = 10.6 nm
    ([face(40e-9)], "RMS <= lambda/50 @ 632.8nm over 25mm", "guarded", C),
    ([face(20e-9), face(21e-9), face(20.5e-9)], WAVE, "guarded", S),
    # texture
    ([texture(0.3e-9, seed=k) for k in range(5)], "Sq <= 0.5nm in 120nm..2um", "guarded", S),
    ([texture(0.8e-9, seed=k) for k in range(5)], "Sq <= 0.5nm in 120nm..2um", "guarded", C),
    ([texture(0.3e-9)], "Sq <= 0.5nm in 120nm..2um", "guarded", S),
    ([texture(0.45e-9)], "Sq <= 0.5nm in 120nm..2um", "guarded", NC),  # one spot: within 70 % or undecided
    ([texture(0.3e-9)], "Sq <= 0.5nm", "guarded", NT),  # no band
    ([texture(0.3e-9)], "Sq <= 0.5nm in 20nm..2um", "guarded", NT),  # pixels of 39 nm
    ([texture(0.3e-9)], "Sq <= 0.5nm in 120nm..5um", "guarded", NT),  # longer than a quarter of the side
    ([texture(2e-9)], "Sq <= 0.5nm in 20nm..2um", "guarded", C),  # a part of the band is over it already
    ([texture(2e-9)], "Sz <= 0.5nm in 20nm..2um", "guarded", NT),  # but extremes do not grow with the band
    ([texture(2e-9)], "Sq <= 0.5nm in 1mm..2mm", "guarded", NT),
    ([texture(0.3e-9)], "Ra <= 0.025um", "guarded", NT),  # λc 0.25 mm
    ([texture(0.3e-9)], "N3", "guarded", NT),
    ([texture(0.3e-9)], "Rq <= 0.5nm in 120nm..2um", "guarded", S),
    ([texture(0.3e-9)], "Sa <= 0.1nm in 120nm..2um", "guarded", C),
]


@pytest.mark.parametrize(("scans", "claim", "rule", "verdict"), CASES)
def test_verdict(scans: list[HeightMap], claim: str, rule: str, verdict: str) -> None:
    found = judge(claim, scans, specimen="mirror", rule=rule)
    assert found.verdict == verdict, found.sentence
    assert found.sentence.startswith("mirror: ")
    assert found.sentence.endswith(".")
    assert "  " not in found.sentence
    assert ("Decision rule" in found.sentence) == (verdict != NT)


def test_there_are_enough_cases() -> None:
    assert len(DECISIONS) + len(CASES) >= 40
    assert {verdict for *_, verdict in CASES} == {S, NC, NS, C, NT}


def test_classic_slip() -> None:
    """29 nm above and 8 nm below the mean plane: 37 nm peak to valley. Common practice, no source."""
    n, side = 128, 10e-6
    z = np.zeros((n, n))
    z[60:64, 60:64], z[20:24, 100:104] = 29e-9, -8e-9
    spread = HeightMap(z, pitch=(side / n, side / n))
    found = judge(WAVE, [spread], specimen="mirror")
    assert found.value == pytest.approx(37e-9, rel=0.01)
    assert found.limit == pytest.approx(31.64e-9)
    assert found.verdict == C
    assert "29 nm above and the lowest 8 nm below" in found.sentence.replace("28.9", "29").replace("8.0", "8")
    assert "each alone is under 31.6 nm" in found.sentence
    assert "peak to valley is their sum" in found.sentence
    assert "Flatness over 25 mm was not tested" in found.sentence
    assert "sees one part in 6,250,000 of that area" in found.sentence  # (25 mm / 10 µm)²


def test_the_slip_is_not_spoken_of_where_one_figure_is_over_the_limit() -> None:
    assert "each alone" not in judge(WAVE, [small(80e-9)]).sentence
    assert "each alone" not in judge(WAVE, [small(20e-9)]).sentence


def test_minimum_zone_against_a_linear_programme() -> None:
    rng = np.random.default_rng(7)
    z = gaussian_texture((24, 31), (1e-3, 1e-3), sq=20e-9, length=8e-3, rng=rng)
    found = judge("flatness <= 1um over 31mm x 24mm", [HeightMap(z, pitch=(1e-3, 1e-3))])
    assert found.value == pytest.approx(programme(z), rel=1e-9)
    assert found.verdict == S


def programme(z: FloatArray) -> float:
    """The minimum zone by one linear programme over all points."""
    y, x = (grid.ravel() / max(grid.max(), 1) for grid in np.mgrid[: z.shape[0], : z.shape[1]].astype(float))
    heights, size = z.ravel(), float(np.ptp(z))
    one, none = np.ones(z.size), np.zeros(z.size)
    limits = np.vstack([np.column_stack([-y, -x, -one, none]), np.column_stack([y, x, none, one])])
    found = linprog([0, 0, 1, -1], A_ub=limits, b_ub=np.concatenate([-heights, heights]) / size, bounds=(None, None))
    assert found.fun is not None
    return float(found.fun * size)


def test_power_is_a_paraboloid_and_astigmatism_stays() -> None:
    y, x = np.mgrid[-20:21, -30:31] * 1e-3
    saddle = 5e-5 * (x**2 - y**2)
    scan = HeightMap(1e-3 * x + 2e-4 * (x**2 + y**2) + saddle, pitch=(1e-3, 1e-3))
    left = without_power(scan).z
    design = np.stack([np.ones(x.size), x.ravel(), y.ravel(), (x**2 + y**2).ravel()], axis=1)
    rest = saddle.ravel() - design @ np.linalg.lstsq(design, saddle.ravel(), rcond=None)[0]
    np.testing.assert_allclose(left.ravel(), rest, atol=1e-15)


def test_uncertainty_of_a_flatness_comes_from_noise_and_height_scale() -> None:
    rng = np.random.default_rng(3)
    noise = 1e-9
    scan = face(40e-9, n=101)
    noisy = scan.with_(z=scan.z + noise * rng.standard_normal(scan.shape))
    assert pixel_noise(noisy) == pytest.approx(noise, rel=0.05)
    found = judge(WAVE, [noisy])
    assert found.uncertainty == pytest.approx(2 * math.sqrt(2) * noise, rel=0.06)
    calibrated = noisy.logged(Entry({"do": "calibrate"}, "", {"u_z_rel": 0.03}))
    wider = judge(WAVE, [calibrated])
    assert found.value is not None
    assert wider.uncertainty == pytest.approx(math.hypot(found.uncertainty or 0, 0.06 * found.value), rel=1e-9)


def test_a_larger_map_is_judged_on_the_aperture_in_its_middle() -> None:
    scan = face(10e-9, n=81, side=40e-3)
    z = scan.z.copy()
    z[0, 0] += 1e-6  # a corner far outside
    found = judge("PV <= lambda/20 @ 632.8nm over Ø25mm", [scan.with_(z=z)])
    assert found.verdict == S
    assert np.count_nonzero(cropped(scan, Aperture(25e-3, 25e-3, round=True)).used) == pytest.approx(
        math.pi / 4 * (25 / 40 * 81) ** 2, rel=0.03
    )


def test_a_disc_of_points_covers_a_disc_but_not_a_square() -> None:
    n, side = 60, 25e-3
    y, x = np.mgrid[:n, :n] - (n - 1) / 2
    z = np.where(np.hypot(y, x) <= n / 2, 0.0, np.nan)
    disc = HeightMap(z, pitch=(side / n, side / n))
    assert extent(disc) == pytest.approx((side, side))
    assert covers(disc, Aperture(side, side, round=True))
    assert not covers(disc, Aperture(side, side))
    assert reach_of(judge("PV<=1um over 25mm", [disc]).claim, [disc]).cover == "part"


def test_reach_is_drawn_on_whole_decades() -> None:
    reach = judge(WAVE, [small(1e-9)]).reach
    assert reach.claim == (None, 25e-3)
    assert reach.scan == pytest.approx((10e-6 / 64, 10e-6))
    assert reach.axis == pytest.approx((1e-7, 1e-1))


def test_claims_are_judged_specimen_by_specimen() -> None:
    stated = [Stated(WAVE), Stated("Sq <= 0.5nm in 120nm..2um", specimen="b")]
    found = judge_all(stated, {"a": [texture(0.3e-9)], "b": [texture(0.3e-9)]})
    assert [(one.specimen, one.claim.quantity) for one in found] == [("a", "PV"), ("b", "PV"), ("b", "Sq")]


def test_refusals() -> None:
    with pytest.raises(ClaimError, match="no scan"):
        judge(WAVE, [])
    with pytest.raises(ClaimError, match="no decision rule"):
        judge(WAVE, [small(1e-9)], rule="wishful")


def test_a_map_that_cannot_be_read_is_not_testable_and_says_why() -> None:
    found = judge("PVr <= 5nm over 1um", [HeightMap(np.zeros((3, 3)), pitch=(1e-6, 1e-6))])
    assert found.verdict == NT
    assert found.value is None
    assert "could not be tested" in found.sentence


def test_a_wide_interval_is_told_by_its_ends_and_never_as_a_coverage_factor() -> None:
    """Three unlike spots: Student's t on the logarithm is no U with k = 2, and ± would promise values below zero."""
    rng = np.random.default_rng(6)
    spots = [HeightMap(sq * gaussian_texture((128, 128), (1e-8, 1e-8), sq=1.0, length=4e-8, rng=rng), (1e-8, 1e-8))
             for sq in (1e-10, 2e-10, 4e-10)]  # fmt: skip
    found = judge("Sq <= 5nm in 60nm..300nm", spots)
    assert "±" not in found.sentence
    assert "interval 95 %" in found.sentence
    assert "k = 2" not in found.sentence
