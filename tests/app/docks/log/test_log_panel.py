"""Readings kept in the log, written, taken in again, and shown beside today's."""

from __future__ import annotations

import pytest

from app.docks.log import panel as panel_module
from app.docks.log.panel import LogPanel
from core.log import Log

WAIT = 20_000


@pytest.fixture
def log(filled, tmp_path, monkeypatch) -> LogPanel:
    monkeypatch.setattr(panel_module, "log_file", lambda: tmp_path / "log.sqlite")
    return filled.log


def test_kept_once_written_and_read(log, filled, qtbot, tmp_path) -> None:
    log.keep_now()
    qtbot.waitUntil(lambda: log.choice.count() == 2, timeout=WAIT)
    log.keep_now()
    qtbot.waitUntil(lambda: not filled.document.busy, timeout=WAIT)
    assert len(Log(tmp_path / "log.sqlite").entries()) == 2
    assert log.said.text() == "Limits need 5 entries."
    log.write(tmp_path / "log.csv")
    qtbot.waitUntil(lambda: (tmp_path / "log.csv").exists() and not filled.document.busy, timeout=WAIT)
    (tmp_path / "log.sqlite").unlink()
    log.refresh()
    assert log.choice.count() == 0
    log.read(tmp_path / "log.csv")
    qtbot.waitUntil(lambda: log.choice.count() == 2 and not filled.document.busy, timeout=WAIT)
