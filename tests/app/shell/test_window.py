"""The whole window: drops, tiles, scale, standing, treatment, keys. Conditions are waited for, never times."""

from __future__ import annotations

import gc
import threading
import weakref
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QMimeData, QPointF, QRect, QSize, Qt, QUrl
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit, QPushButton, QWidget
from pytestqt.qtbot import QtBot

import app.document.loading
from app.shell import dialogs, layout
from app.shell.window import Window
from app.theme import colour, theme
from core.formats import write
from core.heightmap import HeightMap
from core.measures import CATALOGUE, FAMILIES
from core.scale import Scale
from core.treatment import Rows


def settle(window: Window, qtbot: QtBot) -> None:
    document = window.document
    qtbot.waitUntil(lambda: not document.busy and (document.up_to_date or not document.bench.scans), timeout=20_000)


def drop(target: QWidget, paths: list[Path]) -> bool:
    """Drop files on a widget as the platform does: enter, then drop, each passed up until somebody takes it."""
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path)) for path in paths])
    place, copy = target.rect().center(), Qt.DropAction.CopyAction
    enter = QDragEnterEvent(place, copy, data, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier)
    QApplication.sendEvent(target, enter)
    drop = QDropEvent(QPointF(place), copy, data, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier)
    QApplication.sendEvent(target, drop)
    return enter.isAccepted() and drop.isAccepted()


def key(window: Window, text: Qt.Key, modifier: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
    QTest.keyClick(window, text, modifier)


# Beginning -----------------------------------------------------------------------------------------------------------


def test_the_empty_window_teaches(window: Window) -> None:
    assert window.stack.currentWidget() is window.empty
    assert window.empty.add.isVisible() and window.empty.samples.isVisible()
    assert window.windowTitle().startswith("Untitled bench")
    assert not window.bar.hand_over.isEnabled()


def test_the_samples_are_opened(qtbot: QtBot, window: Window, scan_files: list[Path]) -> None:
    window.acts._samples = lambda _: scan_files
    qtbot.mouseClick(window.empty.samples, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: len(window.document.bench.scans) == 6, timeout=20_000)
    settle(window, qtbot)
    assert window.stack.currentWidget() is window.grid
    assert window.document.bench.title


def test_files_are_dropped_on_any_child(window: Window, scan_files: list[Path], qtbot: QtBot) -> None:
    fields = window.findChildren(QLineEdit)
    assert fields and not any(field.acceptDrops() for field in fields)  # a field would swallow the path as text
    for target, path in zip(
        [window.empty, window.bar.title, window.treatment.viewport(), window.standing.table.viewport()],
        scan_files,
        strict=False,
    ):
        count = len(window.document.bench.scans)
        assert drop(target, [path]), target
        qtbot.waitUntil(lambda count=count: len(window.document.bench.scans) == count + 1, timeout=20_000)
    settle(window, qtbot)
    assert len(window.document.bench.scans) == 4


def test_what_is_no_file_is_not_taken(window: Window) -> None:
    assert not drop(window.empty, [])


def test_a_tile_is_there_before_its_map(
    window: Window, scan_files: list[Path], qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    gate, take = threading.Event(), app.document.loading.take

    def slow(path: Path, **said: str | None) -> object:
        gate.wait(10)
        return take(path, **said)

    monkeypatch.setattr(app.document.loading, "take", slow)
    drop(window.empty, scan_files)
    qtbot.waitUntil(lambda: len(window.grid.keys) == 6)
    assert {window.grid.tile(k).state.status for k in window.grid.keys} == {"waiting"}
    assert window.status.cancel.isVisible()
    gate.set()
    settle(window, qtbot)
    assert window.grid.keys == ["specimen:mica", "specimen:film"]
    assert {window.grid.tile(k).state.status for k in window.grid.keys} == {"ready"}
    assert window.status.said.text() == "all readings up to date"


def test_a_refused_file_has_its_tile_and_can_go(
    window: Window, scan_files: list[Path], tmp_path: Path, qtbot: QtBot
) -> None:
    bad = tmp_path / "bad.x3p"
    bad.write_bytes(b"PK\x03\x04 no archive")
    drop(window.empty, [*scan_files, bad])
    qtbot.waitUntil(lambda: bool(window.document.bench.refused), timeout=20_000)
    settle(window, qtbot)
    refused = window.grid.tile(window.grid.keys[-1]).state
    assert refused.status == "refused" and refused.title == "bad.x3p" and refused.message
    assert any("refused" in notice.text for notice in window.notices.shown)
    assert len(window.document.comparison.scans) == 6
    window.acts.remove(refused.key)
    assert refused.key not in window.grid.keys


def test_a_file_without_pixel_size_is_asked_about(
    window: Window, tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    np.save(tmp_path / "film.npy", np.random.default_rng(1).standard_normal((32, 32)))
    drop(window.empty, [tmp_path / "film.npy"])
    qtbot.waitUntil(lambda: bool(window.notices.shown))
    tile = window.grid.tile(window.grid.keys[0]).state
    assert "Say pixel size" in tile.fix and "--" not in tile.fix
    monkeypatch.setattr(dialogs, "ask_quantities", lambda *_: ("10nm", "nm"))
    window.notices.shown[0].choices[0].click()
    qtbot.waitUntil(lambda: len(window.document.bench.scans) == 1, timeout=20_000)
    settle(window, qtbot)
    assert window.grid.keys == ["specimen:film"]


def test_the_question_for_quantities_checks_them(qtbot: QtBot) -> None:
    dialog = dialogs.QuantityDialog(None)
    qtbot.addWidget(dialog)
    dialog.pixel.setText("ten")
    dialog._check()
    assert dialog.result() == 0 and "ten" in dialog._problem.text()
    dialog.pixel.setText("10nm")
    dialog.unit.setText("nm")
    dialog._check()
    assert dialog.result() == 1 and dialog.quantities == ("10nm", "nm")


# Tiles and scale -----------------------------------------------------------------------------------------------------


def test_tiles_stand_by_rank_and_say_reading_and_spots(filled: Window) -> None:
    mica, film = (filled.grid.tile(key).state for key in filled.grid.keys)
    assert (mica.title, mica.rank, film.title, film.rank) == ("mica", 1, "film", 2)
    assert mica.reading.startswith("Sq 0.2") and mica.subtitle == "3 spots" and len(mica.spots) == 3
    assert mica.colour != film.colour


def test_the_other_spots_are_one_key_away(filled: Window, qtbot: QtBot) -> None:
    filled.grid.chosen.emit("specimen:mica")
    first = filled.grid.tile("specimen:mica").state.scan.name
    filled.commands["spot-next"].trigger()
    second = filled.grid.tile("specimen:mica").state.scan.name
    assert first != second
    filled.commands["spot-previous"].trigger()
    assert filled.grid.tile("specimen:mica").state.scan.name == first
    filled.commands["every-scan"].trigger()
    assert len(filled.grid.keys) == 6


def test_switching_the_scale_changes_no_reading(filled: Window, qtbot: QtBot) -> None:
    before = [filled.grid.tile(key).state.reading for key in filled.grid.keys]
    qtbot.mouseClick(filled.bar.scale.switch, Qt.MouseButton.LeftButton)
    assert not filled.document.bench.scale.shared
    assert filled.bar.scale._said.text() == "Own scales"
    settle(filled, qtbot)
    assert [filled.grid.tile(key).state.reading for key in filled.grid.keys] == before
    filled.document.stack.undo()
    assert filled.bar.scale.switch.isChecked()


@pytest.mark.parametrize(
    ("typed", "metres"), [("12,5 nm", 12.5e-9), ("0.02 µm", 2e-8), ("30", 3e-8)], ids=["comma", "micro", "bare"]
)
def test_the_scale_is_typed(filled: Window, qtbot: QtBot, typed: str, metres: float) -> None:
    field = filled.bar.scale.high
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, typed)
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert filled.document.bench.scale.preset == "typed"
    assert filled.document.limits[1] == pytest.approx(metres)


def test_a_scale_upside_down_is_refused(filled: Window, qtbot: QtBot) -> None:
    field, count = filled.bar.scale.high, filled.document.stack.count()
    field.selectAll()
    qtbot.keyClicks(field, "-900")
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert filled.document.stack.count() == count
    assert field.metres == pytest.approx(filled.document.limits[1])
    assert any("two ends" in notice.text for notice in filled.notices.shown)


def test_nonsense_in_the_scale_is_marked_and_changes_nothing(filled: Window, qtbot: QtBot) -> None:
    field, before = filled.bar.scale.low, filled.document.bench
    field.selectAll()
    qtbot.keyClicks(field, "much")
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert field.property("wrong") is True
    assert filled.document.bench is before


def test_the_cursor_is_told_for_every_tile(filled: Window) -> None:
    filled.grid.pointed.emit((1e-8, -1e-8))
    text = filled.status.cursor_readings.text()
    heights = filled.grid.readings_at(1e-8, -1e-8)
    assert "mica" in text and "film" in text and "x 10 nm" in text
    assert f"{heights['specimen:film'] / 1e-9:.2f}".replace("-", "−") in text
    filled.grid.pointed.emit(None)
    assert filled.status.cursor_readings.text() == ""


# Standing and treatment ----------------------------------------------------------------------------------------------


def test_ranking_by_another_reading(filled: Window, qtbot: QtBot) -> None:
    actions = {action.data(): action for action in filled.bar.rank.menu().actions()}
    actions["Sa"].trigger()
    settle(filled, qtbot)
    assert filled.document.comparison.rank_by == "Sa"
    assert filled.grid.tile("specimen:mica").state.reading.startswith("Sa ")
    assert "Sa" in filled.bar.rank.text()


def test_editing_a_step_in_its_form(filled: Window, qtbot: QtBot) -> None:
    card = filled.treatment.cards.all[0]
    card.opened.emit()
    form = filled.treatment.cards.all[0].form
    combo = form.inputs["form"]
    combo.activated.emit(1)  # polynomial
    level = filled.document.bench.treatment.steps[0]
    assert (level.form, level.degree) == ("polynomial", 2)
    form = filled.treatment.cards.all[0].form  # the form follows: now it has a degree
    line = form.inputs["degree"]
    line.setFocus()
    line.selectAll()
    qtbot.keyClicks(line, "9")
    qtbot.keyClick(line, Qt.Key.Key_Return)
    assert form.problem.isVisible() and "1 to 5" in form.problem.text()
    assert filled.document.bench.treatment.steps[0].degree == 2
    line.selectAll()
    qtbot.keyClicks(line, "3")
    qtbot.keyClick(line, Qt.Key.Key_Return)
    assert filled.document.bench.treatment.steps[0].degree == 3
    settle(filled, qtbot)
    assert "RMS" in filled.treatment.cards.all[0].accessibleName()


def test_cards_are_driven_by_keys(filled: Window, qtbot: QtBot) -> None:
    filled.document.add_step(Rows())
    settle(filled, qtbot)
    filled.treatment.cards.focus(1)
    card = filled.treatment.cards.all[1]
    qtbot.keyClick(card, Qt.Key.Key_Space)
    assert not filled.document.bench.treatment.steps[1].on
    qtbot.keyClick(filled.treatment.cards.all[1], Qt.Key.Key_Up, Qt.KeyboardModifier.AltModifier)
    assert [step.do for step in filled.document.bench.treatment.steps] == ["rows", "level", "zero"]
    qtbot.keyClick(filled.treatment.cards.all[0], Qt.Key.Key_Delete)
    assert [step.do for step in filled.document.bench.treatment.steps] == ["level", "zero"]
    assert len(filled.document.bench.scans) == 6  # Delete meant the step
    settle(filled, qtbot)


def test_what_a_step_removed_is_told(filled: Window) -> None:
    said = [card.accessibleName() for card in filled.treatment.cards.all]
    assert "removed" in said[0] and "(median)" in said[0]


def test_help_on_a_reading(filled: Window, qtbot: QtBot) -> None:
    qtbot.mouseClick(filled.standing.ask, Qt.MouseButton.LeftButton)
    assert filled.help.isVisible()
    assert "ISO 25178" in filled.help.readings.text()
    filled.commands["guide"].trigger()
    assert filled.help.guide.toPlainText()


# Keys, names, files --------------------------------------------------------------------------------------------------


def test_keys(filled: Window, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    key(filled, Qt.Key.Key_S)
    assert not filled.document.bench.scale.shared
    key(filled, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert filled.document.bench.scale.shared
    key(filled, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier)
    assert not filled.document.bench.scale.shared
    filled.grid.chosen.emit("specimen:film")
    key(filled, Qt.Key.Key_Delete)
    assert list(filled.document.bench.specimens) == ["mica"]
    monkeypatch.setattr(dialogs, "ask_text", lambda *_, **__: "muscovite")
    filled.grid.chosen.emit("specimen:mica")
    key(filled, Qt.Key.Key_F2)
    assert list(filled.document.bench.specimens) == ["muscovite"]
    settle(filled, qtbot)


def test_every_command_is_in_a_menu_or_on_a_key(window: Window) -> None:
    texts = set()
    for menu in [*window.bar.menu.menu().actions()]:
        stack = [menu]
        while stack:
            action = stack.pop()
            if action.menu():
                stack += action.menu().actions()
            else:
                texts.add(action.objectName())
    assert texts >= set(window.commands.by_id)


def test_no_two_commands_share_a_key(window: Window) -> None:
    keys = [key for command in window.commands.by_id.values() for key in command.keys]
    assert len(keys) == len(set(keys))


def test_the_finder_gives_commands(filled: Window, qtbot: QtBot) -> None:
    from app.shell.finder import Finder

    finder = Finder(filled.commands)
    qtbot.addWidget(finder)
    finder.show()
    qtbot.keyClicks(finder.line, "every scan")
    assert finder.list.count() == 1
    qtbot.keyClick(finder.line, Qt.Key.Key_Return)
    assert filled.presenter.every_scan


def test_letters_typed_into_the_title_are_no_commands(filled: Window, qtbot: QtBot) -> None:
    filled.activateWindow()
    filled.bar.title.setFocus()
    qtbot.keyClicks(filled.bar.title, "Slots 0")
    assert filled.document.bench.scale.shared and filled.bar.title.text() == "Slots 0"
    qtbot.keyClick(filled.bar.title, Qt.Key.Key_Return)
    assert filled.document.bench.title == "Slots 0"
    assert filled.windowTitle().startswith("Slots 0")


def test_a_specimen_takes_scans_of_another(filled: Window, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(dialogs, "ask_text", lambda *_, **__: "film")
    filled.commands["every-scan"].trigger()
    filled.grid.chosen.emit("scan:mica spot 2")
    filled.commands["move"].trigger()
    assert [len(scans) for scans in filled.document.bench.specimens.values()] == [2, 4]
    settle(filled, qtbot)


# Look ----------------------------------------------------------------------------------------------------------------


def test_light_and_dark(filled: Window, qtbot: QtBot) -> None:
    filled.pin_theme("dark")
    dark = filled.bar.grab().toImage().pixelColor(3, 3)
    assert dark == colour("panel") and dark.lightness() < 60
    filled.commands["light-dark"].trigger()
    assert theme().mode == "light"
    assert filled.bar.grab().toImage().pixelColor(3, 3).lightness() > 200
    filled.pin_theme("system")


def test_the_window_comes_back_where_it_was(window: Window, own_settings: Path, qtbot: QtBot) -> None:
    window.docks[0].hide()
    window.resize(window.minimumSizeHint().expandedTo(QSize(700, 560)))
    layout.remember(window)
    again = Window(samples=lambda _: [], autosave=own_settings / "autosave")
    qtbot.addWidget(again)
    assert again.docks[0].isHidden()
    assert again.height() == window.height()  # the off-screen platform is narrower than the window
    again.document.shut()
    again.autosave.end()


def test_a_window_whose_screen_is_gone_comes_back(window: Window) -> None:
    window.move(-5000, 9000)
    layout.keep_on_screen(window)
    room = window.screen().availableGeometry()
    assert room.intersects(QRect(window.pos(), window.size()))


def test_panels_are_hidden_and_brought_back(window: Window) -> None:
    window.commands["panel-standing"].trigger()
    assert window.docks[2].isHidden()
    window.commands["panels-default"].trigger()
    assert not window.docks[2].isHidden()


# Safety --------------------------------------------------------------------------------------------------------------


def test_unsaved_changes_are_asked_for(filled: Window, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot) -> None:
    monkeypatch.setattr(dialogs, "ask_keep", lambda *_: "cancel")
    filled.close()
    assert filled.isVisible()
    filled.commands["new"].trigger()
    assert filled.document.bench.scans
    monkeypatch.setattr(dialogs, "ask_keep", lambda *_: "discard")
    filled.commands["new"].trigger()
    assert filled.document.empty and filled.stack.currentWidget() is filled.empty


def test_a_window_that_is_saved_on_closing_closes_then(
    filled: Window, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, qtbot: QtBot
) -> None:
    monkeypatch.setattr(dialogs, "ask_keep", lambda *_: "save")
    monkeypatch.setattr(dialogs, "ask_save", lambda *_, **__: tmp_path / "kept.h5")
    filled.close()
    qtbot.waitUntil(lambda: not filled.isVisible(), timeout=10_000)
    assert (tmp_path / "kept.h5").exists()
    assert not filled.autosave.folder.exists()


def test_maps_are_let_go_with_their_bench(filled: Window, qtbot: QtBot) -> None:
    maps = [weakref.ref(scan.raw) for scan in filled.document.bench.scans]
    treated = [weakref.ref(scan.treated) for scan in filled.document.comparison.scans]
    qtbot.waitUntil(lambda: filled.autosave.idle and filled.grid.settled, timeout=10_000)
    filled.document.stack.setClean()
    filled.document.new()
    assert filled.document.empty

    def gone() -> bool:
        gc.collect()
        return not any(ref() for ref in (*maps, *treated))

    qtbot.waitUntil(gone, timeout=10_000)


def test_text_from_files_is_shown_as_it_is(filled: Window, qtbot: QtBot) -> None:
    filled.document.rename_specimen("film", "<b>film</b>")
    filled.document.set_scale(Scale())
    settle(filled, qtbot)
    labels = [card for card in filled.standing.findChildren(QWidget) if getattr(card, "textFormat", None)]
    assert labels and all(found.textFormat() == Qt.TextFormat.PlainText for found in labels)


def test_one_click_adds_the_common_band_that_makes_scans_comparable(
    window: Window, qtbot: QtBot, tmp_path: Path
) -> None:
    rng = np.random.default_rng(8)
    for name, side in (("small", 60), ("large", 90)):
        for spot in (1, 2):
            scan = HeightMap(1e-9 * rng.standard_normal((side, side)), pitch=(1e-8, 1e-8), name=f"{name} spot {spot}")
            write(scan, tmp_path / f"{name} spot {spot}.x3p")
    document = window.document
    document.add_files([tmp_path])
    qtbot.waitUntil(lambda: document.comparison is not None and document.up_to_date, timeout=20_000)
    assert {pair.level for pair in document.comparison.comparability} == {"red"}
    cure = next(b for b in window.findChildren(QPushButton) if b.text() == "Add a common band")
    qtbot.mouseClick(cure, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: document.up_to_date and document.comparison.band.filtered, timeout=20_000)
    assert {pair.level for pair in document.comparison.comparability} == {"green"}
    assert not [b for b in window.findChildren(QPushButton) if b.text() == "Add a common band" and b.isVisible()]
    document.stack.undo()
    qtbot.waitUntil(lambda: document.up_to_date and not document.comparison.band.filtered, timeout=20_000)


def test_readings_are_offered_by_family_and_directions_rank_nothing(window: Window) -> None:
    menu = window.bar.rank.menu()
    families = [action.text() for action in menu.actions() if action.menu()]
    assert families == [name.capitalize() for name in FAMILIES][1:]
    offered = {action.data() for action in window.bar._group.actions()}
    assert offered == {symbol for symbol, quantity in CATALOGUE.items() if quantity.period is None}
