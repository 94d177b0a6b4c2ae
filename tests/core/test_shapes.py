"""Masks drawn by hand: which points they take, that no height changes, and that they travel along."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.bench import Bench, Scan
from core.benchfile import load, save
from core.carried import carried_by
from core.compare import compare
from core.errors import MapError, QuantityError
from core.formats import write
from core.gather import gather
from core.handover import write_all
from core.heightmap import HeightMap
from core.replay import replay
from core.shapes import Shape, drawn
from core.sheet.words import caption

UM = 1e-6
FLAT = HeightMap(np.zeros((100, 100)), (0.01 * UM, 0.01 * UM))
BOX = Shape("rectangle", ((-0.2 * UM, -0.1 * UM), (0.2 * UM, 0.1 * UM)))


def test_rectangle_takes_the_points_whose_middles_it_holds() -> None:
    assert np.count_nonzero(BOX.covers(FLAT)) == 40 * 20  # closed form
    assert np.array_equal(BOX.covers(FLAT), replace(BOX, points=BOX.points[::-1]).covers(FLAT))


def test_polygon_of_a_rectangle_and_rectangle_agree() -> None:
    (x0, y0), (x1, y1) = BOX.points
    polygon = Shape("polygon", ((x0, y0), (x1, y0), (x1, y1), (x0, y1)))
    assert np.array_equal(polygon.covers(FLAT), BOX.covers(FLAT))


def test_triangle_has_half_the_area_of_its_box() -> None:
    triangle = Shape("polygon", ((-0.4 * UM, -0.4 * UM), (0.4 * UM, -0.4 * UM), (-0.4 * UM, 0.4 * UM)))
    assert np.count_nonzero(triangle.covers(FLAT)) == pytest.approx(80 * 80 / 2, rel=0.02)  # its border: 80 points


def test_stroke_is_a_capsule() -> None:
    stroke = Shape("brush", ((-0.2 * UM, 0.0), (0.2 * UM, 0.0)), width=0.2 * UM)
    area = (0.4 * 0.2 + np.pi * 0.1**2) * 1e4  # points, closed form
    assert np.count_nonzero(stroke.covers(FLAT)) == pytest.approx(area, rel=0.03)


places = st.tuples(*[st.floats(-2 * UM, 2 * UM)] * 2)


@settings(max_examples=60, deadline=None)
@given(st.lists(places, min_size=3, max_size=6), st.floats(0.01 * UM, 0.3 * UM))
def test_stroke_agrees_with_the_distance_of_every_point(points, width) -> None:
    scan = HeightMap(np.zeros((20, 30)), (0.1 * UM, 0.05 * UM))
    found = Shape("brush", tuple(points), width).covers(scan)
    y, x = ((np.arange(20) - 9.5) * 0.1 * UM)[:, None], ((np.arange(30) - 14.5) * 0.05 * UM)[None, :]
    nearest = np.full((20, 30), np.inf)
    for (x0, y0), (x1, y1) in pairwise(points):
        length = (x1 - x0) ** 2 + (y1 - y0) ** 2
        t = np.clip(((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length, 0, 1) if length else 0.0
        nearest = np.minimum(nearest, np.hypot(x - x0 - t * (x1 - x0), y - y0 - t * (y1 - y0)))
    clear = np.abs(nearest - width / 2) > 1e-6 * width
    assert np.array_equal(found[clear], (nearest < width / 2)[clear])


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(["rectangle", "polygon", "brush"]), st.lists(places, min_size=3, max_size=5))
def test_shapes_survive_as_plain_tables_and_never_leave_the_map(kind, points) -> None:
    shape = Shape(kind, tuple(points[:2] if kind == "rectangle" else points), 0.1 * UM if kind == "brush" else 0.0)
    assert Shape.from_plain(shape.to_plain()) == shape
    assert shape.covers(FLAT).shape == FLAT.shape


@pytest.mark.parametrize(
    "told",
    [
        {},
        {"kind": "star", "points": [[0, 0]]},
        {"kind": "rectangle", "points": [[0, 0]]},
        {"kind": "polygon", "points": [[0, 0], [1, 1]]},
        {"kind": "brush", "points": [[0, 0]]},
        {"kind": "polygon", "points": [[0, 0], [1, float("nan")], [1, 2]]},
        {"kind": "rectangle", "points": 3},
    ],
)
def test_what_is_no_shape_is_refused(told) -> None:
    with pytest.raises(MapError):
        Shape.from_plain(told)


def test_drawing_changes_no_height_and_taking_away_gives_back_the_mask_of_the_file() -> None:
    own = np.zeros(FLAT.shape, bool)
    own[0, :5] = True
    scan = Scan(FLAT.with_(mask=own), "mica")
    masked = scan.with_shapes([BOX]).with_shapes(
        [BOX, replace(BOX, points=((0.3 * UM, 0.3 * UM), (0.4 * UM, 0.4 * UM)))]
    )
    assert masked.raw.z is FLAT.z
    assert masked.raw.masked == 5 + 800 + 100
    back = masked.with_shapes([])
    assert np.array_equal(back.raw.mask, own)
    assert back.shapes == () and back.own_mask is None


def test_nothing_left_is_refused() -> None:
    with pytest.raises(MapError, match="no point"):
        Scan(FLAT, "mica").with_shapes([Shape("rectangle", ((-UM, -UM), (UM, UM)))])


def test_what_is_said_becomes_metadata_and_can_be_struck_out() -> None:
    scan = Scan(FLAT.with_(metadata={"operator": "A"}), "mica").with_said({"line_rate": "1,5 Hz", "operator": " "})
    assert dict(scan.raw.metadata) == {"line_rate": 1.5}
    with pytest.raises(QuantityError):
        scan.with_said({"probe_radius": "sharp"})


def bench_on_disk(folder) -> Bench:
    rng = np.random.default_rng(3)
    files = []
    for name, rough in (("mica", 1e-10), ("film", 1e-9)):
        for spot in (1, 2):
            z = rough * rng.standard_normal((48, 48))
            z[20:28, 20:28] += 2e-8  # the dirt that is masked
            files.append(folder / f"{name} spot {spot}.x3p")
            write(HeightMap(z, (1e-8, 1e-8)), files[-1])
    bench = gather(files)
    dirt = Shape("rectangle", ((-5e-8, -5e-8), (5e-8, 5e-8)))
    scans = tuple(scan.with_shapes([dirt]).with_said({"line_rate": "1 Hz", "probe": "P1"}) for scan in bench.scans[:3])
    return replace(bench, scans=(*scans, bench.scans[3]))


def test_masks_count_and_are_told(tmp_path) -> None:
    comparison = compare(bench_on_disk(tmp_path))
    clean, dirty = comparison.scans[2], comparison.scans[3]
    assert clean.readings["Sq"].value < dirty.readings["Sq"].value / 2
    assert clean.treated.masked_fraction == 100 / 48**2
    assert "masked by hand on 3 of 4 scans" in caption(comparison)
    reds = {code for pair in comparison.comparability for code in pair.reasons}
    assert "mask" in reds


def test_bench_file_keeps_masks_and_what_was_said(tmp_path) -> None:
    bench = bench_on_disk(tmp_path)
    save(bench, tmp_path / "bench.h5")
    again = load(tmp_path / "bench.h5")
    for scan, back in zip(bench.scans, again.scans, strict=True):
        assert back.shapes == scan.shapes and dict(back.said) == dict(scan.said)
        assert np.array_equal(back.raw.used, scan.raw.used)
    assert again.scans[0].with_shapes([]).raw.mask is None


def test_bench_file_of_before_there_were_shapes_opens(tmp_path) -> None:
    import h5py

    from core.tagged import dumps, loads

    save(bench_on_disk(tmp_path), tmp_path / "bench.h5")
    with h5py.File(tmp_path / "bench.h5", "r+") as file:
        for number in range(1, 5):
            group = file[f"entry/scan_{number:04d}"]
            told = loads(group["scan"][()].decode())
            del told["shapes"], told["said"], group["scan"]
            group["scan"] = dumps(told)
    again = load(tmp_path / "bench.h5")
    assert again.scans[0].shapes == () and again.scans[0].raw.masked == 100


def test_replay_agrees_to_the_last_digit(tmp_path) -> None:
    bench = bench_on_disk(tmp_path)
    out = tmp_path / "out"
    write_all(compare(bench), out, bench=bench)
    told = carried_by(out / "figure.png")
    found = replay(told, [tmp_path])
    assert found.agrees, found.sentence
    assert drawn(found.bench.scans[0].raw, found.bench.scans[0].shapes).sum() == 100
    assert found.bench.scans[0].raw.metadata["line_rate"] == 1.0
