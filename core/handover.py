"""Handing over: sheet, figure and bench file of a comparison into one folder, each file whole or not at all."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from core.bench import Bench
from core.errors import BenchError, FileProblem
from core.progress import Progress, Report, silent
from core.results import Comparison

if TYPE_CHECKING:
    from core.figure.composed import FigurePlan

FILES = {
    "json": "sheet.json",
    "csv": "sheet.csv",
    "xlsx": "sheet.xlsx",
    "html": "sheet.html",
    "png": "figure.png",
    "svg": "figure.svg",
    "pdf": "figure.pdf",
    "h5": "bench.h5",
}
"""What is written, by kind."""


def kinds(text: str | Iterable[str] | None) -> frozenset[str] | None:
    """The kinds of files that a text such as ``"json,csv,png"`` asks for; None means all.

    Raises
    ------
    BenchError
        If a kind is not known; says which there are.

    Examples
    --------
    >>> sorted(kinds("png, json") or ())
    ['json', 'png']
    """
    if text is None:
        return None
    words = text.split(",") if isinstance(text, str) else list(text)
    wanted = frozenset(word.strip().lower().lstrip(".") for word in words if word.strip())
    unknown = sorted(wanted - FILES.keys())
    if unknown or not wanted:
        told = f"There is no kind of file “{unknown[0]}”" if unknown else "No kind of file is named"
        raise BenchError(told, fix=f"The kinds are: {', '.join(FILES)}.")
    return wanted


def write_all(
    comparison: Comparison,
    folder: str | Path,
    *,
    only: str | Iterable[str] | None = None,
    bench: Bench | None = None,
    plan: FigurePlan | None = None,
    report: Report = silent,
) -> list[Path]:
    """Write sheet and figure in all forms, and the bench file, into a folder.

    Parameters
    ----------
    comparison : Comparison
        The whole result. Without a single scan there is no figure, and none is written.
    folder : str or Path
        Made if it is not there. Existing files of these names are replaced, each whole or not at all.
    only : str or iterable of str, optional
        Kinds: json, csv, xlsx, html, png, svg, pdf, h5. Default: all.
    bench : Bench, optional
        What the bench file holds; without it none is written.
    plan : FigurePlan, optional
        Of the figure; default: all maps on one scale and each on its own.
    report : callable, optional
        Told of every file.

    Returns
    -------
    list of Path
        The files that were written, in the order of the kinds.

    Raises
    ------
    BenchError
        If a kind is not known, or h5 is asked for without a bench.
    FileProblem
        If folder or file cannot be written.
    """
    wanted = kinds(only)
    if wanted and "h5" in wanted and bench is None:
        raise BenchError("There is no bench to write", fix="Leave h5 out.")
    chosen = [kind for kind in FILES if wanted is None or kind in wanted]
    if bench is None:
        chosen = [kind for kind in chosen if kind != "h5"]
    if not comparison.scans:
        chosen = [kind for kind in chosen if kind not in ("png", "svg", "pdf")]
    place = _folder(Path(folder))
    written = []
    for number, kind in enumerate(chosen, start=1):
        path = place / FILES[kind]
        _writer(kind, comparison, bench, plan)(path)
        written.append(path)
        report(Progress(number, len(chosen), f"wrote {path.name}"))
    return written


def _writer(
    kind: str, comparison: Comparison, bench: Bench | None, plan: FigurePlan | None
) -> Callable[[Path], object]:
    """The function that writes one kind; libraries are imported when their kind is wanted."""
    from core import benchfile, figure
    from core.sheet import csv_sheet, html_sheet, json_sheet, xlsx_sheet

    if kind == "h5" and bench is not None:
        return lambda path: benchfile.save(bench, path, comparison)
    if kind == "html":
        return lambda path: html_sheet.write(comparison, path, figure=_picture(comparison))
    sheets = {"json": json_sheet.write, "csv": csv_sheet.write, "xlsx": xlsx_sheet.write}
    if kind in sheets:
        write = sheets[kind]
        return lambda path: write(comparison, path)
    if plan is not None:
        from core.figure import composed

        return lambda path: composed.save(comparison, plan, path)
    return lambda path: figure.save(comparison, path)


def _picture(comparison: Comparison) -> bytes:
    """The figure as PNG, for the HTML sheet."""
    from core import figure

    if not comparison.scans:
        return b""
    with tempfile.TemporaryDirectory(prefix="lowrelief-") as folder:
        path = Path(folder) / FILES["png"]
        figure.save(comparison, path)
        return path.read_bytes()


def _folder(place: Path) -> Path:
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = error.strerror or str(error)
        raise FileProblem(f"The folder cannot be made: {reason}", where=str(place), fix="Choose another.") from error
    return place
