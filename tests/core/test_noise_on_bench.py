"""Noise through the whole pipeline: repeats as one spot, limited specimens, references, sheets, bench file, replay."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from core.bench import Bench, Scan
from core.benchfile import load, save
from core.compare import compare, restand
from core.errors import BenchError
from core.heightmap import HeightMap
from core.sheet import csv_sheet, html_sheet, xlsx_sheet
from core.sheet.record import carried, record
from core.synthetic import gaussian_texture

NOISE = 1e-10
SIDE = 96


def scans(specimens, *, seed=1, again=(), reference=0):
    """Maps with 0.1 nm of noise: by specimen its S in nm and its spots; those in `again` are scanned twice."""
    rng = np.random.default_rng(seed)
    maps = []
    for name, (surface, spots) in specimens.items():
        for spot in range(1, spots + 1):
            field = gaussian_texture((SIDE + 8, SIDE + 8), (1e-8, 1e-8), sq=surface * 1e-9, length=4e-8, rng=rng)
            key = f"{name} spot {spot}"
            for part, suffix in ((field[:SIDE, :SIDE], ""), (field[3 : SIDE + 3, 2 : SIDE + 2], " again")):
                if suffix and name not in again:
                    continue
                raw = HeightMap(part + NOISE * rng.standard_normal(part.shape), (1e-8, 1e-8), name=key + suffix)
                maps.append(Scan(raw, specimen=name, spot=f"spot {spot}{suffix}"))
    for number in range(reference):
        flat = NOISE * rng.standard_normal((SIDE, SIDE))
        raw = HeightMap(flat, (1e-8, 1e-8), name=f"blank {number}", metadata={"role": "reference"})
        maps.append(Scan(raw, specimen="blank"))
    return Bench(scans=tuple(maps))


def repeats(bench):
    return [(scan.name.removesuffix(" again"), scan.name) for scan in bench.scans if scan.name.endswith(" again")]


@pytest.fixture(scope="module")
def repeated():
    """Film of 0.5 nm, gold of 0.25 nm; mica of 0.03 nm and glass of 0.04 nm are below the noise of 0.1 nm."""
    bench = scans({"film": (0.5, 3), "mica": (0.03, 3), "gold": (0.25, 3), "glass": (0.04, 3)}, again=("film", "mica"))
    return bench, compare(bench, repeats=repeats(bench))


def test_nothing_is_said_without_repeats() -> None:
    found = compare(scans({"film": (0.5, 2)}))
    assert found.noise is None
    assert found.specimens[0].noise is None
    told = record(found)
    assert (told["noise"], told["repeats"], told["specimens"][0]["noise"]) == (None, [], None)
    assert "<h2>Noise</h2>" not in html_sheet.page(found)


def test_repeats_count_as_one_spot(repeated) -> None:
    _, found = repeated
    film = found.specimens_by_name["film"]
    assert len(film.scans) == 6
    assert film.readings["Sq"].n == 3
    assert [len(group) for group in found.spots().values()] == [3, 3, 3, 3]
    assert "same-scan" not in [doubt.code for doubt in film.doubts]


def test_corrected_and_limited(repeated) -> None:
    _, found = repeated
    noise = {specimen.name: specimen.noise for specimen in found.specimens}
    assert noise["film"].corrected.low < 0.5e-9 < noise["film"].corrected.high
    assert noise["gold"].corrected.low < 0.25e-9 < noise["gold"].corrected.high
    assert [name for name in noise if noise[name].limited] == ["mica", "glass"]
    assert noise["glass"].corrected.bound < 0.2e-9
    for name in ("mica", "glass"):
        codes = [doubt.code for doubt in found.specimens_by_name[name].doubts if doubt.level == "red"]
        assert "noise-floor" in codes


def test_limited_specimens_are_tied(repeated) -> None:
    _, found = repeated
    assert {place.specimen for place in found.standing if place.limited} == {"mica", "glass"}
    assert set(found.places["mica"].tie) & set(found.places["glass"].tie)
    assert not set(found.places["mica"].tie) & set(found.places["film"].tie)
    # only of Sq is the noise known
    assert not any(place.limited for place in restand(found, "Sku").standing)


def test_ratio_reaches_comparability(repeated) -> None:
    _, found = repeated
    pair = next(pair for pair in found.comparability if {pair.first, pair.second} == {"film", "glass"})
    assert "noise" in pair.reasons
    assert "noise" not in pair.unknown


def test_taken_over_from_an_earlier_comparison(repeated) -> None:
    bench, found = repeated
    again = compare(bench, repeats=repeats(bench), earlier=found)
    assert all(a is b for a, b in zip(again.noise.spots, found.noise.spots, strict=True))
    without = compare(bench, earlier=found)
    assert without.noise is None
    assert without.specimens_by_name["film"].readings["Sq"].n == 6


def test_sheets_say_the_same(repeated, tmp_path) -> None:
    import openpyxl

    _, found = repeated
    told = json.loads(json.dumps(record(found), allow_nan=False))
    film, _, _, glass = (one["noise"] for one in told["specimens"])
    assert film["floor"]["method"] == "repeats"
    assert film["value_m"] == found.specimens_by_name["film"].noise.corrected.value
    assert film["real_above_m"] > 0
    assert glass["limited"] is True
    assert glass["value_m"] is None
    assert glass["bound_m"] > 0
    assert len(told["noise"]["spots"]) == 6
    page = html_sheet.page(found)
    assert "<h2>Noise</h2>" in page
    assert "instrument-limited" in page
    assert "Fourier interpolation" in page
    assert "Sq without noise" in csv_sheet.text(found)
    xlsx_sheet.write(found, tmp_path / "sheet.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "sheet.xlsx")["Noise"]
    assert [cell.value for cell in sheet["A"]] == ["Specimen", "film", "mica", "gold", "glass"]
    assert sheet["B2"].value == pytest.approx(0.1, rel=0.05)


def test_bench_file_keeps_them(tmp_path) -> None:
    bench = scans({"film": (0.5, 2)}, again=("film",))
    bench = bench.with_repeats(repeats(bench))
    save(bench, tmp_path / "bench.h5")
    assert load(tmp_path / "bench.h5").repeats == bench.repeats


def test_carried_for_replay(repeated) -> None:
    bench, found = repeated
    assert [tuple(group) for group in carried(found)["repeats"]] == repeats(bench)


def test_trace_and_retrace_without_a_word() -> None:
    bench = scans({"film": (0.5, 2)}, again=("film",))
    turned = []
    for scan in bench.scans:
        second = scan.name.endswith("again")
        raw = scan.raw.with_(
            metadata={"direction": "retrace" if second else "trace"},
            z=scan.raw.z[:, ::-1] if second else scan.raw.z,  # stored as it was scanned
        )
        turned.append(replace(scan, raw=raw, spot=scan.spot.removesuffix(" again")))
    found = compare(replace(bench, scans=tuple(turned)))
    film = found.specimens[0]
    assert film.noise.floor.method == "trace and retrace"
    assert film.readings["Sq"].n == 2
    assert all(shift.mirrored for spot in found.noise.spots for shift in spot.shifts)
    assert film.noise.floor.value == pytest.approx(NOISE, rel=0.05)


def test_references_are_no_candidates() -> None:
    found = compare(scans({"film": (0.5, 3), "gold": (0.3, 3)}, reference=1))
    blank = found.places["blank"]
    assert (blank.comparable, blank.tie, blank.probability_best) == (False, None, None)
    assert found.places["film"].tie
    assert found.specimens_by_name["film"].noise.floor.method == "reference"
    assert found.specimens_by_name["blank"].noise is None


def test_repeats_become_one_specimen() -> None:
    bench = scans({"a": (0.5, 1), "b": (0.5, 1), "c": (0.5, 1)})
    found = compare(bench, repeats=["a spot 1,b spot 1"])
    assert [specimen.name for specimen in found.specimens] == ["a", "c"]
    assert found.specimens_by_name["a"].scans == ("a spot 1", "b spot 1")
    # and two places that were called repeats correct nothing
    assert found.specimens_by_name["a"].noise.corrected.value is None


def test_repeats_that_are_not_there() -> None:
    with pytest.raises(BenchError, match="no scan on the bench"):
        compare(scans({"film": (0.5, 1)}), repeats=["film spot 1,nowhere"])


def test_a_refused_repeat_leaves_the_other() -> None:
    bench = scans({"film": (0.5, 1)}, again=("film",))
    broken = replace(bench.scans[0], raw=bench.scans[0].raw.with_(z=np.full((SIDE, SIDE), np.nan)))
    found = compare(replace(bench, scans=(broken, *bench.scans[1:])), repeats=repeats(bench))
    assert [scan.name for scan in found.scans] == ["film spot 1 again"]
    assert found.noise is None
    assert found.specimens[0].readings["Sq"].n == 1


def test_corrected_in_a_band() -> None:
    """In a band the floor is that of the band: at 5 points and 24 points the filters leave 8 % of white squares."""
    from core.treatment import Treatment
    from core.trust.noise.share import noise_share

    treatment = Treatment.from_list([{"do": "level"}, {"do": "band", "shortest": "50 nm", "longest": "240 nm"}])
    bench = scans({"film": (0.15, 3)}, seed=4, again=("film",))
    found = compare(bench, treatment=treatment, repeats=repeats(bench))
    noise = found.specimens[0].noise
    assert noise.floor.band == (pytest.approx(50e-9), pytest.approx(240e-9))
    expected = NOISE * noise_share((1e-8, 1e-8), treatment.limits) ** 0.5
    assert noise.floor.value == pytest.approx(expected, rel=0.08)  # 3 pairs of 72² points, 9 % of them independent
    assert noise.corrected.value < float(found.specimens[0].readings["Sq"])
    assert not noise.limited
