"""The published flatness of a measured sensor as a claim over its whole face."""

from __future__ import annotations

from pathlib import Path

import pytest

from core.fitness.claims import judge
from core.formats import read

SENSOR = Path(__file__).parent / "sensor-flatness" / "ccd_sensor_20915_40x40.csv"


@pytest.mark.parametrize(
    ("claim", "rule", "verdict"),
    [
        ("PV <= 6.47um over 40mm", "simple", "supported"),
        ("PV <= 6.46um over 40mm", "simple", "contradicted"),
        ("PV <= 6.47um over 40mm", "guarded", "not contradicted"),
        ("PV <= 6.46um over 40mm", "guarded", "not supported"),
        ("PV <= 10um over 40mm", "guarded", "supported"),
        ("PV <= 4um over 40mm", "guarded", "contradicted"),
        ("PV <= 10um over 60mm", "guarded", "not testable here"),
        ("PV <= 4um over 60mm", "guarded", "contradicted"),
    ],
)
def test_sensor(claim: str, rule: str, verdict: str) -> None:
    """Published 6.464 µm; 6.468 µm from the heights in the file, which are rounded to 10 nm."""
    found = judge(claim, read(SENSOR), specimen="sensor", rule=rule)
    assert found.value == pytest.approx(6.464e-6, abs=10e-9)
    assert found.verdict == verdict, found.sentence


def test_sensor_by_minimum_zone() -> None:
    found = judge("flatness <= 7um over 40mm", read(SENSOR), specimen="sensor")
    assert found.value == pytest.approx(5.856e-6, abs=0.5e-9)
