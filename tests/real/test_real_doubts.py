"""What the doubts say of measured surfaces: no artefact of scan lines, for none of these was scanned line by line."""

from __future__ import annotations

from pathlib import Path

import pytest

from core.formats import read
from core.trust.doubts import doubts_of_scan

HERE = Path(__file__).parent
MEASURED: dict[str, str | None] = {
    "x3p-samples/rubber_focus_variation.x3p": None,
    "mirror-7x771/mirror_2d.dat": "m",
    "sensor-flatness/ccd_sensor_20915_40x40.csv": "mm",
}
"""Files and the unit of their heights where they do not say."""

OF_SCAN_LINES = {"streaks", "line-jumps", "drift", "tip-change", "already-levelled", "clipped"}


@pytest.mark.parametrize("file", MEASURED)
def test_measured_surfaces_raise_no_false_alarm(file: str) -> None:
    (raw,) = read(HERE / file, unit=MEASURED[file])
    raised = {doubt.code for doubt in doubts_of_scan(raw, raw) if doubt.level != "note"}
    assert not raised & OF_SCAN_LINES
