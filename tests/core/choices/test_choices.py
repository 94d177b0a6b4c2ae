"""The choices test: every treatment gives the digits of the steps one by one, the counts are those of the methods."""

from __future__ import annotations

import math

import numpy as np
import pytest

from core.bench import Bench, Scan
from core.choices import Choice, choices, sentence, summary
from core.heightmap import HeightMap, Source
from core.measures import readings
from core.progress import Cancel, Cancelled, Progress
from core.synthetic import gaussian_texture
from core.treatment import Band, Crop, Level, Mask, Rows, Treatment, Zero

PITCH = (1e-8, 1e-8)
BANDED = Treatment((Level(form="plane"), Band(), Zero(at="mean")))


def texture(seed: int, sq: float = 1e-9, side: int = 96, length: float = 4e-8) -> np.ndarray:
    return gaussian_texture((side, side), PITCH, sq=sq, length=length, rng=np.random.default_rng(seed))


def bench(ratio: float, seed: int, treatment: Treatment = BANDED) -> Bench:
    """Four specimens, three spots each, specks on the second and row offsets on the third."""
    rng = np.random.default_rng(seed)
    scans = []
    for number in range(4):
        for spot in range(3):
            z = texture(1000 * seed + 10 * number + spot, 1e-9 * ratio**number)
            if number == 1:
                z[rng.integers(5, 91, 3), rng.integers(5, 91, 3)] += 8e-9
            if number == 2:
                z += 2e-10 * rng.standard_normal((96, 1))
            scans.append(Scan(HeightMap(z, PITCH, f"{number} {spot}"), f"s{number}"))
    return Bench(treatment=treatment).with_scans(scans)


def test_every_treatment_gives_the_digits_of_the_steps_one_by_one() -> None:
    z = texture(3)
    z[20:24, 30:33] = np.nan
    z[50, 50] += 2e-8
    scans = [Scan(HeightMap(z, PITCH, "a"), "a"), Scan(HeightMap(texture(4), PITCH, "b"), "b")]
    from core.choices.plan import plan
    from core.choices.run import _of_scan

    planned = plan(Bench(treatment=BANDED).with_scans(scans))
    for scan in scans:
        values = _of_scan(scan.raw, planned, "Sq", Cancel())
        assert len(values) == 48
        for (levelling, mask, begin, end), value in values.items():
            band = Band(shortest=f"{planned.shortest[begin]} m", longest=f"{planned.longest[end]} m")
            steps = (*planned.masks[mask], *planned.levellings[levelling], band)
            expected = readings(Treatment(steps).apply(scan.raw), ["Sq"])["Sq"].value
            assert value == pytest.approx(expected, rel=1e-9)  # one sum less the other: rounding of 1e4 points


def test_the_options_lie_around_the_own_treatment() -> None:
    made = choices(bench(1.6, 1))
    assert made.options == {
        "levelling": ("plane", "quadratic", "row median", "row line"),
        "mask": ("none", "4 σ", "5 σ"),
        "shortest": ("50 nm", "30 nm"),
        "longest": ("240 nm", "160 nm"),
    }
    assert made.note == ""
    own = Treatment((Mask(what="outliers", k=6.0), Level(form="polynomial", degree=3), Rows(), Band(longest="200 nm")))
    made = choices(bench(1.6, 1, own))
    assert len(made.choices) == 5 * 4 * 1 * 2
    assert made.options["mask"][0].startswith("outliers masked (6 σ")
    assert made.options["shortest"] == ("open",)
    made = choices(bench(1.6, 1, Treatment.default()))
    assert len(made.choices) == 48
    assert "common band" in made.note


def test_masks_of_what_is_known_to_be_bad_and_crops_stay() -> None:
    own = Treatment((Crop(left="10 px", width="80 px", height="80 px"), Level(form="plane"), Band()))
    made = choices(bench(1.6, 2, own))
    assert made.options["longest"] == ("200 nm", "133 nm")
    rectangle = Mask(what="rectangle", height="10 px")
    made = choices(bench(1.6, 2, Treatment((rectangle, Level(form="plane"), Band()))))
    assert made.options["mask"] == ("none", "4 σ", "5 σ")


def test_without_a_band_that_fits_only_levelling_and_mask_are_varied() -> None:
    small = Scan(HeightMap(texture(1, side=16), PITCH, "small"), "small")
    made = choices(Bench().with_scans([small, Scan(HeightMap(texture(2), PITCH, "large"), "large")]))
    assert len(made.choices) == 12
    assert made.note.startswith("No band fits")


def test_a_factor_of_one_and_a_half_is_stable() -> None:
    made = choices(bench(1.6, 5))
    assert (made.verdict, made.different, made.nearest_flip) == ("stable", 0, ())
    assert made.win_share == {"s0": 1.0, "s1": 0.0, "s2": 0.0, "s3": 0.0}
    assert all(rate == 0 for rate in made.flip_rate.values())
    assert "None of them changes the winner." in sentence(made)


def test_a_speck_makes_the_mask_the_choice_that_flips() -> None:
    scans = [Scan(HeightMap(texture(k, 1e-9), PITCH, f"a{k}"), "clean") for k in range(3)]
    for k in range(3):
        z = texture(k + 50, 0.8e-9)
        for row in range(12, 90, 16):
            z[row : row + 4, 12:88:16] += 8e-9
            z[row : row + 4, 13:88:16] += 8e-9
        scans.append(Scan(HeightMap(z, PITCH, f"b{k}"), "specked"))
    made = choices(Bench(treatment=BANDED).with_scans(scans))
    assert made.choices[0].winner == "clean"
    assert made.flips_to == "specked"
    assert [change[0] for change in made.nearest_flip] == ["mask"]
    assert made.flip_rate["mask"] > 0.5 > max(made.flip_rate[f] for f in ("levelling", "shortest", "longest"))
    assert made.win_share["clean"] < 0.5  # without a mask only


def test_counts_of_a_hand_made_table() -> None:
    options = {"levelling": ("plane", "row line"), "mask": ("none", "5 σ")}
    table = {("plane", "none"): "a", ("plane", "5 σ"): "a", ("row line", "none"): "a", ("row line", "5 σ"): "b"}
    found = [Choice(key, winner, ("a", "b")) for key, winner in table.items()]
    made = summary("Sq", found, options, specimens=["b", "a"])
    assert made.win_share == {"a": 0.75, "b": 0.25}
    assert made.different == 1
    assert made.flip_rate == {"levelling": 0.5, "mask": 0.5}
    assert made.nearest_flip == (("levelling", "plane", "row line"), ("mask", "none", "5 σ"))
    assert (made.verdict, made.flips_to) == ("choice-dependent", "b")
    assert summary("Sq", found, options, specimens=["a", "b"], tied=True).verdict == "tied"


def test_single_spots_are_not_told_apart_and_one_specimen_has_no_choice() -> None:
    scans = [Scan(HeightMap(texture(k, sq), PITCH, f"{k}"), f"s{k}") for k, sq in enumerate([1e-9, 3e-9])]
    assert choices(Bench(treatment=BANDED).with_scans(scans)).verdict == "tied"
    alone = choices(Bench(treatment=BANDED).with_scans(scans[:1]))
    assert (alone.verdict, alone.win_share) == ("none", {"s0": 1.0})
    assert choices(Bench()).verdict == "none"


def test_the_same_file_twice_is_one_spot() -> None:
    raw = HeightMap(texture(1), PITCH, "a", source=Source(sha256="ab", channel="z"))
    both = Bench(treatment=BANDED).with_scans([Scan(raw, "a"), Scan(raw.named("copy"), "a")])
    told: list[Progress] = []
    choices(both, report=told.append)
    assert [(progress.done, progress.total) for progress in told] == [(1, 1)]


def test_repeats_are_one_spot_and_references_no_candidates() -> None:
    scans = [Scan(HeightMap(texture(k), PITCH, f"a {k}"), "a") for k in range(3)]
    smooth = HeightMap(texture(9, 1e-11), PITCH, "zero size", metadata={"role": "reference"})
    own = Bench(treatment=BANDED, repeats=(("a 0", "a 1"),)).with_scans([*scans, Scan(smooth, "zero size")])
    told: list[Progress] = []
    made = choices(own, report=told.append)
    assert told[-1].total == 2
    assert made.win_share == {"a": 1.0}


def test_workers_change_nothing_and_cancelling_stops() -> None:
    one = bench(1.03, 7)
    assert choices(one, jobs=1) == choices(one, jobs=3)
    cancel = Cancel()
    cancel.request()
    with pytest.raises(Cancelled):
        choices(one, cancel=cancel)


def _flips(ratio: float, benches: int, start: int) -> list[float]:
    """Win share of the modal winner in benches of this ratio."""
    return [max(choices(bench(ratio, start + number)).win_share.values()) for number in range(benches)]


def test_near_equals_flip_and_separated_ones_do_not() -> None:
    assert _flips(1.6, 2, 100) == [1.0, 1.0]
    # some treatment flips 47 % of benches 3 % apart (methods measured for this program, 60 benches; simulated again
    # below); in 5 benches none flips with a chance of 4 %, and these seeds are fixed
    assert min(_flips(1.03, 5, 200)) < 1.0


@pytest.mark.long
def test_flips_of_many_benches() -> None:
    # methods measured for this program: separated by 1.6 in 0 % of 40 benches; 3 % apart with equal spectra in 47 %,
    # win share of the modal winner 0.88 on average. 40 benches at 47 %: standard error 8 %, three of them allowed
    assert _flips(1.6, 20, 300) == [1.0] * 20
    near = _flips(1.03, 40, 400)
    assert np.mean([share < 1 for share in near]) == pytest.approx(0.47, abs=0.25)
    assert np.mean(near) == pytest.approx(0.88, abs=0.08)
    assert math.isclose(max(near), 1.0)
