"""A watched folder: new files come once they are complete, those of before stay away, a lost folder is waited for."""

from __future__ import annotations

import shutil

import numpy as np

from app.document.watch import Watch
from core.formats import write
from core.heightmap import HeightMap

WAIT = 20_000


def test_new_scans_come_when_they_are_complete(filled, scan_files, qtbot, tmp_path) -> None:
    folder = tmp_path / "watched"
    folder.mkdir()
    shutil.copy(scan_files[0], folder / "old.x3p")
    watch = Watch(filled.document, period=20)
    watch.begin(folder)
    qtbot.waitUntil(lambda: watch._known is not None, timeout=WAIT)
    whole = folder.parent / "new spot 1.x3p"
    write(HeightMap(np.random.default_rng(1).standard_normal((32, 32)) * 1e-9, (1e-8, 1e-8)), whole)
    content = whole.read_bytes()
    (folder / "empty.x3p").touch()  # begun and not written yet
    (folder / "new spot 1.x3p").write_bytes(content)
    qtbot.waitUntil(lambda: len(filled.document.bench.scans) == 7 and filled.document.up_to_date, timeout=WAIT)
    assert watch.taken == 1 and "new" in filled.document.comparison.places
    assert watch.told == "watching watched: 1 new scan"
    shutil.rmtree(folder)
    qtbot.waitUntil(lambda: watch.lost, timeout=WAIT)
    folder.mkdir()
    qtbot.waitUntil(lambda: not watch.lost, timeout=WAIT)
    watch.shut()
    assert watch.told == ""
