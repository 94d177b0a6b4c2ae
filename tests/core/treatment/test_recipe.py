"""The treatment as TOML: every step survives the round trip, and everything unknown is refused with the fix."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.errors import TreatmentError
from core.heightmap import HeightMap
from core.treatment import STEPS, Band, Calibrate, Crop, Fill, Level, Mask, Resample, Rows, Step, Treatment, Zero

extents = st.one_of(
    st.integers(0, 500).map(lambda n: f"{n} px"),
    st.floats(0, 900, allow_subnormal=False).map(lambda x: f"{x:.3f} nm"),
    st.sampled_from(["1.5 px", "0,5 µm", "2um", "10 Å"]),
)
on = st.booleans()
steps: st.SearchStrategy[Step] = st.one_of(
    st.builds(Level, on=on),
    st.builds(Level, form=st.just("polynomial"), degree=st.integers(1, 5), on=on),
    st.builds(Rows, by=st.sampled_from(["median", "median-of-differences"]), on=on),
    st.builds(Rows, remove=st.just("polynomial"), degree=st.integers(1, 3), on=on),
    st.builds(Mask, k=st.floats(1, 1000) | st.integers(1, 1000), grow=extents, on=on),
    st.builds(Mask, what=st.sampled_from(["clipped", "streaks"]), grow=st.none() | extents, on=on),
    st.builds(
        Mask,
        what=st.just("rectangle"),
        left=st.none() | extents,
        top=extents,
        width=st.none() | extents,
        height=st.none() | extents,
        on=on,
    ),
    st.builds(Crop, left=extents, top=extents, width=st.none() | extents, height=st.none() | extents, on=on),
    st.builds(Zero, at=st.sampled_from(["mean", "median", "lowest"]), on=on),
    st.builds(Zero, at=st.just("percentile"), percent=st.floats(0, 100), on=on),
)
treatments = st.lists(steps, max_size=6).map(lambda found: Treatment(tuple(found)))


@settings(max_examples=150, deadline=None)
@given(treatments)
def test_round_trip(treatment: Treatment) -> None:
    again = Treatment.from_toml(treatment.to_toml())
    assert again == treatment
    assert again.digest == treatment.digest
    assert Treatment.from_list(treatment.to_list()) == treatment
    assert again.describe() == treatment.describe()


def test_whole_numbers_and_fractions_are_the_same_treatment() -> None:
    assert Treatment((Mask(k=5),)).digest == Treatment((Mask(k=5.0),)).digest


def test_every_step_is_known_by_its_word() -> None:
    assert {
        "calibrate": Calibrate,
        "mask": Mask,
        "level": Level,
        "rows": Rows,
        "fill": Fill,
        "resample": Resample,
        "crop": Crop,
        "band": Band,
        "zero": Zero,
    } == STEPS


CAPTIONS: list[tuple[Step, str]] = [
    (Level(), "plane levelled"),
    (Level(form="polynomial", degree=3), "polynomial degree 3 levelled"),
    (Mask(), "outliers masked (5 σ, grown 2 px)"),
    (Mask(what="clipped"), "clipped points masked (grown 1 px)"),
    (Mask(what="streaks"), "streaks masked"),
    (Mask(what="rectangle", height="20 px"), "rectangle masked (full width × 20 px at 0 px, 0 px)"),
    (Rows(), "row offsets removed (median)"),
    (Rows(by="median-of-differences"), "row offsets removed (median of differences)"),
    (Rows(remove="polynomial", degree=2), "row polynomials of degree 2 removed"),
    (Zero(), "zero at mean"),
    (Zero(at="lowest"), "zero at lowest point"),
    (Zero(at="percentile", percent=0.5), "zero at 0.5 % of heights"),
    (Crop(width="2 um", top="5 px"), "cropped to 2 um × full height at 0 px, 5 px"),
]


@pytest.mark.parametrize(("step", "caption"), CAPTIONS, ids=[caption for _, caption in CAPTIONS])
def test_captions(step: Step, caption: str) -> None:
    assert step.describe() == caption


REFUSED: list[dict[str, Any]] = [
    {"do": "flatten"},
    {"do": 5},
    {"form": "plane"},
    {"do": "level", "form": "sphere"},
    {"do": "level", "form": "plane", "degree": 1},
    {"do": "level", "form": "polynomial"},
    {"do": "level", "form": "polynomial", "degree": 6},
    {"do": "level", "form": "polynomial", "degree": 2.0},
    {"do": "level", "form": "polynomial", "degree": True},
    {"do": "level", "form": ["plane"]},
    {"do": "level", "on": "no"},
    {"do": "level", "order": 1},
    {"do": "rows", "remove": "mean"},
    {"do": "rows", "by": "mean"},
    {"do": "rows", "degree": 1},
    {"do": "rows", "remove": "polynomial"},
    {"do": "rows", "remove": "polynomial", "degree": 4},
    {"do": "rows", "remove": "polynomial", "degree": 1, "by": "median"},
    {"do": "mask", "what": "everything"},
    {"do": "mask", "k": 0.5},
    {"do": "mask", "k": "5"},
    {"do": "mask", "k": float("nan")},
    {"do": "mask", "k": float("inf")},
    {"do": "mask", "k": True},
    {"do": "mask", "grow": 2},
    {"do": "mask", "grow": "-2 px"},
    {"do": "crop", "left": "far"},
    {"do": "crop", "width": 20},
    {"do": "zero", "at": "top"},
    {"do": "zero", "percent": 5},
    {"do": "zero", "at": "percentile"},
    {"do": "zero", "at": "percentile", "percent": 101},
]


@pytest.mark.parametrize("table", REFUSED, ids=str)
def test_refused(table: dict[str, Any]) -> None:
    with pytest.raises(TreatmentError) as refusal:
        Treatment.from_list([{"do": "level"}, table])
    assert refusal.value.where == "step 2"


def test_unknown_words_are_answered_with_the_known_ones() -> None:
    with pytest.raises(TreatmentError, match="outliers"):
        Treatment.from_toml('schema = 1\n[[step]]\ndo = "mask"\nwhat = "clouds"\n')
    with pytest.raises(TreatmentError, match="polynomial"):
        Treatment.from_toml('schema = 1\n[[step]]\ndo = "level"\nform = "sphere"\n')


def test_a_step_that_fails_says_which() -> None:
    treatment = Treatment((Zero(), Crop(width="1 mm")))
    with pytest.raises(TreatmentError) as refusal:
        treatment.apply(HeightMap(np.zeros((8, 8)), (1e-8, 1e-8)))
    assert "step 2" in refusal.value.where


@pytest.mark.parametrize("step", [Level(), Rows(), Rows(remove="polynomial", degree=1), Mask()], ids=Step.describe)
def test_heights_beyond_all_measure_are_refused(step: Step) -> None:
    z = 1e200 * np.random.default_rng(1).standard_normal((16, 16))
    with pytest.raises(TreatmentError, match="too large"):
        Treatment((step,)).apply(HeightMap(z, (1e-8, 1e-8)))


def test_history_tells_the_active_steps_in_order() -> None:
    treatment = Treatment((Mask(), Level(), Rows(on=False), Zero()))
    treated = treatment.apply(HeightMap(np.random.default_rng(1).standard_normal((32, 32)), (1e-8, 1e-8)))
    assert [entry.step["do"] for entry in treated.history] == ["mask", "level", "zero"]
    assert all(entry.removed and entry.figures for entry in treated.history)
