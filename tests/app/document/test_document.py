"""The document: loading, undo of every kind of change, and which changes touch a map."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

import app.document.loading
import app.document.renewal
from app.document.document import Document
from core.bench import Bench
from core.scale import Scale
from core.treatment import Crop, Level, Mask, Rows, Treatment, Zero


@pytest.fixture
def document(qtbot: QtBot) -> Iterator[Document]:
    made = Document()
    yield made
    made.shut()


@pytest.fixture
def compared(document: Document, scan_files: list[Path], qtbot: QtBot) -> Document:
    document.add_files(scan_files)
    settle(document, qtbot)
    return document


def settle(document: Document, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: not document.busy and (document.up_to_date or not document.bench.scans), timeout=20_000)


def readings(document: Document) -> dict[str, dict[str, float | None]]:
    assert document.comparison is not None
    return {scan.name: {s: r.value for s, r in scan.readings.items()} for scan in document.comparison.scans}


def test_adding_many_files_is_one_entry(compared: Document) -> None:
    assert [scan.name for scan in compared.bench.scans] == [
        f"{specimen} spot {spot}" for specimen in ("mica", "film") for spot in (1, 2, 3)
    ]
    assert compared.stack.count() == 1
    assert compared.stack.undoText() == "add 6 scans"
    assert [place.specimen for place in compared.comparison.standing] == ["mica", "film"]


def test_a_placeholder_is_there_before_the_map(
    document: Document, scan_files: list[Path], qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    gate, take = threading.Event(), app.document.loading.take

    def slow(path: Path, **said: str | None) -> object:
        gate.wait(10)
        return take(path, **said)

    monkeypatch.setattr(app.document.loading, "take", slow)
    document.add_files(scan_files[:2])
    qtbot.waitUntil(lambda: len(document.arrivals) == 2)
    assert all(arrival.waiting for arrival in document.arrivals)
    assert document.busy and not document.empty
    gate.set()
    settle(document, qtbot)
    assert len(document.bench.scans) == 2 and not document.arrivals


def test_a_refused_file_keeps_the_others(
    document: Document, scan_files: list[Path], tmp_path: Path, qtbot: QtBot
) -> None:
    bad = tmp_path / "bad.npy"
    bad.write_bytes(b"\x93NUMPY and then nothing")
    with qtbot.waitSignal(document.refused) as told:
        document.add_files([scan_files[0], bad, scan_files[1]])
    settle(document, qtbot)
    assert told.args == [1]
    assert len(document.bench.scans) == 2
    assert [Path(refusal.file).name for refusal in document.bench.refused] == ["bad.npy"]
    assert document.bench.refused[0].reason
    assert document.stack.count() == 1


def test_a_reader_that_breaks_refuses_its_file(
    document: Document, scan_files: list[Path], qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(path: Path, **_: str | None) -> object:
        raise RuntimeError("a fault of ours")

    monkeypatch.setattr(app.document.loading, "take", broken)
    document.add_files(scan_files[:1])
    qtbot.waitUntil(lambda: bool(document.bench.refused))
    assert "a fault of ours" in document.bench.refused[0].reason


def test_a_folder_without_scans_is_told(document: Document, tmp_path: Path, qtbot: QtBot) -> None:
    (tmp_path / "empty").mkdir()
    with qtbot.waitSignal(document.noticed) as told:
        document.add_files([tmp_path / "empty"])
    assert "empty" in told.args[1]
    assert document.empty


def test_cancelled_loading_keeps_what_was_read(
    document: Document, scan_files: list[Path], qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    gate, take = threading.Event(), app.document.loading.take

    def slow(path: Path, **said: str | None) -> object:
        if path != scan_files[0]:
            gate.wait(10)
        return take(path, **said)

    monkeypatch.setattr(app.document.loading, "take", slow)
    document.add_files(scan_files)
    qtbot.waitUntil(lambda: any(arrival.scan is not None for arrival in document.arrivals))
    document.cancel()
    gate.set()
    qtbot.waitUntil(lambda: not document.busy or document.up_to_date)
    assert [scan.name for scan in document.bench.scans] == ["mica spot 1"]
    settle(document, qtbot)


ACTS: dict[str, Callable[[Document], None]] = {
    "remove": lambda d: d.remove(["mica spot 1"]),
    "move": lambda d: d.move(["mica spot 1"], "film"),
    "rename": lambda d: d.rename_specimen("mica", "muscovite"),
    "treatment": lambda d: d.set_treatment(Treatment((Level(form="polynomial", degree=2), Zero(at="lowest")))),
    "add step": lambda d: d.add_step(Rows()),
    "edit step": lambda d: d.edit_step(0, Level(form="polynomial", degree=3)),
    "switch step": lambda d: d.switch_step(0, False),
    "move step": lambda d: d.move_step(0, 1),
    "remove step": lambda d: d.remove_step(1),
    "zero": lambda d: d.set_zero("lowest"),
    "rank by": lambda d: d.set_rank_by("Sa"),
    "scale": lambda d: d.set_scale(Scale.typed(-1e-9, 1e-9)),
    "own scales": lambda d: d.set_scale(replace(d.bench.scale, shared=False)),
    "title": lambda d: d.set_title("Which one?"),
}


@pytest.mark.parametrize("act", ACTS)
def test_every_change_is_undone_and_redone(compared: Document, act: str, qtbot: QtBot) -> None:
    before, count = compared.bench, compared.stack.count()
    ACTS[act](compared)
    after = compared.bench
    assert after != before
    assert compared.stack.count() == count + 1 and compared.stack.undoText()
    compared.stack.undo()
    assert compared.bench is before
    compared.stack.redo()
    assert compared.bench is after
    settle(compared, qtbot)
    assert compared.up_to_date


def test_undoing_the_first_addition_empties_the_bench(compared: Document, qtbot: QtBot) -> None:
    compared.stack.undo()
    assert compared.empty and compared.comparison is None
    compared.stack.redo()
    settle(compared, qtbot)
    assert len(compared.comparison.scans) == 6


def test_a_change_that_changes_nothing_is_no_entry(compared: Document) -> None:
    count = compared.stack.count()
    compared.set_rank_by(compared.bench.rank_by)
    compared.set_title(compared.bench.title)
    compared.move_step(0, 0)
    compared.rename_specimen("mica", "mica")
    assert compared.stack.count() == count


@pytest.mark.parametrize(
    "act", ["rank by", "scale", "own scales", "title"], ids=["rank by", "scale", "own scales", "title"]
)
def test_looking_in_another_way_touches_no_map(
    compared: Document, act: str, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(app.document.renewal, "compare", lambda *_, **__: pytest.fail("a map was touched"))
    before, maps = readings(compared), [scan.treated for scan in compared.comparison.scans]
    ACTS[act](compared)
    settle(compared, qtbot)
    assert readings(compared) == before
    assert all(a is b.treated for a, b in zip(maps, compared.comparison.scans, strict=True))


def test_the_scale_is_exact(compared: Document, qtbot: QtBot) -> None:
    compared.set_scale(Scale.typed(-1.5e-9, 2.5e-9))
    assert compared.limits == (-1.5e-9, 2.5e-9)  # at once, whatever is still running
    compared.set_scale(Scale(preset="widest"))
    settle(compared, qtbot)
    heights = [scan.treated.z for scan in compared.comparison.scans]
    assert compared.limits == (min(z.min() for z in heights), max(z.max() for z in heights))


def test_another_treatment_supersedes_the_one_that_runs(
    compared: Document, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    compare, begun, cancelled = app.document.renewal.compare, threading.Event(), threading.Event()

    def slow(bench: Bench, **how: object) -> object:
        if bench.treatment.steps[0].do == "mask":
            begun.set()
            while not how["cancel"].requested:
                threading.Event().wait(0.001)
            cancelled.set()
        return compare(bench, **how)

    monkeypatch.setattr(app.document.renewal, "compare", slow)
    seen: list[str] = []
    compared.compared.connect(lambda: seen.append(compared.comparison.treatment.describe()))
    compared.set_treatment(Treatment((Mask(), Level())))
    qtbot.waitUntil(begun.is_set)
    compared.set_treatment(Treatment((Rows(), Level())))
    settle(compared, qtbot)
    assert cancelled.is_set()
    assert compared.comparison.treatment.steps[0].do == "rows"
    assert all("masked" not in said for said in seen)


def test_a_cancelled_comparison_can_be_asked_for_again(
    compared: Document, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    compare, hold = app.document.renewal.compare, [True]

    def slow(bench: Bench, **how: object) -> object:
        while hold[0] and not how["cancel"].requested:
            threading.Event().wait(0.001)
        return compare(bench, **how)

    monkeypatch.setattr(app.document.renewal, "compare", slow)
    compared.add_step(Rows())
    compared.cancel()
    assert not compared.busy and not compared.up_to_date
    hold[0] = False
    compared.compare_again()
    settle(compared, qtbot)
    assert compared.up_to_date


def test_a_treatment_that_cannot_be_applied_refuses_the_scan(compared: Document, qtbot: QtBot) -> None:
    compared.set_treatment(Treatment((Crop(width="2 um"),)))  # the maps are 0.48 µm wide
    settle(compared, qtbot)
    assert compared.comparison.scans == ()
    assert len(compared.comparison.refused) == 6
    compared.stack.undo()
    settle(compared, qtbot)
    assert len(compared.comparison.scans) == 6


def test_errors_of_threads_reach_the_user(compared: Document, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> object:
        raise RuntimeError("a fault of ours")

    monkeypatch.setattr(app.document.renewal, "compare", broken)
    with qtbot.waitSignal(compared.noticed) as told:
        compared.add_step(Rows())
    assert told.args[0] == "red" and "a fault of ours" in told.args[1]
    qtbot.waitUntil(lambda: not compared.busy)


def test_new_steps_come_before_the_zero(document: Document) -> None:
    document.add_step(Rows())
    assert [step.do for step in document.bench.treatment.steps] == ["level", "rows", "zero"]


def test_a_refused_file_is_read_again_with_its_quantities(document: Document, tmp_path: Path, qtbot: QtBot) -> None:
    import numpy as np

    path = tmp_path / "film.npy"
    np.save(path, np.random.default_rng(1).standard_normal((32, 32)))
    document.add_files([path])
    qtbot.waitUntil(lambda: bool(document.bench.refused))
    document.retry_refused(pixel="10nm", unit="nm")
    settle(document, qtbot)
    qtbot.waitUntil(lambda: len(document.bench.scans) == 1)
    settle(document, qtbot)
    assert document.bench.refused == ()
    assert document.bench.scans[0].raw.pitch == pytest.approx((1e-8, 1e-8))
