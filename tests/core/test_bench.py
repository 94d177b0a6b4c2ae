"""The bench: frozen, names unique, specimens in the order in which they came."""

import numpy as np
import pytest

from core.bench import Bench, Refusal, Scan, unique
from core.errors import DamagedFile
from core.heightmap import HeightMap


def scan(name: str, specimen: str) -> Scan:
    return Scan(HeightMap(np.zeros((2, 2)), (1e-8, 1e-8), name), specimen)


def test_names_become_unique_and_heights_stay_shared() -> None:
    first = scan("film", "a")
    bench = Bench().with_scans([first, scan("film", "b")]).with_scans([scan("film", "c"), scan("", "d")])
    assert [s.name for s in bench.scans] == ["film", "film (2)", "film (3)", "scan"]
    assert bench.scan("film").raw is first.raw
    with pytest.raises(KeyError):
        bench.scan("gone")


def test_specimens_keep_their_order_through_changes() -> None:
    bench = Bench().with_scans([scan("1", "b"), scan("2", "a"), scan("3", "b")])
    assert list(bench.specimens) == ["b", "a"]
    assert [s.name for s in bench.specimens["b"]] == ["1", "3"]
    assert list(bench.with_specimen(["1"], "c").specimens) == ["c", "a", "b"]
    assert list(bench.without_scans(["2"]).specimens) == ["b"]
    assert len(bench.scans) == 3  # the first bench is untouched: undo needs it


def test_a_file_refused_twice_is_listed_once_with_its_latest_reason() -> None:
    error = DamagedFile("It ends early", where="row 7", fix="Export it again.")
    bench = Bench().with_refused([Refusal("x.txt", "old")]).with_refused([Refusal.of("x.txt", error)])
    assert bench.refused == (Refusal("x.txt", "It ends early (row 7)", "Export it again."),)


def test_unique_takes_the_smallest_free_number() -> None:
    assert unique("a", []) == "a"
    assert unique("a", ["a", "a (3)"]) == "a (2)"
