"""Every reader under damaged files: none crashes, hangs, eats memory, or errs in a way of its own.

The rules are in tests/fuzz/watch.py, what large campaigns showed in tests/fuzz/FIGURES.md.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from core.errors import LowreliefError
from tests.fuzz.campaign import campaign, table
from tests.fuzz.mutate import LONGEST, mutated
from tests.fuzz.targets import TARGETS, Target, case
from tests.fuzz.watch import Find, watched

WRONG = """
import sys, time
from pathlib import Path
import numpy as np
from tests.fuzz import watch
from tests.fuzz.targets import Target

first, last, seed, place = int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]), Path(sys.argv[5])

def wrong(path):
    if int.from_bytes(place.read_bytes(), "little") == 2:
        BODY
    return 0

watch.SLOWEST = 0.6
Target.seeds = lambda self: [(".x", b"abc")]
watch.run(Target("wrong", wrong, 1), first, last, seed, place)
"""

MARKS = [pytest.param(target, id=name) for name, target in TARGETS.items()]


@pytest.mark.parametrize("target", MARKS)
def test_the_kept_files_are_valid(target: Target, tmp_path: Path) -> None:
    for suffix, data in target.seeds():
        file = tmp_path / f"case{suffix}"
        file.write_bytes(data)
        try:
            target.run(file)
        except LowreliefError as error:
            # a bare list of points and a layout of another file are asked about or refused, as they should be
            assert (target.name, suffix) in {("points", ".xyz"), ("layout", ".toml")}, error


def test_a_campaign_has_no_finds() -> None:
    shown = campaign(6_000, seed=20_26, only=tuple(TARGETS))
    told = "\n".join(
        f"{find.target} {find.number} {find.kind}: {find.told}" for one in shown.values() for find in one.finds
    )
    assert not told, told
    assert sum(one.read for one in shown.values()) > 600, table(shown)  # the damage does not only break the first byte
    assert all(one.refused for one in shown.values()), table(shown)


@pytest.mark.long
def test_a_larger_campaign_has_no_finds() -> None:
    shown = campaign(100_000, seed=7)
    assert not [find for one in shown.values() for find in one.finds]


def test_a_case_is_the_same_for_ever() -> None:
    target = TARGETS["numpy"]
    seeds = target.seeds()
    assert [case(target, seeds, 3, number) for number in range(50)] == [
        case(target, seeds, 3, number) for number in range(50)
    ]
    assert len({case(target, seeds, 3, number) for number in range(50)}) > 40


def test_no_case_is_long() -> None:
    rng = random.Random(5)
    assert max(len(mutated(rng, [b"1 2 3\n" * 20_000])) for _ in range(200)) <= LONGEST


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        ("import os; os.abort()", "crash"),
        ("sum(range(10**12))", "standstill"),
        ("while time.process_time() < 3: pass", "slow"),
        ("np.ones(2**24)", "memory"),
        ("np.empty(2**30)", "error"),
        ("raise KeyError(1)", "error"),
        ("path.write_bytes(b'')", "changed"),
    ],
)
def test_the_watch_sees_what_it_should(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, body: str, kind: str) -> None:
    """A reader that does wrong at its third case is found there, and the cases behind it still run."""
    from tests.fuzz import watch

    script = tmp_path / "wrong.py"
    script.write_text(WRONG.replace("BODY", body), encoding="utf-8")
    monkeypatch.setattr(watch, "MODULE", [str(script)])
    monkeypatch.setattr(watch, "STANDSTILL", 1.5 if kind == "standstill" else 60.0)
    shown = watched("wrong", 0, 5, seed=1)
    assert [(find.number, find.kind) for find in shown.finds] == [(2, kind)], shown.finds
    assert shown.cases == 5
    assert isinstance(shown.finds[0], Find)
