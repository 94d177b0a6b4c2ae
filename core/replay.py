"""A comparison repeated from what a figure or sheet carries, and compared with it digit by digit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from core.bench import Bench, Refusal, Scan
from core.compare import compare
from core.errors import BenchError, DamagedFile, FileProblem, LowreliefError
from core.formats import read, sha256_of
from core.formats.layouts import Layout
from core.gather import expand
from core.heightmap import HeightMap
from core.progress import Cancel, Progress, Report, silent
from core.results import Comparison
from core.scale import PRESETS, Scale
from core.shapes import Shape
from core.sheet.record import Record, carried
from core.treatment import Treatment
from core.units import metres_per


@dataclass(frozen=True, slots=True)
class Difference:
    """One digit that does not agree.

    Attributes
    ----------
    where : str
        Name of the scan or specimen; empty for the comparison as a whole.
    what : str
        Such as ``"Sq"``.
    then, now : object
        What is carried, and what came out.
    """

    where: str
    what: str
    then: Any
    now: Any


@dataclass(frozen=True, slots=True, eq=False)
class Replay:
    """What came of repeating a comparison.

    Attributes
    ----------
    bench : Bench
        The bench as it was, as far as its scans are there.
    comparison : Comparison
        Its comparison now.
    agreeing : int
        How many of the carried numbers came out the same, to the last digit.
    differences : tuple of Difference
        The others.
    changed : tuple of str
        Scans whose file of that name has other bytes than then.
    absent : tuple of str
        Scans for which no file was given.
    version : str
        Of the program that made the figure or sheet.
    """

    bench: Bench
    comparison: Comparison
    agreeing: int
    differences: tuple[Difference, ...]
    changed: tuple[str, ...]
    absent: tuple[str, ...]
    version: str

    @property
    def agrees(self) -> bool:
        """Whether every scan is there unchanged and every digit agrees."""
        return not (self.differences or self.changed or self.absent)

    @property
    def sentence(self) -> str:
        """The outcome in one sentence.

        Names what is wrong with the files before what is wrong with the numbers, which usually follows from it.
        """
        told = []
        if self.changed:
            told.append(f"the file has changed since: {', '.join(self.changed)}")
        if self.absent:
            told.append(f"no file was given for: {', '.join(self.absent)}")
        if self.differences:
            told.append(f"{len(self.differences)} numbers differ, {self.agreeing} agree to the last digit")
        elif not told:
            return f"Every digit agrees: {self.agreeing} numbers of {len(self.bench.scans)} scans."
        else:
            told.append(f"the {self.agreeing} numbers of the other scans agree to the last digit")
        if self.differences and self.version != self.comparison.version:
            told.append(f"it was made by version {self.version}, this is {self.comparison.version}")
        text = "; ".join(told)
        return f"{text[0].upper()}{text[1:]}."


def replay(
    told: Record,
    scans: Iterable[str | Path],
    *,
    layouts: Sequence[Layout] = (),
    jobs: int | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> Replay:
    """Repeat a comparison and say whether every digit agrees.

    Parameters
    ----------
    told : dict
        From `core.carried.carried_by`.
    scans : iterable of path
        The raw files, or folders with them. They are known by their bytes; names need not be the same.
    layouts : sequence of Layout, optional
        For files of no open standard.
    jobs : int, optional
        Workers; all cores by default.
    report, cancel : optional
        Progress and stopping.

    Raises
    ------
    BenchError
        If not one of the scans is among the files.
    DamagedFile
        If what is carried makes no sense.
    """
    bench, changed, absent = bench_of(told, scans, layouts=layouts, report=report, cancel=cancel)
    comparison = compare(bench, jobs=jobs, report=report, cancel=cancel)
    agreeing, differences = _compared(told, carried(comparison), whole=not absent)
    return Replay(bench, comparison, agreeing, differences, changed, absent, str(told["program"]["version"]))


def bench_of(
    told: Record,
    scans: Iterable[str | Path],
    *,
    layouts: Sequence[Layout] = (),
    report: Report = silent,
    cancel: Cancel | None = None,
) -> tuple[Bench, tuple[str, ...], tuple[str, ...]]:
    """The bench that a figure or sheet was made from.

    Parameters
    ----------
    told : dict
        From `core.carried.carried_by`.
    scans : iterable of path
        The raw files, or folders with them.
    layouts : sequence of Layout, optional
        For files of no open standard.
    report, cancel : optional
        Progress and stopping.

    Returns
    -------
    Bench
        With the scans that are there, named as they were, and the refusals of those that cannot be read any more.
    tuple of str
        Names of scans whose file has other bytes than then.
    tuple of str
        Names of scans whose file was not among those given.

    Raises
    ------
    BenchError
        If not one of the scans is among the files.
    DamagedFile
        If what is carried makes no sense.
    """
    cancel = cancel or Cancel()
    by_bytes, by_name = _known(expand(scans, layouts=layouts), report, cancel)
    taken: list[Scan] = []
    refused: list[Refusal] = []
    changed: list[str] = []
    absent: list[str] = []
    for wanted in told["scans"]:
        cancel.check()
        file = by_bytes.get(wanted["sha256"]) if wanted["sha256"] else None
        if file is None:
            file = by_name.get(Path(wanted["file"]).name)
            (absent if file is None else changed).append(wanted["name"])
        if file is None:
            continue
        try:
            scan = Scan(_read(file, wanted, layouts), specimen=wanted["specimen"], spot=wanted["spot"])
            taken.append(_as_left(scan, wanted))
        except LowreliefError as error:
            refused.append(Refusal.of(file, error))
    if not taken:
        raise BenchError(
            "Not one of the scans is among these files",
            fix=f"Give the raw files: {', '.join(sorted({Path(scan['file']).name for scan in told['scans']}))}.",
        )
    bench = Bench(
        title=str(told["title"]),
        treatment=Treatment.from_list(told["treatment"]["steps"]),
        rank_by=str(told["rank_by"]),
        scale=_scale(told),
        repeats=tuple(tuple(map(str, group)) for group in told.get("repeats", [])),
    )
    return bench.with_scans(taken).with_refused(refused), tuple(changed), tuple(absent)


def likely_files(told: Record, carrier: Path) -> list[Path]:
    """Where the raw files may still be: as they were named then, and in the folders about the figure or sheet.

    Parameters
    ----------
    told : dict
        From `core.carried.carried_by`.
    carrier : Path
        The figure or sheet itself.
    """
    names = [Path(scan["file"]) for scan in told["scans"] if scan["file"]]
    folders = (carrier.parent, carrier.parent.parent)
    guesses = [*names, *(folder / name for folder in folders for name in names)]
    guesses += [folder / name.name for folder in folders for name in names]
    return list(dict.fromkeys(guess for guess in guesses if guess.is_file()))


def _known(files: Iterable[Path], report: Report, cancel: Cancel) -> tuple[dict[str, Path], dict[str, Path]]:
    """The files by their hash and by their name; what cannot be opened is passed over."""
    by_bytes: dict[str, Path] = {}
    by_name: dict[str, Path] = {}
    listed = list(files)
    for number, file in enumerate(listed, start=1):
        cancel.check()
        by_name.setdefault(file.name, file)
        try:
            by_bytes.setdefault(sha256_of(file), file)
        except FileProblem:
            continue
        report(Progress(number, len(listed), f"looked at {file.name}"))
    return by_bytes, by_name


def _read(file: Path, wanted: Mapping[str, Any], layouts: Sequence[Layout]) -> HeightMap:
    """The map as it was read then: same channel, pixel and unit, whoever said them."""
    raw = read(
        file,
        pixel=(float(wanted["pitch_m"][0]), float(wanted["pitch_m"][1])),
        unit=_unit(wanted.get("unit")),
        channel=wanted["channel"] or None,
        layouts=layouts,
    )[0]
    return raw.named(wanted["name"])


def _as_left(scan: Scan, wanted: Mapping[str, Any]) -> Scan:
    """The scan with what was drawn on it and said about it; figures from before that was carried have neither."""
    if wanted.get("said"):
        scan = scan.with_said({str(key): str(value) for key, value in wanted["said"].items()})
    shapes = [Shape.from_plain(one) for one in wanted.get("shapes", [])]
    return scan.with_shapes(shapes) if shapes else scan


def _unit(said: object) -> str | None:
    """The unit, if it is one that readers understand; some formats are always in metres and say none."""
    if not isinstance(said, str) or not said:
        return None
    metres_per(said)
    return said


def _scale(told: Record) -> Scale:
    """The scale; sheets from before it was carried have the range itself."""
    scale = told.get("scale")
    if scale is None:
        return Scale.typed(*map(float, told["shared_range_m"]))
    if scale["preset"] not in PRESETS:
        raise DamagedFile(f"There is no scale “{scale['preset']}”", fix="Give another figure or sheet.")
    return replace(
        Scale(),
        shared=bool(scale["shared"]),
        preset=scale["preset"],
        low=float(scale["low_m"]),
        high=float(scale["high_m"]),
    )


def _compared(then: Record, now: Record, *, whole: bool) -> tuple[int, tuple[Difference, ...]]:
    """How many numbers agree, and those that do not. Without all scans nothing of the whole can be compared."""
    agreeing, differences = 0, []
    pairs = [*_of_scans(then, now), *(_of_the_whole(then, now) if whole else ())]
    for difference in pairs:
        if difference.then == difference.now:
            agreeing += 1
        else:
            differences.append(difference)
    return agreeing, tuple(differences)


def _of_scans(then: Record, now: Record) -> Iterable[Difference]:
    found = {scan["name"]: scan for scan in now["scans"]}
    for scan in then["scans"]:
        other = found.get(scan["name"])
        if other is not None:
            for symbol, value in scan["readings"].items():
                yield Difference(scan["name"], symbol, value, other["readings"].get(symbol))


def _of_the_whole(then: Record, now: Record) -> Iterable[Difference]:
    for end, low, high in zip(("lowest", "highest"), then["shared_range_m"], now["shared_range_m"], strict=True):
        yield Difference("", f"{end} colour", low, high)
    places = {place["specimen"]: place for place in now["standing"]}
    for place in then["standing"]:
        other = places.get(place["specimen"], {})
        for key in ("rank", "tie", "probability_best", "value"):
            yield Difference(place["specimen"], key.replace("_", " "), place[key], other.get(key))
