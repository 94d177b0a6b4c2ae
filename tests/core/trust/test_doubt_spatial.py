"""What the doubts seen in the map itself say: figures, place, cure; what may not matter to them; odd maps.

Expected figures are those of the artefacts as planted here (closed form in `core.synthetic.artefacts`); tolerances
are the scatter of the estimates, simulated for this program.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from core.heightmap import FloatArray, HeightMap
from core.synthetic import artefacts, bow, gaussian_texture, row_offsets, streaks, tilt, white_noise
from core.synthetic.clean_bed import TEXTURES, clean_map
from core.treatment import Treatment
from core.trust.doubts.already_levelled import already_levelled
from core.trust.doubts.clipped import clipped
from core.trust.doubts.coarse_pixels import coarse_pixels, correlation_length
from core.trust.doubts.doubt import Doubt
from core.trust.doubts.drift import drift
from core.trust.doubts.line_jumps import line_jumps
from core.trust.doubts.look import Look
from core.trust.doubts.quantised import quantised
from core.trust.doubts.streaks import streaks as streaks_doubt
from core.trust.doubts.tip_change import split, tip_change

PITCH = (1e-8, 1e-8)
DETECTORS = (streaks_doubt, line_jumps, drift, tip_change, quantised, clipped, already_levelled, coarse_pixels)
OF_THE_SURFACE = (streaks_doubt, line_jumps, drift, tip_change, coarse_pixels)
"""Those that look at the levelled map; the others read the numbers as they are written."""

S = 4e-10


def film(seed: int = 1, shape: tuple[int, int] = (192, 192)) -> FloatArray:
    return clean_map("A8", np.random.default_rng(seed), shape=shape, sq=S).z


def look(z: FloatArray, pitch: tuple[float, float] = PITCH) -> Look:
    return Look(HeightMap(z, pitch))


def spoilt() -> dict[str, FloatArray]:
    """A clean map and one for every artefact, strong enough to be found."""
    rng = np.random.default_rng(7)
    z = film()
    dull = artefacts.tip_change(z, row=120, factor=0.3)
    dull[120:] += 0.1 * S * rng.standard_normal(dull[120:].shape)
    return {
        "clean": z,
        "offsets": z + row_offsets(z.shape, sq=0.4 * S, rng=rng),
        "jump": z + artefacts.jump(z.shape, row=70, height=1.5 * S),
        "streaks": z + streaks(z.shape, share=0.03, height=S, length=15, rng=rng)[0],
        "creep": z + artefacts.creep(z.shape, height=5 * S, rows=6),
        "dull": dull,
        "coarse": gaussian_texture(z.shape, PITCH, sq=S, length=1.2e-8, rng=rng),
    }


FOUND = {
    "clean": None, "offsets": line_jumps, "jump": line_jumps, "streaks": streaks_doubt, "creep": drift,
    "dull": tip_change, "coarse": coarse_pixels,
}  # fmt: skip


@pytest.fixture(scope="module")
def maps() -> dict[str, FloatArray]:
    return spoilt()


def verdicts(z: FloatArray) -> dict[str, tuple[str, str] | None]:
    seen = look(z)
    found = {detector.__name__: detector(seen) for detector in OF_THE_SURFACE}
    return {name: None if doubt is None else (doubt.code, doubt.level) for name, doubt in found.items()}


@pytest.mark.parametrize("name", FOUND)
def test_an_artefact_raises_its_own_doubt(name: str, maps: dict[str, FloatArray]) -> None:
    raised = {detector for detector, verdict in verdicts(maps[name]).items() if verdict is not None}
    detector = FOUND[name]
    assert raised == (set() if detector is None else {detector.__name__})


@pytest.mark.parametrize("name", FOUND)
def test_scale_and_plane_change_no_verdict(name: str, maps: dict[str, FloatArray]) -> None:
    z = maps[name]
    before = verdicts(z)
    assert verdicts(1e-9 * z) == before
    assert verdicts(1e9 * z) == before
    assert verdicts(z + tilt(z.shape, PITCH, down=0.02, across=-0.01) + 1e-6) == before


@pytest.mark.parametrize("name", ["offsets", "jump", "streaks", "creep", "dull"])
def test_what_follows_the_scan_lines_is_gone_when_the_map_is_turned(name: str, maps: dict[str, FloatArray]) -> None:
    detector = FOUND[name]
    assert detector is not None
    assert detector(look(np.ascontiguousarray(maps[name].T))) is None


def test_numbers_as_written_know_no_scale() -> None:
    z = film()
    cut = artefacts.clipped(z, share=0.002, end="bottom")
    stepped = artefacts.quantised(z, step=0.3 * S)
    levelled = z - np.median(z, axis=1, keepdims=True)
    for detector, heights in ((clipped, cut), (quantised, stepped), (already_levelled, levelled)):
        levels = {doubt.level if (doubt := detector(look(unit * heights))) else "" for unit in (1.0, 1e-9, 1e9)}
        assert levels == {"amber"}


def test_means_of_levelled_lines_are_seen_under_a_plane_taken_off_later() -> None:
    z = film()
    z = z - z.mean(axis=1, keepdims=True)
    assert already_levelled(look(z + tilt(z.shape, PITCH, down=0, across=0.01))) is not None


@pytest.mark.parametrize("name", ["offsets", "jump", "streaks", "creep", "dull"])
def test_the_cure_is_a_step_and_cures(name: str, maps: dict[str, FloatArray]) -> None:
    detector = FOUND[name]
    assert detector is not None
    scan = HeightMap(maps[name], PITCH)
    doubt = detector(Look(scan))
    assert doubt is not None
    assert doubt.cure is not None
    treated = Treatment.from_list([doubt.cure, {"do": "level"}]).apply(scan)
    if name == "offsets":
        assert detector(Look(treated)) is None
    else:
        assert 0 < treated.masked_fraction < 0.5


def test_figures_are_the_planted_ones(maps: dict[str, FloatArray]) -> None:
    offsets, jump, creep, dull = (
        doubt.figures
        for name in ("offsets", "jump", "creep", "dull")
        if (detector := FOUND[name]) and (doubt := detector(look(maps[name])))
    )
    assert offsets["offset_rms_m"] == pytest.approx(0.4 * S, rel=0.25)  # 192 offsets under a window
    assert jump["line"] == 70
    assert jump["jump_m"] == pytest.approx(1.5 * S, rel=0.1)
    assert creep["creep_m"] == pytest.approx(5 * S, rel=0.3)  # the texture of the first lines is added to it
    assert abs(dull["line"] - 120) <= 3
    assert dull["ratio"] < 0.6


def test_places_and_words(maps: dict[str, FloatArray]) -> None:
    for name, detector in FOUND.items():
        if detector is None:
            continue
        doubt = detector(look(maps[name]))
        assert doubt is not None
        assert doubt.advice
        assert doubt.message.endswith(".")
        assert doubt.settled_by
        if doubt.place is not None:
            assert 0 <= doubt.place.top < doubt.place.bottom <= 192
            assert 0 <= doubt.place.left < doubt.place.right <= 192
    jump, dull = line_jumps(look(maps["jump"])), tip_change(look(maps["dull"]))
    assert jump is not None
    assert jump.place is not None
    assert (jump.place.top, jump.place.bottom) == (69, 71)
    assert "lines 71 to 192" in jump.advice
    assert dull is not None
    assert dull.place is not None
    assert dull.place.bottom == 192


def test_levels_follow_their_limits() -> None:
    z, rng = film(), np.random.default_rng(3)
    assert level(line_jumps, z + row_offsets(z.shape, sq=0.15 * S, rng=rng)) == "amber"
    assert level(line_jumps, z + row_offsets(z.shape, sq=0.6 * S, rng=rng)) == "red"
    assert level(quantised, artefacts.quantised(z, step=0.05 * S)) == "note"
    assert level(quantised, artefacts.quantised(z, step=0.4 * S)) == "amber"
    assert level(quantised, artefacts.quantised(z, step=1.5 * S)) == "red"
    assert level(quantised, artefacts.quantised(z, step=0.001 * S)) is None
    assert level(clipped, artefacts.clipped(z, share=0.001)) == "amber"
    assert level(clipped, artefacts.clipped(z, share=0.02)) == "red"


def level(detector: object, z: FloatArray) -> str | None:
    assert callable(detector)
    doubt = detector(look(z))
    assert doubt is None or isinstance(doubt, Doubt)
    return None if doubt is None else doubt.level


@pytest.mark.parametrize(
    ("length", "low", "high"), [(1, 1.0, 1.55), (1.5, 1.55, 1.75), (2, 2.0, 2.16), (2.5, 2.4, 2.66)]
)
@pytest.mark.parametrize("noise", [0.0, 0.3])
def test_correlation_length_reads_that_of_a_gaussian_texture(
    length: float, low: float, high: float, noise: float
) -> None:
    """ACF exp(−r²/T²); the parabola through lag 0 is short of it below two points. Noise sits at lag 0 only."""
    for seed in range(4):
        rng = np.random.default_rng(seed)
        z = gaussian_texture((256, 256), (1.0, 1.0), sq=1.0, length=length, rng=rng)
        z = z + white_noise(z.shape, sq=noise, rng=rng)
        if noise == 0 or length > 1:
            assert low < correlation_length(z) < high
        else:
            assert correlation_length(z) < 1.9


def test_white_noise_is_an_unresolved_texture() -> None:
    doubt = coarse_pixels(look(white_noise((128, 128), sq=S, rng=np.random.default_rng(1))))
    assert doubt is not None
    assert doubt.level == "red"
    assert "under one pixel" in doubt.message


def test_oblong_pixels_are_told_along_the_axis_that_is_short() -> None:
    z = gaussian_texture((256, 256), (3e-8, 1e-8), sq=S, length=5e-8, rng=np.random.default_rng(2))
    doubt = coarse_pixels(look(z, (3e-8, 1e-8)))
    assert doubt is not None
    assert doubt.figures["correlation_length_m"] == pytest.approx(5e-8, rel=0.15)


def test_a_tilt_along_the_slow_axis_is_no_drift() -> None:
    z = film()
    assert drift(look(z + tilt(z.shape, PITCH, down=0.01, across=0.0))) is None


def test_a_split_is_found_where_it_is() -> None:
    v = np.where(np.arange(200) < 80, 0.0, -0.7) + 0.1 * np.random.default_rng(1).standard_normal(200)
    found = split(v)
    assert found is not None
    assert found.row == 80
    assert found.change == pytest.approx(-0.7, abs=4 * 0.1 * np.sqrt(1 / 80 + 1 / 120))
    assert found.score > 20


def test_one_stray_line_is_an_offset_and_no_jump() -> None:
    z = film() + 3 * S * (np.arange(192) == 60)[:, None]
    doubt = line_jumps(look(z))
    assert doubt is not None
    assert "jump_m" not in doubt.figures
    assert doubt.figures["offset_rms_m"] == pytest.approx(3 * S / np.sqrt(192), rel=0.6)  # by the window's weight there


@pytest.mark.parametrize("texture", TEXTURES)
def test_bow_and_specks_are_nobodys_business_here(texture: str) -> None:
    clean = clean_map(texture, np.random.default_rng(12), shape=(256, 256))
    z = clean.z + bow(clean.z.shape, down=clean.rough, across=-clean.rough)
    assert all(doubt is None or doubt.level == "note" for doubt in (detector(look(z)) for detector in DETECTORS))


ODD = {
    "constant": np.zeros((80, 80)),
    "plane": tilt((90, 70), PITCH, down=0.3, across=0.1),
    "two by two": np.array([[1.0, 2.0], [3.0, 5.0]]),
    "one row": np.arange(30.0)[None],
    "one point": np.ones((1, 1)),
    "all missing": np.full((70, 70), np.nan),
    "missing rows": np.where(np.arange(100)[:, None] % 3 == 0, np.nan, np.random.default_rng(1).random((100, 100))),
    "half missing": np.where(np.arange(100)[:, None] < 50, np.nan, np.random.default_rng(1).random((100, 100))),
    "one column known": np.where(np.arange(90)[None] == 5, np.random.default_rng(1).random((90, 90)), np.nan),
    "whole numbers": np.random.default_rng(1).integers(0, 5, (100, 140)).astype(float),
    "two heights": np.random.default_rng(1).integers(0, 2, (100, 140)).astype(float),
    "one speck": np.where(np.arange(100 * 100).reshape(100, 100) == 4321, 1.0, 0.0),
    "huge": 1e300 * np.random.default_rng(1).standard_normal((80, 80)),
    "largest": 1.7e308 * np.random.default_rng(1).uniform(-1, 1, (80, 80)),
    "tiny": 1e-300 * np.random.default_rng(1).standard_normal((80, 80)),
    "far from zero": 1e3 + 1e-9 * np.random.default_rng(1).standard_normal((80, 80)),
    "long": np.random.default_rng(1).standard_normal((65, 700)),
    "stripes": np.repeat(np.random.default_rng(1).standard_normal((100, 1)), 100, axis=1),
    "posts": np.repeat(np.random.default_rng(1).standard_normal((1, 100)), 100, axis=0),
}


@pytest.mark.parametrize("name", ODD)
@pytest.mark.parametrize("pitch", [PITCH, (1e-9, 7e-8)])
def test_odd_maps_break_nothing(name: str, pitch: tuple[float, float]) -> None:
    """Warnings are errors in this suite."""
    seen = look(ODD[name], pitch)
    for detector in DETECTORS:
        doubt = detector(seen)
        assert doubt is None or all(np.isfinite(value) for value in doubt.figures.values())


@settings(max_examples=40, deadline=None)
@given(
    hnp.arrays(
        np.float64,
        st.tuples(st.integers(1, 70), st.integers(1, 70)),
        elements=st.sampled_from([0.0, 1.0, -1.0, 2.0, np.nan, 1e12, 0.3]),
    )
)
def test_no_map_breaks_a_detector(z: FloatArray) -> None:
    seen = look(z)
    for detector in DETECTORS:
        detector(seen)
