"""The common area: the same physical area of every scan, settled on the bench, in the middle of each."""

import numpy as np
import pytest

from core.compare import compare
from core.errors import TreatmentError
from core.heightmap import HeightMap
from core.treatment import Band, Crop, Level, Treatment
from core.treatment.frame import Frame


def test_the_smallest_sides_of_the_bench_become_width_and_height() -> None:
    bench = [Frame((512, 256), (1e-8, 1e-8)), Frame((100, 300), (2e-8, 3e-8))]
    step = Crop(to="common").resolve(bench)
    assert step.parameters() == {
        "do": "crop", "left": "0 px", "top": "0 px", "width": "2.56 µm", "height": "2 µm", "at": "centre",
    }  # fmt: skip
    assert step.frame(bench[0]).shape == (200, 256)
    assert step.frame(bench[1]).shape == (100, 85)
    assert step.describe() == "cropped to 2.56 µm × 2 µm in the middle"
    assert Crop(to="common").describe() == "cropped to the common area"
    assert Crop(to="common").resolve([]).to == "common"


def test_the_middle_is_kept_with_its_mask() -> None:
    z = np.arange(100.0).reshape(10, 10)
    kept = Crop(at="centre", width="4 px", height="2 px").apply(HeightMap(z, (1.0, 1.0), mask=z == 44))
    assert kept.z.tolist() == [[43, 44, 45, 46], [53, 54, 55, 56]]
    assert kept.masked == 1
    assert kept.history[0].figures["left_m"] == 3.0
    whole = Crop(to="common").apply(HeightMap(z, (1.0, 1.0)))
    assert whole.shape == (10, 10)


def test_contradictions_are_refused() -> None:
    with pytest.raises(TreatmentError, match="width"):
        Crop(to="common", width="3 px")
    with pytest.raises(TreatmentError, match="middle"):
        Crop(at="centre", left="3 px")
    with pytest.raises(TreatmentError, match="does not know"):
        Crop(to="large")
    with pytest.raises(TreatmentError, match="does not know"):
        Crop(at="corner")


def test_old_recipes_keep_their_digest() -> None:
    assert Crop(width="5 px").parameters() == {"do": "crop", "left": "0 px", "top": "0 px", "width": "5 px"}


def test_behind_the_band_it_makes_extreme_readings_comparable() -> None:
    rng = np.random.default_rng(1)
    maps = [
        HeightMap(1e-9 * rng.standard_normal((side, side)), (1e-8, 1e-8), name=f"{name} spot {k}")
        for name, side in (("small", 64), ("large", 192))
        for k in (1, 2)
    ]
    band = (Level(form="plane"), Band())
    assert {pair.level for pair in compare(maps, treatment=Treatment(band)).comparability} == {"green"}
    (pair,) = compare(maps, treatment=Treatment(band), rank_by="Sz").comparability
    assert (pair.level, pair.reasons) == ("red", ("area",))
    cropped = compare(maps, treatment=Treatment((*band, Crop(to="common"))), rank_by="Sz")
    assert {pair.level for pair in cropped.comparability} == {"green"}
    assert {scan.treated.shape for scan in cropped.scans} == {(48, 48)}
    assert Treatment.from_toml(cropped.treatment.to_toml()) == cropped.treatment
