"""From what a user drops or types to scans: folders walked, each file read, each bad one refused with its reason."""

from __future__ import annotations

import fnmatch
import re
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

from core.bench import Bench, Refusal, Scan
from core.errors import FileProblem, LowreliefError
from core.formats import SUFFIXES, read
from core.formats.layouts import Layout
from core.formats.sidecar import is_sidecar
from core.heightmap import HeightMap
from core.progress import Cancel, Progress, Report, silent
from core.workers import worker_count

# A file name says which spot of a specimen it is only in plain words: “film spot 2”, “film_spot-3”, “film-area1”.
# A bare number at the end says nothing: “sample1” and “sample2” may be two candidates.
_SPOT = re.compile(r"^(?P<specimen>.+?)[\s_.-]+(?P<spot>(?:spot|area|site|position|pos|repeat)[\s_.-]*\d+)$", re.I)


def expand(paths: Iterable[str | Path], *, layouts: Sequence[Layout] = ()) -> list[Path]:
    """The files behind what was given: a file as it is, a folder with all files in it that may be scans.

    In a folder, hidden files, sidecars and files whose suffix belongs to no open format are passed over. A file that is
    named is always tried, but for the sidecar of a scan, which a pattern such as ``film*`` names along with it. The
    order is that of the names, so that spot 10 comes after spot 9.
    """
    files: list[Path] = []
    for path in map(Path, paths):
        if path.is_dir():
            inside = (file for file in path.rglob("*") if file.is_file() and _may_be_scan(file, path, layouts))
            files += sorted(inside, key=lambda file: _natural(str(file.relative_to(path))))
        elif not is_sidecar(path):
            files.append(path)
    return list(dict.fromkeys(files))


def take(
    path: str | Path,
    *,
    pixel: str | float | tuple[float, float] | None = None,
    unit: str | None = None,
    layouts: Sequence[Layout] = (),
) -> Scan | Refusal:
    """One file as a scan, or the reason why not. Never raises on bad input.

    Parameters
    ----------
    path : str or Path
        The file.
    pixel, unit : optional
        Pixel size and height unit for files that do not say; as in `core.formats.read`.
    layouts : sequence of Layout, optional
        For files of no open standard.
    """
    try:
        return scan_of(read(path, pixel=pixel, unit=unit, layouts=layouts)[0])
    except LowreliefError as error:
        return Refusal.of(path, error)
    except OSError as error:
        problem = FileProblem(
            f"The file cannot be read: {error.strerror or error}", fix="Check that it is still there."
        )
        return Refusal.of(path, problem)


def scan_of(raw: HeightMap) -> Scan:
    """The scan of a map: specimen and spot by sidecar or file, else by the words in its name."""
    said = raw.metadata
    match = _SPOT.match(raw.name)
    by_name, spot = (match["specimen"], match["spot"]) if match else (raw.name, "")
    return Scan(raw, specimen=str(said.get("specimen") or by_name or "scan"), spot=str(said.get("spot") or spot))


def gather(
    scans: Iterable[str | Path | HeightMap],
    *,
    pixel: str | float | tuple[float, float] | None = None,
    unit: str | None = None,
    specimens: Mapping[str, str] | None = None,
    layouts: Sequence[Layout] = (),
    jobs: int | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> Bench:
    """A bench of these scans; files are read on several cores, bad ones are kept as refusals.

    Parameters
    ----------
    scans : iterable of path or HeightMap
        Files, folders, or maps in memory.
    pixel, unit : optional
        For files that do not say.
    specimens : mapping of str to str, optional
        Specimen name by pattern of file or scan name, such as ``{"film": "film_*"}``; the first that matches counts.
    layouts : sequence of Layout, optional
        For files of no open standard; in a folder, files whose name one of them knows are taken too.
    jobs : int, optional
        Workers; all cores by default.
    report, cancel : optional
        Progress and stopping.

    Returns
    -------
    Bench
        In the order given.
    """
    sources: list[Path | HeightMap] = []
    for source in scans:
        sources += [source] if isinstance(source, HeightMap) else expand([source], layouts=layouts)
    cancel = cancel or Cancel()

    def one(source: Path | HeightMap) -> Scan | Refusal:
        cancel.check()
        return (
            scan_of(source) if isinstance(source, HeightMap) else take(source, pixel=pixel, unit=unit, layouts=layouts)
        )

    taken: list[Scan | Refusal] = []
    with ThreadPoolExecutor(worker_count(jobs)) as pool:
        for number, result in enumerate(pool.map(one, sources), start=1):
            taken.append(result)
            report(Progress(number, len(sources), _told(result)))
    return assign(
        Bench()
        .with_scans(scan for scan in taken if isinstance(scan, Scan))
        .with_refused(refusal for refusal in taken if isinstance(refusal, Refusal)),
        specimens or {},
    )


def assign(bench: Bench, specimens: Mapping[str, str]) -> Bench:
    """The bench with scans moved to the specimens whose pattern their file or name matches."""

    def named(scan: Scan) -> Scan:
        names = _names(scan)
        for specimen, pattern in specimens.items():
            if any(fnmatch.fnmatch(name, pattern) for name in names):
                return replace(scan, specimen=specimen)
        return scan

    return replace(bench, scans=tuple(named(scan) for scan in bench.scans))


def _names(scan: Scan) -> Sequence[str]:
    file = scan.raw.source.file
    return [scan.name, file, Path(file).name] if file else [scan.name]


def _told(result: Scan | Refusal) -> str:
    return f"read {result.name}" if isinstance(result, Scan) else f"refused {Path(result.file).name}"


def _may_be_scan(file: Path, folder: Path, layouts: Sequence[Layout]) -> bool:
    hidden = any(part.startswith(".") for part in file.relative_to(folder).parts)
    known = file.suffix.lower() in SUFFIXES or any(layout.fits_name(file) for layout in layouts)
    return not hidden and known


def _natural(text: str) -> list[tuple[int, str]]:
    """Key that sorts numbers inside names by their size."""
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", text.lower())]
