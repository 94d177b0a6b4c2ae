"""Which scans are repeats: by direction, by the user, never by guess."""

from __future__ import annotations

import numpy as np
import pytest

from core.bench import Scan
from core.errors import BenchError
from core.heightmap import HeightMap, Source
from core.trust.noise.repeats import is_retrace, named_group, pairs_of_repeats, references, stand_in


def scan(name, specimen="film", spot="", direction=None, side=4, **metadata):
    said = metadata | ({"direction": direction} if direction else {})
    raw = HeightMap(np.zeros((side, side)), (1e-9, 1e-9), name=name, source=Source(f"/data/{name}.npy"), metadata=said)
    return Scan(raw, specimen, spot)


def test_trace_and_retrace_of_one_spot() -> None:
    scans = [
        scan("a", spot="spot 1", direction="trace"),
        scan("b", spot="spot 1", direction="retrace"),
        scan("c", spot="spot 2", direction="trace"),
    ]
    assert pairs_of_repeats(scans) == (("a", "b"),)
    assert is_retrace(scans, ("a", "b"))
    assert not is_retrace(scans, ("a", "c"))


def test_trace_and_retrace_by_name() -> None:
    scans = [
        scan("x trace", direction="trace"),
        scan("x retrace", direction="retrace"),
        scan("y_Trace", direction="trace"),
        scan("y_Retrace", direction="retrace"),
    ]
    assert pairs_of_repeats(scans) == (("x trace", "x retrace"), ("y_Trace", "y_Retrace"))


@pytest.mark.parametrize(
    "other",
    [
        scan("b", spot="spot 2", direction="retrace"),
        scan("b", specimen="mica", spot="spot 1", direction="retrace"),
        scan("b", spot="spot 1", direction="retrace", side=5),
        scan("b", spot="spot 1"),
        scan("b", spot="spot 1", direction="trace"),
        scan("b", spot="spot 1", direction="retrace", role="reference"),
    ],
)
def test_unlike_places_are_no_repeats(other) -> None:
    assert pairs_of_repeats([scan("a", spot="spot 1", direction="trace"), other]) == ()


def test_two_traces_with_one_retrace_are_not_guessed() -> None:
    scans = [scan(n, spot="s", direction=d) for n, d in (("a", "trace"), ("b", "trace"), ("c", "retrace"))]
    assert pairs_of_repeats(scans) == ()


def test_groups_of_the_user_join() -> None:
    scans = [scan(name) for name in "abcdef"]
    assert pairs_of_repeats(scans, [("d", "b"), ("b", "e"), ("a", "gone"), ("f", "c")]) == (("b", "d", "e"), ("c", "f"))


def test_references() -> None:
    assert references([scan("a"), scan("b", role="Reference")]) == ("b",)


def test_stand_in() -> None:
    assert stand_in((("a", "b", "c"), ("d", "e")))["c"] == "a"


def test_named_by_scan_file_or_stem() -> None:
    scans = [scan("a"), scan("b"), scan("c, d")]
    for text in ("a,b", "a.npy, b.npy", "/data/a.npy,b", " a , /data/b.npy"):
        assert named_group(scans, text) == ("a", "b")
    assert named_group(scans, "c, d,a") == ("c, d", "a")


def test_named_wrongly() -> None:
    twice = [scan("a"), Scan(scan("x").raw.with_(name="x (2)", source=Source("/data/a.npy")), "film")]
    for scans, text, told in (
        ([scan("a")], "a,z", "no scan on the bench"),
        ([scan("a")], "a", "one scan"),
        ([scan("a")], "a,a", "one scan"),
        ([scan("a")], "", "no scan"),
        (twice, "a.npy,x", "more than one"),
    ):
        with pytest.raises(BenchError, match=told):
            named_group(scans, text)
