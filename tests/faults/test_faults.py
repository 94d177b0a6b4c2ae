"""Nothing is lost: whatever ends a save, the old file or the new one is there, whole, and raw files never change."""

from __future__ import annotations

import gc
import hashlib
import os
import random
import sys
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from app.document.autosave import ACTS, MAPS, read_kept
from app.document.autosave import _write as keep
from core import benchfile, handover
from core.bench import Bench, Scan, Stated
from core.compare import compare
from core.formats import read, write
from core.heightmap import HeightMap
from core.results import Comparison
from core.treatment import Treatment
from tests.faults.moments import WAYS, ended

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs fork and resource limits")

SIDE = 48


@dataclass(frozen=True, slots=True)
class Act:
    """Something that replaces old by new in a folder.

    Attributes
    ----------
    old, new : callable
        Put the old or the new state into a folder.
    state : callable
        What is in the folder now; raises if it is not whole.
    """

    old: Callable[[Path], object]
    new: Callable[[Path], object]
    state: Callable[[Path], object]


@pytest.fixture(scope="module")
def benches() -> tuple[Bench, Bench]:
    """An old state of a bench and the new one: a scan more, another treatment, a claim, another name."""
    rng = np.random.default_rng(4)
    maps = [HeightMap(rng.normal(size=(SIDE, SIDE)) * 1e-9, (1e-8, 1e-8), name=f"scan {n}") for n in range(4)]
    old = Bench("old", tuple(Scan(scan, f"specimen {n % 2}") for n, scan in enumerate(maps[:3])))
    new = replace(
        old,
        title="new",
        scans=(*old.scans[:2], replace(old.scans[2], specimen="another"), Scan(maps[3], "another")),
        treatment=Treatment.from_toml('schema = 1\n[[step]]\ndo = "zero"\nat = "median"\n'),
        claims=(Stated("Sq < 1 nm in 50nm..200nm"),),
        repeats=(("scan 0", "scan 1"),),
    )
    return old, new


@pytest.fixture(scope="module")
def comparisons(benches: tuple[Bench, Bench]) -> tuple[Comparison, Comparison]:
    old, new = (replace(bench, claims=(), repeats=()) for bench in benches)
    return compare(old), compare(new)


def told(bench: Bench) -> tuple[object, ...]:
    """All that a bench holds, as something that can be compared."""
    scans = tuple((scan.name, scan.specimen, scan.spot, scan.raw.z.tobytes(), scan.raw.pitch) for scan in bench.scans)
    return (
        bench.title,
        scans,
        bench.treatment,
        bench.rank_by,
        bench.scale,
        bench.claims,
        bench.claim_rule,
        bench.repeats,
    )


def saving(benches: tuple[Bench, Bench]) -> Act:
    old, new = benches
    return Act(
        lambda folder: benchfile.save(old, folder / "bench.h5"),
        lambda folder: benchfile.save(new, folder / "bench.h5"),
        lambda folder: told(benchfile.load(folder / "bench.h5")),
    )


def autosaving(benches: tuple[Bench, Bench]) -> Act:
    old, new = benches
    return Act(lambda folder: keep(old, folder, maps=True), lambda folder: keep(new, folder, maps=True),
               lambda folder: told(read_kept(folder)))  # fmt: skip


def exporting(comparisons: tuple[Comparison, Comparison], kind: str) -> Act:
    def put(comparison: Comparison) -> Callable[[Path], object]:
        return lambda folder: handover.write_all(comparison, folder, only=kind)

    def state(folder: Path) -> object:
        from core.carried import carried_by

        record = carried_by(folder / handover.FILES[kind])
        return [(scan["name"], scan["specimen"], scan["readings"]) for scan in record["scans"]]

    return Act(put(comparisons[0]), put(comparisons[1]), state)


def converting(benches: tuple[Bench, Bench], suffix: str) -> Act:
    old, new = (bench.scans[-1].raw for bench in benches)
    return Act(lambda folder: write(old, folder / f"map{suffix}"), lambda folder: write(new, folder / f"map{suffix}"),
               lambda folder: read(folder / f"map{suffix}", pixel="10nm", unit="m")[0].z.tobytes())  # fmt: skip


def tried(act: Act, folder: Path, cases: int, seed: int) -> Counter[str]:
    """End an act `cases` times; count how, and fail where anything was lost."""
    rng = random.Random(seed)
    raw = folder / "raw.npy"
    raw.write_bytes(b"as the instrument wrote it" * 100)
    before = hashlib.sha256(raw.read_bytes()).digest()
    room = folder / "room"
    room.mkdir()
    act.new(room)  # warm: what is imported and cached on the way belongs to no case
    new = act.state(room)
    start = time.perf_counter()
    act.old(room)
    takes, old = time.perf_counter() - start, act.state(room)
    assert old != new
    largest = max(file.stat().st_size for file in room.iterdir())
    names = {file.name for file in room.iterdir()}
    counts: Counter[str] = Counter()
    gc.collect()
    for number in range(cases):
        way = WAYS[number % len(WAYS)]
        end = ended(lambda: act.new(room), way, rng, takes, largest, folder / "notes")
        assert end.how != "wrong", f"case {number}, {way}: {end.told}"
        state = act.state(room)
        assert state in (old, new), f"case {number}, {way}: neither the old nor the new"
        assert state == new or end.how != "done", f"case {number}, {way}: said to be done"
        left = {file.name for file in room.iterdir()} - names
        assert end.how == "killed" or not left, f"case {number}, {way}: left behind {left}"
        assert hashlib.sha256(raw.read_bytes()).digest() == before
        counts[f"{way}: {end.how}, {'new' if state == new else 'old'}"] += 1
        for file in left:
            (room / file).unlink()
        act.old(room)
    return counts


def acts(benches: tuple[Bench, Bench], comparisons: tuple[Comparison, Comparison]) -> dict[str, tuple[Act, int]]:
    """All acts, and their cases in the long run."""
    return {
        "bench file": (saving(benches), 90),
        "autosave": (autosaving(benches), 90),
        "json": (exporting(comparisons, "json"), 30),
        "csv": (exporting(comparisons, "csv"), 18),
        "html": (exporting(comparisons, "html"), 6),
        "xlsx": (exporting(comparisons, "xlsx"), 24),
        "png": (exporting(comparisons, "png"), 9),
        "svg": (exporting(comparisons, "svg"), 9),
        "pdf": (exporting(comparisons, "pdf"), 9),
        ".x3p": (converting(benches, ".x3p"), 24),
        ".tif": (converting(benches, ".tif"), 24),
        ".npz": (converting(benches, ".npz"), 24),
        ".csv": (converting(benches, ".csv"), 24),
    }


@pytest.mark.parametrize("name", ["bench file", "autosave", "json", "xlsx", ".x3p", ".csv"])
def test_no_moment_loses_anything(
    benches: tuple[Bench, Bench], comparisons: tuple[Comparison, Comparison], name: str, tmp_path: Path
) -> None:
    counts = tried(acts(benches, comparisons)[name][0], tmp_path, 18, seed=11)
    assert sum(count for how, count in counts.items() if how.endswith("old")) > 3, counts


@pytest.mark.long
def test_three_hundred_moments_lose_nothing(
    benches: tuple[Bench, Bench], comparisons: tuple[Comparison, Comparison], tmp_path: Path
) -> None:
    counts: Counter[str] = Counter()
    for number, (name, (act, cases)) in enumerate(acts(benches, comparisons).items()):
        folder = tmp_path / str(number)
        folder.mkdir()
        counts += tried(act, folder, cases, seed=number)
        assert name
    print(sum(counts.values()), sorted(counts.items()))  # noqa: T201  the figures of the campaign
    assert sum(counts.values()) >= 300
    assert counts["kill: killed, old"] > 20
    assert counts["full: refused, old"] > 20
    assert counts["failing: refused, old"] > 20


def test_a_scan_taken_away_is_the_only_one_that_may_be_gone(benches: tuple[Bench, Bench], tmp_path: Path) -> None:
    """Killed between the two files of an autosave: the maps are new, all else is old."""
    old, new = benches
    fewer = new.without_scans(["scan 0"])
    keep(old, tmp_path, maps=True)
    acts = (tmp_path / ACTS).read_bytes()
    keep(fewer, tmp_path, maps=True)
    (tmp_path / ACTS).write_bytes(acts)
    kept = read_kept(tmp_path)
    assert [scan.name for scan in kept.scans] == ["scan 1", "scan 2"]
    assert kept.title == "old"


def test_claims_and_repeats_are_kept_without_the_maps_being_written_again(
    benches: tuple[Bench, Bench], tmp_path: Path
) -> None:
    old, new = benches
    keep(old, tmp_path, maps=True)
    maps = (tmp_path / MAPS).read_bytes()
    changed = replace(old, claims=new.claims, claim_rule="simple", repeats=new.repeats)
    keep(changed, tmp_path, maps=False)
    assert (tmp_path / MAPS).read_bytes() == maps
    assert told(read_kept(tmp_path)) == told(changed)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes with names")
@pytest.mark.parametrize("kind", ["loop", "dangling"])
def test_links_that_lead_nowhere_are_refused_and_stay(kind: str, tmp_path: Path, benches: tuple[Bench, Bench]) -> None:
    from core.errors import FileProblem

    link = tmp_path / "bench.h5"
    link.symlink_to(link if kind == "loop" else tmp_path / "gone" / "bench.h5")
    with pytest.raises(FileProblem):
        benchfile.save(benches[0], link)
    assert link.is_symlink()
