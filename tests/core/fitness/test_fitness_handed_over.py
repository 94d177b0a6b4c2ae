"""What the window works out apart reaches the sheet and the log: trials, verdicts in the caption, factors."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from core.bench import Bench, Scan, Stated
from core.compare import compare
from core.errors import MapError
from core.figure.told import verdicts
from core.fitness.bumps import count_all, median_height, pooled
from core.fitness.calibration import Calibration, evaluate, step_profile
from core.fitness.trial import Plan, sweep
from core.heightmap import HeightMap
from core.log.calibrations import entries_of_calibration
from core.progress import Cancel, Cancelled
from core.results import Comparison
from core.sheet.html_sheet import page
from core.sheet.record import record
from core.sheet.trials import CAUTION, LIGHTS
from core.treatment import Treatment


def noisy(name: str, seed: int, rough: float = 1e-10) -> HeightMap:
    z = rough * np.random.default_rng(seed).standard_normal((128, 128))
    return HeightMap(z, pitch=(4e-9, 4e-9), name=name)


@pytest.fixture(scope="module")
def bench() -> Bench:
    scans = tuple(Scan(noisy(f"{name} {spot}", seed=spot), name) for name in ("mica", "film") for spot in (1, 2))
    banded = Treatment.from_list([{"do": "level"}, {"do": "band", "longest": "200 nm"}, {"do": "zero"}])
    return Bench(scans=scans, treatment=banded, claims=(Stated("Sq <= 1nm in 20nm..100nm"), Stated("N3", "film")))


@pytest.fixture(scope="module")
def compared(bench: Bench) -> Comparison:
    found, refused = sweep(bench, Plan(diameters=(20e-9,), spheres=60), (8e-9, 12e-9), jobs=1)
    assert not refused
    return replace(compare(bench), trials=found)


def test_a_sweep_tries_every_radius_on_every_specimen_without_the_band(compared: Comparison) -> None:
    told = [(one.specimen, one.probe_radius) for one in compared.trials]
    assert told == [("mica", 8e-9), ("film", 8e-9), ("mica", 12e-9), ("film", 12e-9)]
    # white noise of 0.1 nm less its long waves would keep its sigma; the band of 200 nm must not have been applied
    alone, _ = sweep(Bench(scans=(Scan(noisy("mica 1", 1), "mica"), Scan(noisy("mica 2", 2), "mica"))),
                     Plan(diameters=(20e-9,), spheres=60), (8e-9,), jobs=1)  # fmt: skip
    assert alone[0].sigma == pytest.approx(compared.trials[0].sigma, rel=1e-9)


def test_a_sweep_can_be_stopped(bench: Bench) -> None:
    cancel = Cancel()
    cancel.request()
    with pytest.raises(Cancelled):
        sweep(bench, Plan(diameters=(20e-9,), spheres=60), cancel=cancel, jobs=1)


def test_trials_are_on_the_sheet(compared: Comparison) -> None:
    told = record(compared)["trials"]
    assert [one["specimen"] for one in told] == [one.specimen for one in compared.trials]
    assert json.dumps(told, allow_nan=False)
    shown = page(compared)
    assert "Trial with virtual particles" in shown and CAUTION in shown and "probe 12 nm" in shown
    assert LIGHTS[compared.trials[0].by_diameter[0].light] in shown
    without = replace(compared, trials=())
    assert record(without)["trials"] == [] and "Trial with virtual" not in page(without)


def test_the_caption_says_the_verdicts(compared: Comparison) -> None:
    said = verdicts(compared)
    verdict = {one.specimen: one.verdict for one in compared.claims if one.claim.text.startswith("Sq")}
    assert said.startswith("Claims: Sq ≤ 1nm in 20nm..100nm ") and verdict["mica"] in said
    assert "N3" in said and "(film)" in said and said.count("\n") == 0
    assert verdicts(replace(compared, claims=())) == ""


def test_all_are_counted_as_each_is() -> None:
    y, x = np.mgrid[:128, :128] * 4e-9
    ball = np.maximum(noisy("", 5).z, 12e-9 - ((y - 2.4e-7) ** 2 + (x - 2.4e-7) ** 2) / 30e-9)
    maps = {"a": [HeightMap(ball, pitch=(4e-9, 4e-9), name="a1"), noisy("a2", 6)], "b": [noisy("b1", 7)]}
    seen = count_all(maps, jobs=2)
    assert {name: census.count for name, census in seen.specimens.items()} == {"a": 1, "b": 0}
    assert seen.specimens["a"].rate == pooled([seen.scans["a1"], seen.scans["a2"]]).rate
    assert seen.heights == {"a": median_height([seen.scans["a1"]])}
    assert seen.heights["a"] == pytest.approx(12e-9, rel=0.05)
    again = count_all(maps, known={"a1": seen.scans["b1"]})  # what is known is not counted again
    assert again.scans["a1"] is seen.scans["b1"]


def test_the_parts_of_a_groove_are_those_of_the_standard() -> None:
    """ISO 5436-1, type A1: a third of the width W beside each edge is left out, C is the middle third, 3 W in all."""
    x = np.arange(600) * 5e-8
    z = np.where(np.abs(x - 1.5e-5) < 4e-6, -97e-9, 0.0) + 1e-3 * x * np.ones((8, 1))
    found = evaluate(HeightMap(z, pitch=(5e-8, 5e-8)), "groove", 100e-9, 1e-9, standard="H1")
    profile = found.profile
    assert profile is not None and found.step is not None
    width = found.step.edges[1] - found.step.edges[0]
    bottom = profile.x[profile.lower]
    assert bottom[-1] - bottom[0] == pytest.approx(width / 3, abs=2 * 5e-8)
    beside = profile.x[profile.upper]
    assert beside[-1] - beside[0] == pytest.approx(3 * width, abs=2 * 5e-8)
    assert profile.heights[profile.upper] == pytest.approx(0.0, abs=1e-12)
    assert profile.heights[profile.lower] == pytest.approx(-97e-9, rel=1e-6)
    assert step_profile(HeightMap(z, pitch=(5e-8, 5e-8)), found.step).x == pytest.approx(profile.x)
    with pytest.raises(MapError, match="kind"):
        evaluate(HeightMap(z, pitch=(5e-8, 5e-8)), "hill", 100e-9)


def test_every_factor_that_a_standard_gave_is_an_entry() -> None:
    scan = noisy("grid", 1).with_(metadata={"instrument": "unit 1"})
    made = Calibration(z=1.03, u_z=0.005, x=0.98, u_x=0.002, certified_step=1e-7, date="2024-05-31", standard="H1")
    entries = entries_of_calibration(made, scan, "2030-01-01")
    assert [(one.symbol, one.value) for one in entries] == [("z factor", 1.03), ("x factor", 0.98)]
    assert {(one.at, one.subject, one.instrument, one.kind) for one in entries} == {
        ("2024-05-31", "H1", "unit 1", "calibration")
    }
    assert entries[0].high == pytest.approx(1.03 * (1 + 1.959964 * 0.005), rel=1e-6)  # Φ⁻¹(0.975), closed form
