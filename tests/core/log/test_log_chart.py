"""Limits against a published worked example; entries from a comparison."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.compare import compare
from core.heightmap import HeightMap
from core.log import LogEntry, chart, entries_of
from core.log.chart import limits
from core.synthetic import gaussian_texture, white_noise

DAY = LogEntry(at="2024-05-01", kind="floor", subject="mica", symbol="noise", value=1.0, unit="m")


def series(values: list[float]) -> list[LogEntry]:
    return [replace(DAY, at=f"2024-{1 + n // 28:02}-{1 + n % 28:02}", value=value) for n, value in enumerate(values)]


def test_limits_of_the_handbook() -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.1, flow rate of ten batches (from memory): mean 50.81,
    # limits 45.8159 and 55.8041 with 3/1.128 = 2.6596 where the chart here takes the usual 2.66; the difference is
    # 0.0008 of a moving range of 1.8778.
    flow = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    centre, half = limits(flow)
    assert centre == pytest.approx(50.81, rel=1e-12)
    assert centre - half == pytest.approx(45.8159, abs=2e-3)
    assert centre + half == pytest.approx(55.8041, abs=2e-3)


def test_a_rise_is_outside_and_does_not_move_its_own_limits() -> None:
    calm = [1.0, 1.1, 0.95, 1.05, 1.0, 0.97]
    told = chart(series([*calm, 2.0]))
    assert told.outside == (False,) * 6 + (True,)
    assert told.centre == chart(series([*calm, 1.0])).centre
    assert "above the upper limit" in told.sentence


def test_eight_in_a_row_are_a_shift() -> None:
    rng = np.random.default_rng(5)
    calm = list(1 + 0.1 * rng.standard_normal(20))
    told = chart(series([*calm, *[1.12] * 8]))
    assert told.shifted[-1] and not any(told.shifted[:27])
    assert "mean has moved" in told.sentence


def test_steady_instruments_are_rarely_outside() -> None:
    # Normal values, 20 to set the limits: with true limits 0.27 % lie outside; limits from 20 values let about
    # 0.6-1.2 % out (simulated here), so 3 % of 4,000 is never reached by a right program.
    rng = np.random.default_rng(1)
    out = 0
    for _ in range(200):
        told = chart(series(list(np.exp(0.1 * rng.standard_normal(40)))))
        out += sum(told.outside[20:])
    assert 4 <= out <= 120


def test_few_entries_have_no_limits() -> None:
    told = chart(series([1.0, 9.0, 1.0]))
    assert told.low is None and not any(told.outside)


def test_values_of_either_sign_are_charted_as_they_are() -> None:
    told = chart(series([-1.0, 1.0, -1.0, 1.0, -1.0, 1.0]))
    assert told.low is not None and told.low < -1


def test_a_comparison_gives_one_entry_a_specimen(make_comparison) -> None:
    comparison = make_comparison()
    found = entries_of(comparison, ["Sq", "Sz"])
    assert len(found) == 2 * len(comparison.specimens)
    first = comparison.specimens[0]
    assert found[0].value == first.readings["Sq"].value
    assert found[0].at == comparison.created
    assert (found[0].shortest, found[0].longest) == (comparison.band.shortest, comparison.band.longest)
    assert found[0].treatment == comparison.treatment.digest


def test_floors_of_repeats_are_kept_too() -> None:
    rng = np.random.default_rng(8)
    ground = gaussian_texture((96, 96), (1e-8, 1e-8), sq=1e-10, length=6e-8, rng=rng)
    maps = [
        HeightMap(ground + white_noise(ground.shape, sq=3e-11, rng=rng), (1e-8, 1e-8), name=f"mica spot {number}")
        for number in (1, 2)
    ]
    found = entries_of(compare(maps, repeats=["mica spot 1,mica spot 2"]))
    (floor,) = [entry for entry in found if entry.kind == "floor"]
    assert (floor.subject, floor.symbol, floor.n) == ("mica", "noise", 2)
    assert floor.value == pytest.approx(3e-11, rel=0.1)
    assert floor.low is not None and floor.high is not None
    assert floor.low < floor.value < floor.high
