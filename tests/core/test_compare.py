"""The one pipeline."""

import dataclasses
import threading

import numpy as np
import pytest

from core.bench import Bench, Scan
from core.compare import compare, restand
from core.errors import ReadingUnknown
from core.heightmap import HeightMap, Source
from core.measures import CATALOGUE, readings
from core.progress import Cancel, Cancelled, Progress
from core.scale import Scale
from core.treatment import Band, Crop, Level, Treatment, Zero

PITCH = (1e-8, 1e-8)


def texture(sq: float, seed: int, side: int = 40) -> np.ndarray:
    return sq * np.random.default_rng(seed).standard_normal((side, side))


def bench(spots: int = 3, **more: object) -> Bench:
    scans = [
        Scan(HeightMap(texture(sq * (1 + 0.02 * k), 10 * k + n), PITCH, f"{name} {k}"), name)
        for n, (name, sq) in enumerate([("glass", 5e-10), ("mica", 1e-10), ("steel", 5e-9)])
        for k in range(spots)
    ]
    return Bench(**more).with_scans(scans)  # type: ignore[arg-type]


def test_the_standing_follows_the_planted_roughness() -> None:
    result = compare(bench())
    assert [place.specimen for place in result.standing] == ["mica", "glass", "steel"]
    assert [place.tie for place in result.standing] == ["a", "b", "c"]
    assert result.standing[0].value == pytest.approx(1.02e-10, rel=0.05)  # 1600 points: 1.8 % a spot
    assert [specimen.name for specimen in result.specimens] == ["glass", "mica", "steel"]  # bench order: colours stay


def test_readings_are_those_of_the_treated_map() -> None:
    result = compare(bench(), treatment=Treatment((Level(form="plane"), Crop(width="30 px"))))
    scan = result.scans[0]
    assert scan.treated.shape == (40, 30)
    expected = readings(scan.treated)
    assert {s: r.value for s, r in scan.readings.items()} == {s: r.value for s, r in expected.items()}
    assert list(scan.readings) == list(CATALOGUE)
    assert [entry.step["do"] for entry in scan.removed] == ["level", "crop"]
    assert scan.raw.history == ()


@pytest.mark.parametrize("jobs", [1, 2, 5])
def test_any_number_of_workers_gives_the_same_digits(jobs: int) -> None:
    one, many = compare(bench(), jobs=1), compare(bench(), jobs=jobs)
    assert one.standing == many.standing
    assert [s.readings for s in one.scans] == [s.readings for s in many.scans]
    assert one.shared_range == many.shared_range


def test_a_scan_the_treatment_cannot_take_is_refused_and_the_others_are_done() -> None:
    tiny = Scan(HeightMap(np.zeros((4, 4)), PITCH, "tiny", source=Source(file="tiny.x3p")), "tiny")
    result = compare(bench().with_scans([tiny]), treatment=Treatment((Crop(left="10 px"),)))
    assert len(result.scans) == 9
    (refusal,) = result.refused
    assert refusal.file == "tiny.x3p"
    assert "step 1" in refusal.reason


def test_one_spot_is_shown_in_order_but_unproven() -> None:
    result = compare(bench(spots=1))
    assert [(p.specimen, p.tie, p.probability_best, p.proven) for p in result.standing] == [
        ("mica", None, None, False),
        ("glass", None, None, False),
        ("steel", None, None, False),
    ]
    assert all("spot-to-spot variation unknown" in s.readings["Sq"].note for s in result.specimens)
    assert all(specimen.doubts[0].code == "single-scan" for specimen in result.specimens)


def test_the_same_file_twice_counts_as_one_spot() -> None:
    source = Source(file="a.x3p", sha256="ab")
    raw = HeightMap(texture(1e-9, 1), PITCH, "a", source=source)
    result = compare(Bench().with_scans([Scan(raw, "film"), Scan(raw.named("copy"), "film")]))
    (specimen,) = result.specimens
    assert specimen.readings["Sq"].n == 1
    assert {doubt.code for doubt in specimen.doubts} == {"single-scan", "same-scan"}


def test_ranking_by_another_reading_touches_no_map() -> None:
    result = compare(bench())
    again = restand(result, "Sz")
    assert again.scans is result.scans
    assert again.rank_by == "Sz"
    assert again.standing[0].value == pytest.approx(again.specimens[1].readings["Sz"].value)
    with pytest.raises(ReadingUnknown):
        restand(result, "Sx")
    with pytest.raises(ReadingUnknown):
        compare(bench(), rank_by="nonsense")
    with pytest.raises(ReadingUnknown, match="direction"):
        restand(result, "Std")


def test_typical_is_the_middle_spot() -> None:
    result = compare(bench())
    for specimen in result.specimens:
        order = sorted(specimen.scans, key=lambda name: float(result.scans_by_name[name].readings["Sq"]))
        assert specimen.typical == order[1]


def test_an_earlier_result_is_taken_over_only_where_nothing_changed() -> None:
    first = bench()
    before = compare(first)
    more = first.with_scans([Scan(HeightMap(texture(1e-9, 99), PITCH, "new"), "new")])
    after = compare(more, earlier=before)
    assert all(after.scans_by_name[s.name].treated is s.treated for s in before.scans)
    assert "new" in after.scans_by_name
    other = compare(dataclasses.replace(more, treatment=Treatment((Zero(at="lowest"),))), earlier=before)
    assert all(other.scans_by_name[s.name].treated is not s.treated for s in before.scans)
    moved = compare(first.with_specimen(["glass 0"], "other"), earlier=before)
    assert moved.scans_by_name["glass 0"].specimen == "other"


def test_progress_counts_to_the_end_and_cancelling_stops_early() -> None:
    told: list[Progress] = []
    compare(bench(), report=told.append)
    assert told[-1].done == told[-1].total == 9
    cancel = Cancel()
    seen = threading.Event()

    def stop_at_first(_: Progress) -> None:
        seen.set()
        cancel.request()

    with pytest.raises(Cancelled):
        compare(bench(), report=stop_at_first, cancel=cancel, jobs=1)
    assert seen.is_set()


def test_the_scale_of_the_bench_is_kept() -> None:
    assert compare(bench(scale=Scale.typed(0.0, 4e-8))).shared_range == (0.0, 4e-8)
    low, high = compare(bench()).shared_range
    assert -2e-8 < low < -1e-8 < 1e-8 < high < 2e-8  # 0.1-99.9 % of a third of points at 5 nm


def test_an_empty_bench_compares_to_nothing() -> None:
    result = compare(Bench())
    assert (result.scans, result.standing, result.band.shortest) == ((), (), None)


def test_unlike_scans_are_not_silently_compared() -> None:
    big = Scan(HeightMap(texture(1e-9, 5, side=80), PITCH, "big"), "big")
    result = compare(bench().with_scans([big]))
    red = [(pair.first, pair.second) for pair in result.comparability if pair.level == "red"]
    assert red == [("glass", "big"), ("mica", "big"), ("steel", "big")]


def test_a_common_band_is_settled_on_the_bench_and_makes_unlike_scans_comparable() -> None:
    big = Scan(HeightMap(texture(1e-10, 5, side=80), PITCH, "big"), "big")
    result = compare(bench().with_scans([big]), treatment=Treatment((Level(form="plane"), Band())))
    assert (result.band.shortest, result.band.longest, result.band.filtered) == pytest.approx((5e-8, 1e-7, True))
    assert {pair.level for pair in result.comparability} == {"green"}
    assert {scan.treated.shape for scan in result.scans} == {(30, 30), (70, 70)}
    assert result.treatment.steps[1].parameters() == {"do": "band", "shortest": "50 nm", "longest": "100 nm"} | {
        "kind": "gaussian"
    }
