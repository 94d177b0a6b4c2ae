"""Handing over: sheet, figure and treatment to files, written in the background."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from app.document.document import Document
from app.document.jobs import Ticket
from core.atomic import atomic
from core.bench import Bench
from core.results import Comparison

FIGURES = "Picture for slides (*.png);;Scalable drawing (*.svg);;Page (*.pdf)"


def write_everything(document: Document, folder: Path) -> None:
    """Sheet in all forms, figure in all forms and the bench file, to a folder."""
    made = document.comparison
    if made is None:
        return
    bench = document.bench if document.up_to_date else None

    def work(ticket: Ticket) -> list[Path]:
        from core.handover import write_all  # draws with a plotting library

        return write_all(made, folder, bench=bench, report=ticket.report)

    document.run(work, lambda written: document.noticed.emit("note", f"{_files(written)} in {folder}."))


def write_figure(document: Document, path: Path) -> None:
    """The figure as PNG, SVG or PDF, by the suffix of `path`."""
    made, bench = document.comparison, document.bench
    if made is not None:
        document.run(
            lambda ticket: _one_file(made, bench, path, ticket),
            lambda _: document.noticed.emit("note", f"Wrote {path.name}."),
        )


def write_treatment(document: Document, path: Path) -> None:
    """The treatment as TOML, for the command line and for other benches."""
    text = document.bench.treatment.to_toml()
    document.run(lambda _: _write(text, path), lambda _: document.noticed.emit("note", f"Wrote {path.name}."))


def _write(text: str, path: Path) -> None:
    with atomic(path) as temporary:
        temporary.write_text(text, encoding="utf-8")


def _one_file(comparison: Comparison, bench: Bench, path: Path, ticket: Ticket) -> None:
    """Written in a folder of its own, then moved: the target is the old file or the new one."""
    from core.handover import write_all

    kind = path.suffix.lower().lstrip(".")
    with atomic(path) as temporary, tempfile.TemporaryDirectory(prefix="lowrelief-") as folder:
        written = write_all(comparison, Path(folder), only={kind}, bench=bench, report=ticket.report)
        shutil.move(written[0], temporary)


def _files(written: object) -> str:
    count = len(written) if isinstance(written, list | tuple) else 0
    return f"{count} files" if count != 1 else "1 file"
