"""The form of what is recorded: shown, typed, refused, undone, and never written to a file."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtTest import QTest


def type_in(window, key: str, text: str) -> None:
    line = window.details.inputs[key]
    line.clear()
    QTest.keyClicks(line, text)
    QTest.keyClick(line, Qt.Key.Key_Return)


def test_typed_values_reach_the_scan_and_can_be_undone(filled, scan_files, qtbot) -> None:
    before = [file.read_bytes() for file in scan_files]
    filled._choose(filled.grid.keys[0])
    name = filled.details.head.aside.text()

    def scan(wanted):
        return filled.document.bench.scan(wanted)

    assert filled.details.inputs["line_rate"].placeholderText() == "not recorded"
    type_in(filled, "line_rate", "1,5 Hz")
    assert scan(name).raw.metadata["line_rate"] == 1.5
    filled.details.whole.setChecked(True)
    type_in(filled, "probe_radius", "8 nm")
    group = filled.document.bench.specimens[scan(name).specimen]
    assert [one.raw.metadata["probe_radius"] for one in group] == [8e-9] * 3
    type_in(filled, "probe_radius", "sharp")
    assert filled.details.problem.text() and scan(name).raw.metadata["probe_radius"] == 8e-9
    filled.document.stack.undo()
    assert "probe_radius" not in scan(name).raw.metadata
    assert [file.read_bytes() for file in scan_files] == before
    assert not list(scan_files[0].parent.glob("*.toml"))
    qtbot.waitUntil(lambda: filled.document.up_to_date, timeout=20_000)
