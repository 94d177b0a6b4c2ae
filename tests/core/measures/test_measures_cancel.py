"""A large map is let go of between two readings, not only when all are read."""

from __future__ import annotations

import numpy as np
import pytest

from core.compare import compare
from core.heightmap import HeightMap
from core.measures.catalogue import CATALOGUE, readings
from core.progress import Cancel, Cancelled


def test_stopping_between_readings() -> None:
    calls: list[int] = []

    def between() -> None:
        calls.append(1)
        if len(calls) == 3:
            raise Cancelled

    scan = HeightMap(np.random.default_rng(1).normal(size=(16, 16)) * 1e-9, (1e-8, 1e-8))
    with pytest.raises(Cancelled):
        readings(scan, between=between)
    assert len(calls) == 3
    calls.clear()
    calls.extend([1] * 3)
    assert len(readings(scan, between=between)) == len(CATALOGUE) == len(calls) - 3


def test_a_comparison_looks_at_the_flag_while_it_reads(monkeypatch: pytest.MonkeyPatch) -> None:
    cancel, seen = Cancel(), []

    def check() -> None:
        seen.append(1)
        if len(seen) == 12:  # past the files and the treatment's two steps, among the readings
            cancel.request()
        if cancel.requested:
            raise Cancelled

    monkeypatch.setattr(cancel, "check", check)
    scan = HeightMap(np.random.default_rng(1).normal(size=(16, 16)) * 1e-9, (1e-8, 1e-8))
    with pytest.raises(Cancelled):
        compare([scan], cancel=cancel, jobs=1)
    assert len(seen) == 12
