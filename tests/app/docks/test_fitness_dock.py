"""The panel on fitness: claims typed and judged, bumps counted and drawn, particles dropped, ladders, standards."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from pytestqt.qtbot import QtBot

from app.docks.fitness import calibration as calibration_pane
from app.docks.fitness.bump_settings import BumpSettings, Settings
from app.docks.fitness.reach_axis import ReachAxis
from app.docks.fitness.recall import RecallPlot, curve
from app.docks.fitness.trial import lengths
from app.shell.window import Window
from app.tiles.marks import Marks, Square
from app.widgets.verdict import Verdict
from core.errors import QuantityError
from core.fitness.claims import Reach
from core.formats import write
from core.heightmap import HeightMap
from core.log import Log
from core.synthetic import terraces

LONG = 30_000


def settled(window: Window, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: window.document.up_to_date and not window.document.busy, timeout=LONG)


def opened(window: Window, files: list[Path], pane: str, qtbot: QtBot) -> None:
    window.document.add_files(files)
    settled(window, qtbot)
    window.show_fitness(pane)
    settled(window, qtbot)


def bumpy(folder: Path) -> list[Path]:
    """Three specimens of one scan each: two balls of 12 nm on a floor of 0.1 nm, one ball, none."""
    rng = np.random.default_rng(3)
    y, x = np.mgrid[:128, :128] * 4e-9
    files = []
    for name, balls in (("dusty", [(1.6e-7, 2.0e-7), (3.4e-7, 3.0e-7)]), ("one", [(2.4e-7, 2.4e-7)]), ("clean", [])):
        z = 1e-10 * rng.standard_normal((128, 128))
        for down, across in balls:
            z = np.maximum(z, 12e-9 - ((y - down) ** 2 + (x - across) ** 2) / 30e-9)
        files.append(folder / f"{name}.x3p")
        write(HeightMap(z, pitch=(4e-9, 4e-9)), files[-1])
    return files


# Claims ---------------------------------------------------------------------------------------------------------------


def test_a_claim_is_typed_judged_changed_and_taken_back(filled: Window, qtbot: QtBot) -> None:
    filled.show_fitness("claims")
    pane, document = filled.fitness.claims, filled.document
    pane.line.setText("Sq <= 1nm in 60nm..")
    assert pane.put_it.isEnabled() and pane.problem.text().startswith("Read as: Sq <= 1nm")
    pane.about.setCurrentIndex(pane.about.findData("mica"))
    qtbot.keyClick(pane.line, Qt.Key.Key_Return)
    assert document.bench.claims[0].specimen == "mica" and not pane.line.text()
    settled(filled, qtbot)
    [told] = pane.findChildren(Verdict)
    assert told.text == document.comparison.claims[0].verdict
    assert document.comparison.claims[0].specimen == "mica"
    copy = next(b for b in pane.findChildren(type(filled.standing.ask)) if b.text() == "Copy the sentence")
    copy.click()
    assert QGuiApplication.clipboard().text() == document.comparison.claims[0].sentence

    pane.edit(0)
    assert pane.put_it.text() == "Change"
    pane.about.setCurrentIndex(0)
    pane.put()
    assert [claim.specimen for claim in document.bench.claims] == [""]
    settled(filled, qtbot)
    assert len(pane.findChildren(Verdict)) == 2
    pane.rule.setCurrentIndex(pane.rule.findData("simple"))
    pane.rule.activated.emit(1)
    settled(filled, qtbot)
    assert {one.rule for one in document.comparison.claims} == {"simple"}
    for _ in range(3):
        document.stack.undo()
    assert not document.bench.claims and document.bench.claim_rule == "guarded"
    settled(filled, qtbot)


def test_what_is_no_claim_says_where_and_is_not_taken(window: Window) -> None:
    pane = window.fitness.claims
    pane.line.setText("PV <= lambda/20 @ 632.8bananas")
    assert not pane.put_it.isEnabled() and "at sign" in pane.problem.text()
    assert pane.line.property("wrong")
    pane.put()
    assert not window.document.bench.claims
    pane.line.setText("")
    assert not pane.line.property("wrong") and not pane.problem.text()


def test_the_axis_of_reach_puts_lengths_in_order(qtbot: QtBot) -> None:
    axis = ReachAxis(Reach((None, 25e-3), (1e-8, 1e-5), "part"))
    qtbot.addWidget(axis)
    axis.resize(300, 60)
    places = [axis.place(metres) for metres in (1e-8, 1e-5, 25e-3)]
    assert places == sorted(places) and places[0] == pytest.approx(42.0) and places[-1] < 300
    assert "a part of it" in axis.accessibleDescription()
    axis.grab()


# Bumps ----------------------------------------------------------------------------------------------------------------


def test_bumps_are_counted_drawn_and_found_again(window: Window, tmp_path: Path, qtbot: QtBot) -> None:
    opened(window, bumpy(tmp_path), "bumps", qtbot)
    pane, fitness = window.fitness.bumps, window.fitness
    assert pane.counted is not None
    assert {name: census.count for name, census in pane.counted.specimens.items()} == {"dusty": 2, "one": 1, "clean": 0}
    assert pane.counted.heights["one"] == pytest.approx(12e-9, rel=0.1)
    fitness.chosen.choose("dusty")
    settled(window, qtbot)
    assert pane.table.bumps.rowCount() == 2
    tile = window.grid.tile("specimen:dusty")
    assert tile.marks.marks == Marks()
    window.commands["bump-marks"].trigger()
    assert len(tile.marks.marks.rings) == 2 and window.commands["bump-marks"].isChecked()

    before = window.grid.sync.scale
    pane.table.chosen.emit(1)
    ring = tile.marks.marks.rings[1]
    assert ring.chosen and window.grid.sync.scale < before
    high, wide = tile.state.scan.size
    assert window.grid.sync.centre == pytest.approx((ring.x - wide / 2, ring.y - high / 2), rel=0.05)
    tile.grab()
    window.commands["bump-marks"].trigger()
    assert tile.marks.marks == Marks()


def test_other_settings_count_anew_and_a_blank_is_subtracted(window: Window, tmp_path: Path, qtbot: QtBot) -> None:
    opened(window, bumpy(tmp_path), "bumps", qtbot)
    pane = window.fitness.bumps
    form = pane.settings
    form.by.setCurrentIndex(1)
    form.least.setText("20 nm")
    form.least.setModified(True)
    qtbot.keyClick(form.least, Qt.Key.Key_Return)
    settled(window, qtbot)
    assert form.settings == Settings(k=None, height=pytest.approx(20e-9))
    assert pane.counted.specimens["dusty"].count == 0
    form.least.setText("2 nm")
    form.least.setModified(True)
    qtbot.keyClick(form.least, Qt.Key.Key_Return)
    settled(window, qtbot)
    assert pane.counted.specimens["dusty"].count == 2
    form.blank.setCurrentIndex(form.blank.findData("clean"))
    form.blank.activated.emit(0)
    settled(window, qtbot)
    assert any("less blank" in text.text() for text in pane.findChildren(type(pane.problem)))


def test_bumps_are_masked_by_a_step_before_the_levelling(window: Window, tmp_path: Path, qtbot: QtBot) -> None:
    opened(window, bumpy(tmp_path), "bumps", qtbot)
    window.fitness.bumps.mask_it.click()
    first = window.document.bench.treatment.steps[0]
    assert first.do == "mask" and first.what == "bumps"
    settled(window, qtbot)
    assert window.document.comparison.scans_by_name["dusty"].treated.masked > 0


# Trial ----------------------------------------------------------------------------------------------------------------


def test_particles_are_dropped_and_the_answer_joins_the_comparison(
    window: Window, tmp_path: Path, qtbot: QtBot
) -> None:
    opened(window, bumpy(tmp_path)[2:], "trial", qtbot)
    pane, document = window.fitness.trial, window.document
    pane.diameters.setText("20 nm")
    pane.probe.setText("8, 12 nm")
    pane.start.click()
    assert pane.errand.running and not pane.start.isEnabled()
    qtbot.waitUntil(lambda: bool(document.comparison.trials), timeout=120_000)
    trials = document.comparison.trials
    assert [one.probe_radius for one in trials] == pytest.approx([8e-9, 12e-9])
    assert {one.specimen for one in trials} == {"clean"} and not pane.errand.running
    assert len(pane.findChildren(Verdict)) == 2
    [plot] = pane.findChildren(RecallPlot)
    assert [d for d, _ in curve(trials[0])] == sorted(d for d, _ in curve(trials[0]))
    plot.grab()

    document.add_claim("Sq <= 1nm in 60nm..200nm")  # another claim does not touch them
    settled(window, qtbot)
    assert document.comparison.trials == trials
    pane._show_landing(trials[0])
    squares = window.grid.tile("specimen:clean").marks.marks.squares
    assert squares and isinstance(squares[0], Square)
    window.grid.tile("specimen:clean").grab()


def test_a_trial_can_be_stopped_and_bad_lengths_are_told(filled: Window, qtbot: QtBot) -> None:
    filled.show_fitness("trial")
    pane = filled.fitness.trial
    pane.diameters.setText("20 bananas")
    pane.start.click()
    assert not pane.problem.isHidden() and not pane.errand.running
    pane.diameters.setText("20, 30 nm")
    pane.start.click()
    assert pane.errand.running and pane.problem.isHidden()
    pane.end.click()
    assert not pane.errand.running and pane.start.isEnabled()
    qtbot.waitUntil(lambda: not filled.document.busy, timeout=LONG)
    assert not filled.document.comparison.trials


def test_lists_of_lengths_share_a_unit() -> None:
    assert lengths("20, 30, 50 nm") == pytest.approx([20e-9, 30e-9, 50e-9])
    assert lengths("0.1 µm") == pytest.approx([1e-7]) and lengths("8") == pytest.approx([8e-9])
    with pytest.raises(QuantityError):
        lengths("nothing")


# Ladder and calibration -----------------------------------------------------------------------------------------------


def test_steps_are_found_and_no_crystal_is_named(window: Window, tmp_path: Path, qtbot: QtBot) -> None:
    rng = np.random.default_rng(1)
    z = terraces((192, 192), (1e-8, 1e-8), step=3.136e-10, width=4e-7, angle=30, waviness=4e-8, rng=rng)
    write(HeightMap(z + 3e-11 * rng.standard_normal(z.shape), pitch=(1e-8, 1e-8)), tmp_path / "stairs.x3p")
    opened(window, [tmp_path / "stairs.x3p"], "ladder", qtbot)
    pane = window.fitness.ladder
    pane.start.click()
    qtbot.waitUntil(lambda: pane.found is not None, timeout=LONG)
    assert pane.found.kind == "ladder" and "do not name a crystal" in pane.found.sentence
    assert [told.text for told in pane.findChildren(Verdict)] == ["steps found"]
    pane.crystal.setCurrentIndex(pane.crystal.findData("silicon (111)"))
    pane.start.click()
    qtbot.waitUntil(lambda: pane.found is not None and len(pane.found.matches) == 1, timeout=LONG)
    assert pane.found.matches[0].crystal.name == "silicon (111)"
    pane.grab()


def test_no_steps_is_an_answer(filled: Window, qtbot: QtBot) -> None:
    filled.show_fitness("ladder")
    pane = filled.fitness.ladder
    pane.start.click()
    qtbot.waitUntil(lambda: pane.found is not None, timeout=LONG)
    assert [told.text for told in pane.findChildren(Verdict)] == ["no steps"]


def test_a_groove_calibrates_the_heights(
    window: Window, tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    x = np.arange(300) * 1e-7
    z = np.where(np.abs(x - 1.5e-5) < 4e-6, -97e-9, 0.0) * np.ones((16, 1))
    write(HeightMap(z, pitch=(1e-7, 1e-7)), tmp_path / "groove.x3p")
    monkeypatch.setattr(calibration_pane, "log_file", lambda: tmp_path / "log.sqlite")
    opened(window, [tmp_path / "groove.x3p"], "calibration", qtbot)
    pane, document = window.fitness.calibration, window.document
    pane.standard.setText("H1")
    pane.start.click()
    qtbot.waitUntil(lambda: pane.found is not None, timeout=LONG)
    assert pane.found.calibration.z == pytest.approx(100 / 97, rel=1e-6)
    assert pane.found.calibration.u_z == pytest.approx(0.005, rel=1e-6)
    pane.grab()
    pane.keep.click()
    qtbot.waitUntil(lambda: bool(Log(tmp_path / "log.sqlite").entries()), timeout=LONG)
    [entry] = Log(tmp_path / "log.sqlite").entries()
    assert (entry.kind, entry.subject, entry.symbol) == ("calibration", "H1", "z factor")
    pane.use.click()
    settled(window, qtbot)
    assert document.bench.treatment.steps[0].do == "calibrate"
    pane.use.click()
    settled(window, qtbot)
    assert [step.do for step in document.bench.treatment.steps].count("calibrate") == 1


def test_what_is_no_standard_is_told(filled: Window, qtbot: QtBot) -> None:
    filled.show_fitness("calibration")
    pane = filled.fitness.calibration
    pane.start.click()
    qtbot.waitUntil(lambda: not pane.problem.isHidden(), timeout=LONG)
    assert pane.found is None and pane.use.isHidden() is False and pane._acts.isHidden()


def test_a_threshold_in_sigma_is_understood_or_left(qtbot: QtBot) -> None:
    form = BumpSettings()
    qtbot.addWidget(form)
    form.show()
    for typed, sigma in (("6,5", 6.5), ("nonsense", 6.5), ("900", 6.5), ("8 σ", 8.0)):
        form.k.setText(typed)
        qtbot.keyClick(form.k, Qt.Key.Key_Return)
        assert form.settings.k == sigma and form.k.text() == f"{sigma:g} σ"
