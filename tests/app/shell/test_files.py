"""Bench files, hand-over and what survives a crash."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app.commands import handover
from app.document.autosave import Autosave, read_kept
from app.document.document import Document
from app.shell import dialogs
from app.shell.notices import Notice
from app.shell.window import Window
from core.scale import Scale
from core.treatment import Rows


def settle(document: Document, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: not document.busy and (document.up_to_date or not document.bench.scans), timeout=30_000)


def test_a_bench_is_saved_and_opened_again(
    filled: Window, tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    document, path = filled.document, tmp_path / "carriers.h5"
    document.set_title("Carriers")
    document.set_scale(Scale.typed(-3e-9, 5e-9))
    document.add_step(Rows())
    settle(document, qtbot)
    monkeypatch.setattr(dialogs, "ask_save", lambda *_, **__: path)
    filled.commands["save"].trigger()
    qtbot.waitUntil(document.stack.isClean)
    assert document.file == path and path.exists()
    saved = document.bench
    document.new()
    filled.acts.receive([path])  # as a drop or the command line does
    qtbot.waitUntil(lambda: len(document.bench.scans) == 6, timeout=20_000)
    settle(document, qtbot)
    assert (document.bench.title, document.bench.scale) == (saved.title, saved.scale)
    assert document.bench.treatment == saved.treatment
    assert [scan.name for scan in document.bench.scans] == [scan.name for scan in saved.scans]
    assert document.stack.isClean() and document.file == path
    assert filled.windowTitle().startswith("Carriers")


def test_a_damaged_bench_file_is_told(window: Window, tmp_path: Path, qtbot: QtBot) -> None:
    path = tmp_path / "bench.h5"
    path.write_bytes(b"\x89HDF\r\n\x1a\n" + b"\0" * 200)
    with qtbot.waitSignal(window.document.noticed) as told:
        window.document.open(path)
    assert told.args[0] == "red"
    assert window.document.empty


def test_hand_over_writes_the_files(
    filled: Window, tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(dialogs, "ask_folder", lambda *_: tmp_path / "out")
    filled.commands["hand-over-all"].trigger()
    settle(filled.document, qtbot)
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"sheet.json", "sheet.csv", "sheet.xlsx", "sheet.html", "figure.png", "figure.svg", "figure.pdf"} <= names
    sheet = json.loads((tmp_path / "out" / "sheet.json").read_text(encoding="utf-8"))
    assert [place["specimen"] for place in sheet["standing"]] == ["mica", "film"]


@pytest.mark.parametrize(("suffix", "begin"), [(".png", b"\x89PNG"), (".svg", b"<?xml"), (".pdf", b"%PDF")])
def test_the_figure_goes_to_the_file_that_was_named(
    filled: Window, tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch, suffix: str, begin: bytes
) -> None:
    path = tmp_path / f"slide{suffix}"
    monkeypatch.setattr(dialogs, "ask_save", lambda *_, **__: path)
    filled.commands["hand-over-figure"].trigger()
    settle(filled.document, qtbot)
    assert path.read_bytes().startswith(begin)
    assert [p.name for p in tmp_path.iterdir() if p.suffix == suffix] == [path.name]


def test_a_treatment_goes_to_a_file_and_comes_back(
    filled: Window, tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "treatment.toml"
    filled.document.add_step(Rows())
    settle(filled.document, qtbot)
    monkeypatch.setattr(dialogs, "ask_save", lambda *_, **__: path)
    filled.commands["hand-over-treatment"].trigger()
    settle(filled.document, qtbot)
    kept = filled.document.bench.treatment
    filled.document.remove_step(0)
    monkeypatch.setattr(dialogs, "ask_treatment", lambda *_: path)
    filled.commands["treatment-open"].trigger()
    assert filled.document.bench.treatment == kept
    path.write_text("schema = 99", encoding="utf-8")
    with qtbot.waitSignal(filled.document.noticed) as told:
        filled.commands["treatment-open"].trigger()
    assert "schema" in told.args[1]
    settle(filled.document, qtbot)


def test_a_folder_that_cannot_be_written_is_told(
    filled: Window, tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setattr(dialogs, "ask_folder", lambda *_: tmp_path / "file")
    with qtbot.waitSignal(filled.document.noticed) as told:
        filled.commands["hand-over-all"].trigger()
    assert told.args[0] == "red"
    settle(filled.document, qtbot)


def test_the_bench_is_kept_and_forgotten_at_a_good_end(filled: Window, qtbot: QtBot) -> None:
    filled.document.set_title("Kept")
    filled.document.add_step(Rows())
    settle(filled.document, qtbot)
    filled.autosave.keep()
    qtbot.waitUntil(lambda: filled.autosave.idle, timeout=10_000)
    filled.autosave.keep()
    qtbot.waitUntil(lambda: filled.autosave.idle, timeout=10_000)
    kept = read_kept(filled.autosave.folder)
    assert kept.title == "Kept" and kept.treatment == filled.document.bench.treatment
    assert [scan.specimen for scan in kept.scans] == [scan.specimen for scan in filled.document.bench.scans]
    assert filled.autosave.lost() == []  # its own lock is held
    filled.autosave.end()
    assert not filled.autosave.folder.exists()


def test_only_new_scans_write_the_maps_again(filled: Window, qtbot: QtBot) -> None:
    filled.autosave.keep()
    qtbot.waitUntil(lambda: filled.autosave.idle, timeout=10_000)
    maps, acts = filled.autosave.folder / "maps.h5", filled.autosave.folder / "acts.json"
    before = maps.stat().st_mtime_ns, acts.stat().st_mtime_ns
    filled.document.set_title("Another")
    settle(filled.document, qtbot)
    filled.autosave.keep()
    qtbot.waitUntil(lambda: filled.autosave.idle, timeout=10_000)
    assert maps.stat().st_mtime_ns == before[0] and acts.stat().st_mtime_ns > before[1]


KILLED = """
    import sys
    from pathlib import Path
    from PySide6.QtCore import QSettings, QTimer
    from PySide6.QtWidgets import QApplication
    from app.shell.window import Window

    app = QApplication([])
    QSettings.setPath(QSettings.Format.IniFormat, QSettings.Scope.UserScope, sys.argv[1])
    window = Window(samples=lambda _: [], autosave=Path(sys.argv[1]) / "autosave")
    window.document.add_files([Path(name) for name in sys.argv[2:]])

    def look():
        done = (window.autosave.folder / "acts.json").exists() and window.autosave.idle
        if done and window.document.up_to_date and not window.document.busy:
            print("kept", flush=True)

    timer = QTimer()
    timer.timeout.connect(look)
    timer.start(50)
    app.exec()
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="kills a process the POSIX way")
def test_a_kill_loses_nothing(window: Window, scan_files: list[Path], own_settings: Path, qtbot: QtBot) -> None:
    victim = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(KILLED), str(own_settings), *map(str, scan_files)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[3])},
    )
    with victim:
        assert victim.stdout.readline() == "kept\n"
        assert window.autosave.lost() == []  # it is alive
        victim.send_signal(signal.SIGKILL)
        victim.wait(10)
    assert len(window.autosave.lost()) == 1
    window.autosave.offer_lost(window.notices)
    offer = window.notices.shown[-1]
    assert "6 scans" in offer.text
    offer.choices[0].click()
    qtbot.waitUntil(lambda: len(window.document.bench.scans) == 6, timeout=20_000)
    settle(window.document, qtbot)
    assert not window.document.stack.isClean()  # it has no file of its own yet
    qtbot.waitUntil(lambda: window.autosave.lost() == [] and window.autosave.idle, timeout=10_000)


def test_what_cannot_be_kept_is_said_once(
    filled: Window, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise OSError("no room")

    monkeypatch.setattr("app.document.autosave._write", broken)
    told: list[str] = []
    filled.document.noticed.connect(lambda _, text: told.append(text))
    for _ in range(2):
        filled.autosave.keep()
        qtbot.waitUntil(lambda: filled.autosave.idle, timeout=10_000)
    assert len(told) == 1 and "no room" in told[0]


def test_a_window_without_scans_keeps_nothing(document_alone: Document, tmp_path: Path) -> None:
    autosave = Autosave(document_alone, tmp_path)
    autosave.keep()
    assert not autosave.folder.exists()
    autosave.end()


@pytest.fixture
def document_alone(qtbot: QtBot) -> Document:
    made = Document()
    yield made
    made.shut()


def test_a_dropped_figure_offers_to_rebuild_its_bench(filled: Window, tmp_path: Path, qtbot: QtBot) -> None:
    document = filled.document
    document.rename_specimen("film", "the film")
    document.set_zero("lowest")
    settle(document, qtbot)
    expected = document.comparison
    handover.write_figure(document, tmp_path / "figure.png")
    settle(document, qtbot)
    document.new()
    filled.acts.receive([tmp_path / "figure.png"])

    def offer() -> Notice | None:
        return next(
            (notice for notice in filled.notices.shown if "carries a comparison of 6 scans" in notice.text), None
        )

    qtbot.waitUntil(lambda: offer() is not None, timeout=20_000)
    notice = offer()
    assert notice is not None
    qtbot.mouseClick(notice.choices[0], Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: bool(document.bench.scans), timeout=20_000)
    settle(document, qtbot)
    assert set(document.bench.specimens) == {"mica", "the film"}
    assert document.bench.treatment == expected.treatment
    assert document.comparison.shared_range == expected.shared_range
    assert not document.stack.isClean()  # nothing of it is in a bench file yet
