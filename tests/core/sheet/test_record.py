"""The record: every key of schema 1, SI units, null where a number cannot be had."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from core.sheet import json_sheet
from core.sheet.record import carried, plain, record

TOP = {"schema", "program", "created", "treatment", "band", "rank_by", "scans", "specimens", "standing",
       "comparability", "refused"}  # fmt: skip
SCAN = {"name", "specimen", "file", "sha256", "shape", "pitch_m", "size_m", "missing_fraction", "masked_fraction",
        "readings", "doubts", "bumps"}  # fmt: skip
READING = {"value", "unit", "uncertainty", "low", "high", "n", "clause", "note"}


def test_every_key_of_the_schema_is_there(comparison):
    told = record(comparison)
    assert told.keys() >= TOP
    assert told["schema"] == 1
    assert told["program"] == {"name": "lowrelief", "version": comparison.version}
    assert told["treatment"].keys() >= {"digest", "steps", "describe"}
    assert told["band"].keys() == {"shortest_m", "longest_m", "filtered"}
    for scan in told["scans"]:
        assert scan.keys() >= SCAN
        assert all(reading.keys() == READING for reading in scan["readings"].values())
        assert scan["bumps"].keys() >= {"count", "density_per_m2", "upper95_per_m2"}
        for doubt in scan["doubts"]:
            assert doubt.keys() == {
                "code", "level", "message", "advice", "figures", "place_px", "confused_with", "settled_by", "cure",
            }  # fmt: skip
    for specimen in told["specimens"]:
        assert specimen.keys() >= {"name", "scans", "typical", "readings", "doubts"}
    for place in told["standing"]:
        assert place.keys() >= {"rank", "specimen", "tie", "probability_best", "proven", "value"}
    assert len(told["comparability"]) == 3
    assert told["comparability"][0].keys() >= {"pair", "level", "reasons"}
    assert told["refused"] == [{"file": "/data/<b>.txt", "reason": "no map in it", "fix": "Export again."}]


def test_numbers_are_those_of_the_comparison_to_the_last_digit(comparison):
    told = json.loads(json_sheet.text(comparison))
    for scan, shown in zip(comparison.scans, told["scans"], strict=True):
        assert shown["readings"]["Sq"]["value"] == scan.readings["Sq"].value
        assert shown["size_m"] == list(scan.raw.size)
        assert shown["missing_fraction"] == scan.raw.missing_fraction
        assert shown["masked_fraction"] == scan.treated.masked_fraction
    assert told["standing"][0]["value"] == comparison.standing[0].value


def test_every_step_says_what_it_removed(comparison):
    steps = [entry["step"]["do"] for entry in record(comparison)["scans"][0]["removed"]]
    assert steps == ["level", "zero"]


def test_numbers_that_are_not_finite_become_null(comparison):
    text = json_sheet.text(comparison)
    assert "NaN" not in text
    assert json.loads(text)["scans"][0]["metadata"]["not a number"] is None
    assert plain([math.inf, np.float32("nan"), np.int8(3), np.array([1.0, np.nan])]) == [None, None, 3, [1.0, None]]


def test_a_reading_that_cannot_be_had_stays_with_a_note(comparison):
    scan = comparison.scans[0]
    lost = replace(scan.readings["Sq"], value=float("nan"), note="")
    changed = replace(comparison, scans=(replace(scan, readings={**scan.readings, "Sq": lost}), *comparison.scans[1:]))
    told = record(changed)["scans"][0]["readings"]["Sq"]
    assert told["value"] is None
    assert told["note"]


def test_bumps_are_not_a_zero_nobody_counted(make_comparison):
    """Maps of 12 points are too small to tell bumps from their ground: that is said, and no zero is written."""
    told = record(make_comparison(1, 2, side=12))
    for item in (*told["scans"], *told["specimens"]):
        assert item["bumps"]["count"] is None
        assert item["bumps"]["density_per_m2"] is None
        assert "too small" in item["bumps"]["note"]


def test_none_seen_is_a_count_with_a_limit(make_comparison):
    told = record(make_comparison(1, 3, side=96))
    scan, specimen = told["scans"][0]["bumps"], told["specimens"][0]["bumps"]
    assert (scan["count"], scan["density_per_m2"]) == (0, 0.0)
    assert scan["upper95_per_m2"] == pytest.approx(-math.log(0.05) / scan["area_m2"])  # Poisson, none seen
    assert specimen["area_m2"] == pytest.approx(3 * scan["area_m2"])
    assert specimen["upper95_per_m2"] == pytest.approx(scan["upper95_per_m2"] / 3)


def test_hostile_names_come_through_json(hostile):
    told = json.loads(json_sheet.text(hostile))
    assert told["specimens"][0]["name"] == "<script>alert(1)</script>"
    assert "\udc80" not in json_sheet.text(hostile)


def test_what_a_figure_carries_repeats_the_comparison(comparison):
    told = carried(comparison)
    assert told["treatment"]["steps"] == comparison.treatment.to_list()
    assert told["scans"][0]["sha256"] == comparison.scans[0].raw.source.sha256
    assert told["scans"][0]["readings"]["Sq"] == comparison.scans[0].readings["Sq"].value


def test_file_is_written_as_utf8_with_a_last_line_end(comparison, tmp_path):
    json_sheet.write(comparison, tmp_path / "sheet.json")
    raw = (tmp_path / "sheet.json").read_bytes()
    assert raw.decode("utf-8") == json_sheet.text(comparison)
    assert raw.endswith(b"\n")
    assert b"\r" not in raw
