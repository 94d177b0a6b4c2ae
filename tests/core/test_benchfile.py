"""The bench file: everything comes back exactly, other programs find the heights, hostile files are refused."""

from __future__ import annotations

import datetime
import json
from contextlib import suppress
from dataclasses import replace

import h5py
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from core import benchfile
from core.bench import Bench, Refusal, Scan
from core.errors import BenchError, FileProblem
from core.formats import read
from core.heightmap import Entry, HeightMap, Source
from core.scale import Scale
from core.treatment import Level, Rows, Treatment, Zero

NAMES = st.text(min_size=1, max_size=12)
DATETIMES = st.datetimes().map(lambda moment: moment.replace(fold=0))  # ISO 8601 text has no fold
VALUES = st.one_of(
    st.none(), st.booleans(), st.integers(-(2**60), 2**60), st.floats(), NAMES, st.dates(), DATETIMES,
    st.tuples(st.integers(), NAMES), st.lists(st.floats(allow_nan=False), max_size=3), st.binary(max_size=5),
)  # fmt: skip


@st.composite
def scans(draw, name):
    shape = draw(st.tuples(st.integers(1, 6), st.integers(1, 6)))
    z = draw(arrays.arrays(np.float64, shape, elements=st.floats(allow_infinity=False)))
    mask = draw(st.none() | arrays.arrays(np.bool_, shape))
    pitch = draw(st.tuples(*2 * (st.floats(1e-12, 1e-3),)))
    source = Source(draw(NAMES), "ab" * 32, draw(NAMES), draw(NAMES), tuple(draw(st.lists(NAMES, max_size=3))))
    history = (Entry({"do": "level", "form": "plane"}, draw(NAMES), {"removed_rms_m": draw(st.floats())}),)
    raw = HeightMap(
        z,
        pitch,
        name,
        mask=mask,
        source=source,
        metadata=draw(st.dictionaries(NAMES, VALUES, max_size=4)),
        history=draw(st.sampled_from([(), history])),
    )
    return Scan(raw, specimen=draw(NAMES), spot=draw(st.text(max_size=5)))


@st.composite
def benches(draw):
    names = draw(st.lists(NAMES, max_size=3, unique=True))
    low = draw(st.floats(-1e-6, 1e-6))
    return Bench(
        title=draw(st.text(max_size=10)),
        scans=tuple(draw(scans(name)) for name in names),
        refused=tuple(draw(st.lists(st.builds(Refusal, NAMES, NAMES, st.text(max_size=5)), max_size=2))),
        treatment=Treatment((Level(form="plane"), Rows(remove="offset", by="median", on=False), Zero(at="median"))),
        rank_by=draw(st.sampled_from(["Sq", "Sa"])),
        scale=draw(st.sampled_from([Scale(), Scale(shared=False, preset="widest"), Scale.typed(low, low + 1e-7)])),
    )


def assert_same(one: Bench, two: Bench) -> None:
    assert (one.title, one.refused, one.treatment, one.rank_by, one.scale) == (
        two.title, two.refused, two.treatment, two.rank_by, two.scale,
    )  # fmt: skip
    assert len(one.scans) == len(two.scans)
    for scan, other in zip(one.scans, two.scans, strict=True):
        assert (scan.name, scan.specimen, scan.spot) == (other.name, other.specimen, other.spot)
        assert scan.raw.pitch == other.raw.pitch
        assert scan.raw.source == other.raw.source
        # repr tells NaN from other numbers and is the same for the same NaN.
        assert repr(dict(scan.raw.metadata)) == repr(dict(other.raw.metadata))
        assert repr(scan.raw.history) == repr(other.raw.history)
        assert scan.raw.z.tobytes() == other.raw.z.tobytes()
        assert np.array_equal(scan.raw.used, other.raw.used)


@settings(max_examples=25, deadline=None)
@given(bench=benches())
def test_everything_comes_back_exactly(bench, tmp_path_factory):
    path = tmp_path_factory.mktemp("bench") / "bench.h5"
    benchfile.save(bench, path)
    assert benchfile.is_benchfile(path)
    assert_same(benchfile.load(path), bench)


def test_names_that_are_no_unicode_come_back(make_bench, tmp_path):
    bench = make_bench(2, 1, names=("μετάξι 漢字 \udc80", "a\x00b"), gaps=True)
    benchfile.save(bench, tmp_path / "bench.h5")
    assert_same(benchfile.load(tmp_path / "bench.h5"), bench)


def test_dates_of_a_sidecar_come_back_as_dates(tmp_path):
    said = {"date": datetime.date(2024, 5, 1), "at": datetime.time(12, 30), "ends": (1.0, float("inf"))}
    scan = Scan(HeightMap(np.eye(4), (1e-9, 1e-9), name="a", metadata=said), "a")
    benchfile.save(Bench(scans=(scan,)), tmp_path / "bench.h5")
    assert dict(benchfile.load(tmp_path / "bench.h5").scans[0].raw.metadata) == said


def test_other_programs_find_heights_and_axes(make_bench, tmp_path):
    """The NXdata rules of the NeXus manual: signal, axes, units, default."""
    bench = make_bench(2, 2, gaps=True)
    benchfile.save(bench, tmp_path / "bench.h5")
    with h5py.File(tmp_path / "bench.h5") as file:
        entry = file[file.attrs["default"]]
        assert entry.attrs["NX_class"] == "NXentry"
        data = entry[entry.attrs["default"]]
        assert data.attrs["NX_class"] == "NXdata"
        heights = data[data.attrs["signal"]]
        assert np.array_equal(heights[()], bench.scans[0].raw.z, equal_nan=True)
        assert heights.attrs["units"] == "m"
        for axis, count in zip(data.attrs["axes"], heights.shape, strict=True):
            assert data[axis].shape == (count,)
            assert data[axis].attrs["units"] == "m"


def test_our_own_reader_takes_the_heights_as_a_scan(make_bench, tmp_path):
    bench = make_bench(1, 1)
    benchfile.save(bench, tmp_path / "bench.h5")
    found = read(tmp_path / "bench.h5")
    assert len(found) == 1
    assert np.array_equal(found[0].z, bench.scans[0].raw.z)
    assert found[0].pitch == bench.scans[0].raw.pitch


def test_readings_go_along_for_other_programs(make_bench, comparison, tmp_path):
    benchfile.save(make_bench(), tmp_path / "bench.h5", comparison)
    with h5py.File(tmp_path / "bench.h5") as file:
        told = json.loads(file["entry/comparison"][()])
    assert told["standing"][0]["specimen"] == comparison.standing[0].specimen


def test_no_python_path_is_stored(make_bench, tmp_path):
    benchfile.save(make_bench(), tmp_path / "bench.h5")
    raw = (tmp_path / "bench.h5").read_bytes()
    assert b"core." not in raw
    assert b"HeightMap" not in raw


def test_the_same_bench_gives_the_same_bytes(make_bench, tmp_path):
    for name in ("a.h5", "b.h5"):
        benchfile.save(make_bench(), tmp_path / name)
    assert (tmp_path / "a.h5").read_bytes() == (tmp_path / "b.h5").read_bytes()


@pytest.fixture
def saved(make_bench, tmp_path):
    path = tmp_path / "bench.h5"
    benchfile.save(make_bench(1, 2, gaps=True), path)
    return path


def test_a_newer_schema_is_refused_with_the_fix(saved):
    with h5py.File(saved, "a") as file:
        file.attrs["schema"] = benchfile.SCHEMA + 1
    with pytest.raises(BenchError, match="newer version"):
        benchfile.load(saved)


def test_an_ordinary_hdf5_file_is_no_bench(tmp_path):
    with h5py.File(tmp_path / "scan.h5", "w") as file:
        file["z"] = np.eye(3)
    assert not benchfile.is_benchfile(tmp_path / "scan.h5")
    with pytest.raises(BenchError, match="no bench file"):
        benchfile.load(tmp_path / "scan.h5")


def test_a_missing_file_is_a_problem_of_the_file(tmp_path):
    with pytest.raises(FileProblem, match="not there"):
        benchfile.load(tmp_path / "bench.h5")


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.999])
def test_a_file_cut_short_is_refused(saved, share):
    raw = saved.read_bytes()
    saved.write_bytes(raw[: int(len(raw) * share)])
    with pytest.raises(BenchError):
        benchfile.load(saved)


def _external(file):
    del file["entry/scan_0001/height"]
    file["entry/scan_0001/height"] = h5py.ExternalLink("other.h5", "/z")


def _bomb(file):
    del file["entry/scan_0001/height"]
    file["entry/scan_0001"].create_dataset("height", (16000, 16000), "f8", chunks=(100, 100), compression="gzip")


def _huge(file):
    del file["entry/scan_0001/height"]
    file["entry/scan_0001"].create_dataset("height", (2**20, 2**20), "f8", chunks=(100, 100))


def _settings(file, **changes):
    told = json.loads(file["entry/bench"][()])
    del file["entry/bench"]
    file["entry/bench"] = json.dumps(told | changes)


@pytest.mark.parametrize(
    "damage",
    [
        _external,
        _bomb,
        _huge,
        lambda file: _settings(file, scans=3),
        lambda file: _settings(file, scans=-1),
        lambda file: _settings(file, scans=10**9),
        lambda file: _settings(file, scale={"shared": True, "preset": "none", "low": 0, "high": 1}),
        lambda file: _settings(file, scale=None),
        lambda file: file.__delitem__("entry/treatment"),
        lambda file: file.__delitem__("entry/scan_0001/scan"),
        lambda file: file["entry"].move("scan_0002", "scan_0003"),
        lambda file: (
            file["entry/scan_0002"].move("mask", "mask2") or file.copy("entry/scan_0001", "entry/scan_0002/mask")
        ),
        lambda file: file.attrs.__delitem__("schema"),
    ],
)
def test_damage_of_every_kind_is_refused_and_says_where(saved, damage):
    with h5py.File(saved, "a") as file:
        damage(file)
    with pytest.raises(BenchError) as caught:
        benchfile.load(saved)
    assert str(saved) in caught.value.where


@pytest.mark.parametrize("seed", range(40))
def test_flipped_bytes_never_raise_anything_else(make_bench, tmp_path, seed):
    path = tmp_path / "bench.h5"
    benchfile.save(make_bench(1, 1, side=8), path)
    raw = bytearray(path.read_bytes())
    rng = np.random.default_rng(seed)  # seeded: a crash inside the HDF5 library must be the same tomorrow
    for place in rng.integers(0, len(raw), rng.integers(1, 9)):
        raw[place] = rng.integers(256)
    path.write_bytes(raw)
    with suppress(BenchError):
        assert isinstance(benchfile.load(path), Bench)


def test_a_failing_save_leaves_the_old_bench_whole(saved, make_bench, monkeypatch):
    before = saved.read_bytes()

    def fails(*_args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(benchfile, "_write_scan", fails)
    with pytest.raises(FileProblem, match="No space"):
        benchfile.save(replace(make_bench(), title="new"), saved)
    assert saved.read_bytes() == before
    assert list(saved.parent.iterdir()) == [saved]
