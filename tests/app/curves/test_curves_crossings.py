"""From files to the sentence below the curves: all spots of the bench, in the order of the standing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from pytestqt.qtbot import QtBot

from app.curves.data import KINDS
from app.shell.window import Window
from core.formats import write
from core.heightmap import HeightMap
from core.measures.window_curve import window_curve
from core.trust.crossings import NONE, crossings, sentences

TAB = [kind.title for kind in KINDS].index("RMS by window")


def wavy(wave: float, grain: float, rng: np.random.Generator) -> HeightMap:
    x = np.sin(2 * np.pi * np.arange(96) / 70)
    return HeightMap(wave * x + grain * rng.standard_normal((96, 96)), (1e-8, 1e-8))


def say(window: Window, qtbot: QtBot) -> tuple[str, ...]:
    qtbot.waitUntil(lambda: window.document.up_to_date and not window.document.busy, timeout=20_000)
    qtbot.waitUntil(lambda: window.curves.panel is not None, timeout=20_000)
    panel = window.curves.panel
    assert panel is not None
    panel.tabs.setCurrentIndex(TAB)
    qtbot.waitUntil(lambda: panel.settled and len(panel.curves) > 0, timeout=20_000)
    return panel.said.sentences


def test_the_window_says_who_changes_places(window: Window, tmp_path: Path, qtbot: QtBot) -> None:
    rng = np.random.default_rng(5)
    files = []
    for specimen, wave, grain in (("film", 9e-9, 1e-9), ("glass", 0.0, 2e-9)):
        for spot in (1, 2, 3):
            files.append(tmp_path / f"{specimen} spot {spot}.x3p")
            write(wavy(wave, grain * (1 + 0.02 * spot), rng), files[-1])
    window.document.add_files(files)
    qtbot.waitUntil(lambda: len(window.document.bench.scans) == 6, timeout=20_000)
    (sentence,) = say(window, qtbot)
    assert sentence.startswith("Below windows of ")
    assert sentence.endswith("film is smoother, above it glass.")  # the standing at the size of the scans says glass
    comparison = window.document.comparison
    assert comparison is not None
    spots = comparison.spots()
    assert [(name, len(scans)) for name, scans in spots.items()] == [("glass", 3), ("film", 3)]
    curves = {name: [window_curve(scan.treated) for scan in scans] for name, scans in spots.items()}
    assert sentences(crossings(curves, list(spots))) == [sentence]


def test_where_none_changes_places_that_is_said(filled: Window, qtbot: QtBot) -> None:
    """White noise of 0.2 and 2 nm: the same order in windows of all sides."""
    assert say(filled, qtbot) == (NONE,)
