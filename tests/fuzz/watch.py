"""Cases run in a process of their own, which may crash, hang or eat memory without harm.

The child writes down which case it is at; the parent restarts it behind the case in which it died or stood still. Per
case are measured: processor time (the wall clock would blame the reader for a busy machine), and the peak of memory
that was really touched, where the system tells it (Linux). A limit on the address space turns what was asked for and
never touched into a `MemoryError`, which counts as a find even where the reader made a refusal of it.
"""

from __future__ import annotations

import contextlib
import json
import mmap
import os
import struct
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path

from core.errors import LowreliefError
from core.formats.guard import FREE_BYTES
from tests.fuzz.targets import TARGETS, Target, case

SLOWEST = 2.0
"""Seconds of processor time that a case may take."""

STANDSTILL = 60.0
"""Seconds by the clock after which a case is ended from outside: a busy machine gets thirty times its due."""

SLACK = 24 * 2**20
"""Bytes beyond four times what is declared and present: libraries, caches and the allocator's own.

`FREE_BYTES` always count as present: below that, maps of one height may be packed as tightly as they like, and whether
they are whole shows only when they are unpacked.
"""

ROOM = 3 * 2**30
"""Address space of a child, bytes: its libraries and eight maps of the largest free size."""

MODULE = ["-m", "tests.fuzz.watch"]
"""What a child runs; behind it stand target, first case, last case, seed and the file that says where it is."""

_ROOT = Path(__file__).parents[2]
_AT = struct.Struct("<q")


@dataclass(frozen=True, slots=True)
class Find:
    """One case that broke a rule: `kind` is crash, standstill, slow, memory, error or changed."""

    target: str
    number: int
    kind: str
    told: str


@dataclass(slots=True)
class Figures:
    """What a stretch of cases showed."""

    cases: int = 0
    read: int = 0
    refused: int = 0
    slowest: float = 0.0
    largest: int = 0
    seconds: float = 0.0
    finds: list[Find] = field(default_factory=list)

    def add(self, other: Figures) -> None:
        """Join the figures of another stretch."""
        self.cases += other.cases
        self.read += other.read
        self.refused += other.refused
        self.seconds += other.seconds
        self.slowest, self.largest = max(self.slowest, other.slowest), max(self.largest, other.largest)
        self.finds += other.finds


def watched(target: str, first: int, count: int, seed: int) -> Figures:
    """Run cases `first` to `first + count` of a target in children, and join what they showed."""
    figures, began = Figures(), time.monotonic()
    with tempfile.TemporaryDirectory(prefix="fuzz-", dir=_fast_folder()) as folder:
        place = Path(folder) / "at"
        start, end = first, first + count
        while start < end:
            place.write_bytes(_AT.pack(start))
            told, stopped = _child(target, start, end, seed, place)
            for line in told.splitlines():
                part = json.loads(line)
                part["finds"] = [Find(**find) for find in part["finds"]]
                figures.add(Figures(**part))
            if not stopped:
                break
            at = _AT.unpack(place.read_bytes())[0]
            figures.finds.append(Find(target, at, *stopped))
            start = at + 1
    # Lines that a dying child had not handed over yet are lost, the cases were run all the same.
    figures.cases, figures.seconds = count, time.monotonic() - began
    return figures


def _child(target: str, start: int, end: int, seed: int, place: Path) -> tuple[str, tuple[str, str] | None]:
    """What one child told, and how it ended if not well."""
    command = [sys.executable, *MODULE, target, str(start), str(end), str(seed), str(place)]
    quiet = os.environ | {
        "PYTHONPATH": str(_ROOT),
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
        "MALLOC_MMAP_THRESHOLD_": "1048576",
    }
    with tempfile.TemporaryFile("w+") as out, tempfile.TemporaryFile("w+") as errors:
        with subprocess.Popen(command, cwd=_ROOT, env=quiet, stdout=out, stderr=errors) as child:
            at, since = -1, time.monotonic()
            while child.poll() is None:
                with contextlib.suppress(subprocess.TimeoutExpired):
                    child.wait(0.2)
                now = _AT.unpack(place.read_bytes())[0]
                if now != at:
                    at, since = now, time.monotonic()
                elif time.monotonic() - since > STANDSTILL:
                    child.kill()
                    child.wait()
                    out.seek(0)
                    return out.read(), ("standstill", f"more than {STANDSTILL:g} s by the clock")
        out.seek(0)
        errors.seek(0)
        ended = None if child.returncode == 0 else ("crash", f"exit {child.returncode}: {errors.read()[-2000:]}")
        return out.read(), ended


def _fast_folder() -> str | None:
    return "/dev/shm" if os.access("/dev/shm", os.W_OK) else None


# In the child


def run(target: Target, start: int, end: int, seed: int, place: Path) -> None:
    """All cases from `start` to `end`; prints the figures as lines of JSON, for a crash must not take them along."""
    _limit()
    warnings.simplefilter("error")  # a warning on the terminal is no refusal
    warnings.simplefilter("ignore", DeprecationWarning)  # which Python keeps from users by itself
    warnings.filterwarnings("ignore", "Reading `.npy`")  # of a header as Python 2 wrote it; it is read all the same
    seeds = target.seeds()
    with (
        place.open("r+b") as raw,
        mmap.mmap(raw.fileno(), _AT.size) as at,
        tempfile.TemporaryDirectory(dir=place.parent) as folder,
    ):
        for number in range(start, end):
            _AT.pack_into(at, 0, number)
            figures = Figures(cases=1)
            suffix, data = case(target, seeds, seed, number)
            _one(target, Path(folder) / f"case{suffix}", data, number, figures)
            print(json.dumps(asdict(figures)), flush=bool(figures.finds) or number % 64 == 0)  # noqa: T201


def _one(target: Target, file: Path, data: bytes, number: int, figures: Figures) -> None:
    file.write_bytes(data)

    def found(kind: str, told: str) -> None:
        figures.finds.append(Find(target.name, number, kind, told))

    held = 0
    before = _peak(reset=True)
    began = time.process_time()
    try:
        held = target.run(file)
        figures.read = 1
    except LowreliefError as error:
        figures.refused = 1
        cause = error.__cause__
        if isinstance(cause, MemoryError):
            found("memory", f"a refusal after memory ran out: {error}")
        elif isinstance(cause, Warning):
            found("error", f"a refusal made of a warning: {error}")
    except BaseException:  # noqa: BLE001  what a reader lets out is what is looked for
        found("error", traceback.format_exc()[-2000:])
    figures.slowest = time.process_time() - began
    figures.largest = max(0, _peak() - before)
    if figures.slowest > SLOWEST:
        found("slow", f"{figures.slowest:.1f} s of processor time")
    if figures.largest > 4 * max(len(data), held, FREE_BYTES) + SLACK:
        found("memory", f"{figures.largest} bytes for a file of {len(data)} that gave {held}")
    for left in file.parent.iterdir():
        if left == file and left.read_bytes() != data and target.name != "log_file":
            found("changed", "the file was written to")
        with contextlib.suppress(OSError):
            left.unlink()


def _limit() -> None:
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (ROOM, ROOM))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _peak(*, reset: bool = False) -> int:
    """Most memory touched since the last reset, bytes; 0 where the system does not tell."""
    try:
        if reset:
            Path("/proc/self/clear_refs").write_bytes(b"5")
        for line in _lines("/proc/self/status"):
            if line.startswith(b"VmHWM:"):
                return int(line.split()[1]) * 1024
    except OSError:
        pass
    return 0


def _lines(path: str) -> Iterator[bytes]:
    with Path(path).open("rb") as file:
        yield from file


if __name__ == "__main__":
    name, *numbers, at = sys.argv[1:]
    first, last, chosen = map(int, numbers)
    run(TARGETS[name], first, last, chosen, Path(at))
