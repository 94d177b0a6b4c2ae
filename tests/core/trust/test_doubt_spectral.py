"""Doubts seen in the spectrum: what is planted is found with its figures; units, tilt, holes and frames change nothing.

Rates over the ten clean textures are in test_doubt_spectral_rates.py.
"""

import dataclasses
import math
from collections.abc import Callable, Mapping

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.heightmap import FloatArray, HeightMap
from core.synthetic.clean_bed import CleanMap, clean_map
from core.synthetic.instrument import hum as mains
from core.synthetic.stripes import fringes as stripes
from core.synthetic.stripes import fuzz
from core.trust.doubts.doubt import Doubt
from core.trust.doubts.fringes import fringes
from core.trust.doubts.hum import hum
from core.trust.doubts.look import Look, rob
from core.trust.doubts.noise_floor import noise_floor, noise_share
from core.trust.doubts.not_judged import not_judged
from core.trust.doubts.oscillation import oscillation
from core.trust.doubts.scan import DETECTORS

SPECTRAL = (noise_floor, oscillation, hum, fringes, not_judged)


def verdicts(scan: HeightMap) -> Mapping[str, str]:
    """Level by code of the spectral doubts."""
    look = Look(scan)
    return {doubt.code: doubt.level for detector in SPECTRAL if (doubt := detector(look)) is not None}


def with_rate(scan: HeightMap, rate: float | None, **more: object) -> HeightMap:
    return scan.with_(metadata=({} if rate is None else {"line_rate": rate}) | more)


def with_mains(clean: CleanMap, share: float, frequency: float, rate: float, *, phase: float = 1.0) -> HeightMap:
    wave = mains(
        clean.scan.shape, amplitude=math.sqrt(2) * share * clean.rough, frequency=frequency, line_rate=rate, phase=phase
    )
    return with_rate(clean.plus(wave), rate)


def told(doubt: Doubt | None) -> Doubt:
    assert doubt is not None
    return doubt


# --- the shared look


def test_rob_of_a_gaussian_is_its_sigma() -> None:
    assert rob(np.random.default_rng(1).normal(3.0, 2.0, 200_000)) == pytest.approx(2.0, rel=0.01)  # 5 x its 0.2 %


def test_roughness_leaves_particles_out_and_holes_do_not_matter() -> None:
    clean = clean_map("PA", np.random.default_rng(5))
    assert Look(clean.scan).rough == pytest.approx(clean.rough, rel=0.02)
    z = clean.z.copy()
    z[::7, ::5] = np.nan
    assert Look(clean.scan.with_(z=z)).rough == pytest.approx(clean.rough, rel=0.03)


def test_white_noise_has_its_variance_in_every_bin() -> None:
    look = Look(HeightMap(3e-10 * np.random.default_rng(2).standard_normal((256, 320)), (1e-8, 1e-8)))
    assert float(look.power.density.mean()) == pytest.approx(1.0, rel=0.02)  # in S^2; derived here: closed form
    assert not look.directional


@pytest.mark.parametrize(("texture", "directional"), [("G4", False), ("A8", False), ("GR", False), ("La", True)])
def test_only_textures_with_one_direction_are_directional(texture: str, directional: bool) -> None:
    assert Look(clean_map(texture, np.random.default_rng(3)).scan).directional is directional


# --- noise floor


@pytest.mark.parametrize(("share", "level"), [(0.4, None), (0.57, "amber"), (0.8, "red")])
def test_noise_floor_by_its_share(share: float, level: str | None) -> None:
    rng = np.random.default_rng(4)
    clean = clean_map("G20", rng)
    texture = clean.rough * math.sqrt(1 - (clean.noise / clean.rough) ** 2)
    noise = texture * share / math.sqrt(1 - share**2)
    scan = clean.plus(math.sqrt(noise**2 - clean.noise**2) * rng.standard_normal(clean.scan.shape))
    doubt = noise_floor(Look(scan))
    assert (doubt and doubt.level) == level
    assert noise_share(Look(scan)) == pytest.approx(share, rel=0.1)
    if doubt:
        assert doubt.figures["noise_m"] == pytest.approx(noise, rel=0.1)
        # derived here: closed form. pi T^2 exp(-(pi T f)^2) (S^2 - N^2) = N^2, T = 20 points
        drowned = math.pi * 20 / math.sqrt(math.log(math.pi * 400 * (1 / share**2 - 1)))
        assert doubt.figures["drowned_m"] == pytest.approx(1e-8 * drowned, rel=0.15)
        assert doubt.cure is not None
        assert doubt.cure["do"] == "band"


@pytest.mark.parametrize("scattered", [True, False])
def test_holes_do_not_read_as_noise(scattered: bool) -> None:
    rng = np.random.default_rng(6)
    clean = clean_map("G4", rng)
    z = clean.z.copy()
    if scattered:
        z[rng.random(z.shape) < 0.09] = np.nan
    else:
        z[40:60, 50:200] = np.nan
        z[180] = np.nan
    share = clean.noise / clean.rough
    assert noise_share(Look(clean.scan.with_(z=z))) == pytest.approx(share, rel=0.15, abs=0.02)


# --- hum


RATES = st.floats(0.4, 2.2)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(RATES, st.floats(-0.05, 0.05), st.sampled_from([50.0, 60.0]), st.floats(0, 6), st.sampled_from(["A8", "G20"]))
def test_frequency_of_hum_within_a_millihertz(
    rate: float, off: float, nominal: float, phase: float, texture: str
) -> None:
    clean = clean_map(texture, np.random.default_rng(int(1e6 * rate)))
    doubt = told(hum(Look(with_mains(clean, 0.2, nominal + off, rate, phase=phase))))
    assert doubt.level == "red"
    if min(abs(doubt.figures[key] - nominal - off) for key in ("frequency_hz", "frequency_upwards_hz")) > 2:
        return  # bins of two mains frequencies coincide at this rate: told as the other one, a multiple of it away
    assert doubt.figures["frequency_hz"] == pytest.approx(nominal + off, abs=1.5e-3)
    assert doubt.figures["rms_m"] == pytest.approx(0.2 * clean.rough, rel=0.35)  # nine bins of texture come on top


@pytest.mark.parametrize("rate", [0.11, 0.17, 0.29])
@pytest.mark.parametrize("frequency", [50.013, 59.98])
def test_aliased_hum_keeps_its_frequency(rate: float, frequency: float) -> None:
    """A pixel rate of 2 x 128 x rate < 2 x 50 Hz: the mains lie beyond the Nyquist limit and are folded back."""
    clean = clean_map("A8", np.random.default_rng(7), shape=(256, 128))
    assert frequency > 128 * rate
    doubt = told(hum(Look(with_mains(clean, 0.3, frequency, rate))))
    wrong = doubt.figures["frequency_hz"] - frequency
    assert abs(wrong) < 1e-3


def test_a_retrace_turns_time_round() -> None:
    clean = clean_map("A8", np.random.default_rng(8))
    scan = with_mains(clean, 0.2, 50.02, 0.97)
    back = with_rate(scan.with_(z=scan.z[:, ::-1]), 0.97, direction="retrace")
    upwards = scan.with_(z=scan.z[::-1])
    assert told(hum(Look(back))).figures["frequency_hz"] == pytest.approx(50.02, abs=1e-3)
    assert told(hum(Look(upwards))).figures["frequency_upwards_hz"] == pytest.approx(50.02, abs=1e-3)


def test_without_a_line_rate_a_stripe_is_a_note_in_nanometres() -> None:
    clean = clean_map("A8", np.random.default_rng(9))
    doubt = told(hum(Look(with_rate(with_mains(clean, 0.2, 50.0, 0.97), None))))
    assert doubt.level == "note"
    down, across = 50 / 0.97 - 52, 50 / (2 * 0.97) / 256  # cycles from line to line and per point
    assert doubt.figures["wavelength_m"] == pytest.approx(1e-8 / math.hypot(down, across), rel=0.02)
    assert "frequency_hz" not in doubt.figures


def test_another_line_has_a_frequency_too() -> None:
    clean = clean_map("A8", np.random.default_rng(10))
    doubt = told(hum(Look(with_mains(clean, 0.2, 77.013, 0.97))))
    assert doubt.level == "note"
    assert doubt.figures["frequency_hz"] == pytest.approx(77.013, abs=1e-3)


def test_hum_at_a_multiple_of_the_line_rate_may_be_a_grating() -> None:
    clean = clean_map("G20", np.random.default_rng(11))
    assert "grating" in told(hum(Look(with_mains(clean, 0.2, 50.0, 1.0)))).confused_with
    assert "grating" not in told(hum(Look(with_mains(clean, 0.2, 50.3, 1.0)))).confused_with


# --- oscillation and fringes


def test_oscillation_lies_along_the_fast_axis_only() -> None:
    rng = np.random.default_rng(12)
    clean = clean_map("A8", rng)
    noisy = clean.plus(fuzz(clean.scan.shape, rms=0.3 * clean.rough, centre=0.3, width=0.03, rng=rng))
    doubt = told(oscillation(Look(noisy)))
    assert doubt.figures["wavelength_m"] == pytest.approx(1e-8 / 0.3, rel=0.1)
    assert doubt.figures["frequency_hz"] == pytest.approx(0.3 * 2 * clean.line_rate * 256, rel=0.1)
    assert oscillation(Look(noisy.with_(z=noisy.z.T))) is None


def test_fringes_with_wavelength_and_share() -> None:
    clean = clean_map("G20", np.random.default_rng(13), shape=(256, 192), pitch=(1e-8, 2e-8))
    wave = stripes(clean.scan.shape, rms=0.5 * clean.rough, periods=18, angle=30)
    doubt = told(fringes(Look(clean.plus(wave))))
    down, across = 18 * 0.5 / 256e-8, 18 * math.sqrt(0.75) / 384e-8
    assert doubt.figures["wavelength_m"] == pytest.approx(1 / math.hypot(down, across), rel=0.03)
    assert doubt.figures["variance_share"] == pytest.approx(0.25 / 1.25, rel=0.15)


def test_terraces_are_no_fringes() -> None:
    scan = clean_map("TE", np.random.default_rng(14)).scan
    z = np.floor(np.arange(256) / 16.0)[None, :] + 0.02 * np.random.default_rng(15).standard_normal((256, 256))
    z -= np.arange(256) / 16.0
    assert fringes(Look(scan)) is None
    assert fringes(Look(HeightMap(z, (1e-8, 1e-8)))) is None


# --- what must not matter


PLANTED: dict[str, Callable[[CleanMap], HeightMap]] = {
    "hum": lambda clean: with_mains(clean, 0.2, 50.02, 0.97),
    "oscillation": lambda clean: clean.plus(
        fuzz(clean.scan.shape, rms=0.35 * clean.rough, centre=0.3, width=0.03, rng=np.random.default_rng(1))
    ),
    "fringes": lambda clean: clean.plus(stripes(clean.scan.shape, rms=0.5 * clean.rough, periods=20, angle=62)),
    "noise-floor": lambda clean: clean.plus(
        1.2 * clean.rough * np.random.default_rng(1).standard_normal(clean.scan.shape)
    ),
}


@pytest.mark.parametrize("planted", PLANTED)
def test_units_and_tilt_change_no_verdict(planted: str) -> None:
    scan = PLANTED[planted](clean_map("A8", np.random.default_rng(16)))
    expected = verdicts(scan)
    assert planted in expected
    y, x = np.mgrid[0:256, 0:256]
    for changed in (scan.z * 1e-9, scan.z * 1e9, scan.z + 3e-8 * y - 5e-9 * x + 1e-5):
        assert verdicts(scan.with_(z=changed)) == expected


@pytest.mark.parametrize("planted", PLANTED)
def test_holes_change_no_verdict(planted: str) -> None:
    scan = PLANTED[planted](clean_map("A8", np.random.default_rng(17)))
    z = scan.z.copy()
    z[np.random.default_rng(18).random(z.shape) < 0.05] = np.nan
    z[100:110, 30:90] = np.nan
    assert verdicts(scan.with_(z=z)) == verdicts(scan)


@pytest.mark.parametrize("shape", [(128, 128), (257, 263), (131, 512), (509, 128)])
@pytest.mark.parametrize("planted", ["hum", "oscillation", "fringes", "noise-floor"])
def test_any_shape_of_frame(planted: str, shape: tuple[int, int]) -> None:
    clean = clean_map("A8", np.random.default_rng(19), shape=shape)
    assert planted in verdicts(PLANTED[planted](clean))
    assert not verdicts(clean.scan)


# --- what cannot be judged is said


@pytest.mark.parametrize(
    ("z", "why"),
    [
        (np.random.default_rng(1).standard_normal((127, 300)), "127 × 300"),
        (np.zeros((200, 200)), "no relief"),
        (np.add.outer(np.arange(200.0), np.arange(150.0)), "no relief"),
        (
            np.where(np.arange(200)[:, None] % 5 == 0, np.nan, np.random.default_rng(1).standard_normal((200, 200))),
            "20 %",
        ),
        (np.full((200, 200), np.nan), "no relief"),
    ],
)
def test_what_cannot_be_judged_is_not_called_clean(z: FloatArray, why: str) -> None:
    look = Look(HeightMap(z, (1e-8, 1e-8)))
    doubt = told(not_judged(look))
    assert doubt.level == "note"
    assert why in doubt.message
    assert all(detector(look) is None for detector in (noise_floor, oscillation, hum, fringes))


ODD = [
    np.zeros((1, 1)),
    np.zeros((2, 2)),
    np.array([[1.0, 2.0], [np.nan, 4.0]]),
    np.full((3, 5), np.nan),
    np.random.default_rng(1).standard_normal((2, 300)),
    np.random.default_rng(1).standard_normal((300, 1)),
    np.random.default_rng(1).standard_normal((131, 149)) * 1e250,
    np.random.default_rng(1).standard_normal((131, 149)) * 1e-250,
    np.random.default_rng(1).standard_normal((131, 149)) * 1e-12 + 1e3,
    np.where(np.arange(140)[:, None] < 13, np.nan, np.random.default_rng(1).standard_normal((140, 128))),
    np.where(np.random.default_rng(1).random((130, 130)) < 0.001, 1.0, 0.0),
    np.round(np.random.default_rng(1).standard_normal((130, 130)) * 0.3),
    np.tile([0.0, 1.0], (128, 64)),
]


@pytest.mark.parametrize("z", ODD, ids=lambda z: str(z.shape))
@pytest.mark.parametrize("pitch", [(1e-8, 1e-8), (1e-9, 1e-6)])
def test_odd_maps_raise_nothing(z: FloatArray, pitch: tuple[float, float]) -> None:
    look = Look(HeightMap(z, pitch, metadata={"line_rate": 1.0}))
    for detector in SPECTRAL:
        doubt = detector(look)
        assert doubt is None or all(math.isfinite(figure) for figure in doubt.figures.values())


def test_every_spectral_detector_is_asked() -> None:
    assert set(SPECTRAL) <= set(DETECTORS)


def test_masked_points_are_left_out() -> None:
    clean = clean_map("A8", np.random.default_rng(20))
    z, mask = clean.z.copy(), np.zeros(clean.scan.shape, bool)
    z[50:60, 50:60] += 1e-6
    mask[50:60, 50:60] = True
    masked = dataclasses.replace(clean, scan=clean.scan.with_(z=z, mask=mask))
    assert verdicts(masked.scan) == {}
