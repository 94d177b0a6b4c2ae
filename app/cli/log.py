"""``lowrelief log``: what the instrument gave from day to day."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from app import places
from app.cli.group import lowrelief
from app.cli.status import DONE, NOTHING_DONE

if TYPE_CHECKING:
    from core.log import Chart


@lowrelief.command()
@click.option("--file", type=click.Path(path_type=Path, dir_okay=False), help="Another log than the user's own.")
@click.option("--subject", help="Only this specimen or standard.")
@click.option("--symbol", help="Only this reading.")
@click.option("--instrument", help="Only this instrument.")
@click.option("--csv", "out", type=click.Path(path_type=Path, dir_okay=False), help="Write the entries to a table.")
@click.option("--import", "table", type=click.Path(path_type=Path, dir_okay=False), help="Add the entries of a table.")
@click.option("--json", "as_json", is_flag=True, help="Machine-readable.")
def log(
    file: Path | None,
    subject: str | None,
    symbol: str | None,
    instrument: str | None,
    out: Path | None,
    table: Path | None,
    as_json: bool,
) -> int:
    """Show the log: readings, noise floors and calibrations by date, each series with its limits."""
    from core.atomic import atomic
    from core.log import Log, chart, from_csv, to_csv

    kept = Log(file or places.log_file())
    if table is not None:
        click.echo(f"{kept.add(from_csv(_text(table)))} new entries", err=True)
    entries = kept.entries(subject=subject, symbol=symbol, instrument=instrument)
    if out is not None:
        with atomic(out) as temporary:
            temporary.write_text(to_csv(entries), encoding="utf-8", newline="")
        click.echo(out)
        return DONE
    if as_json:
        click.echo(json.dumps([dataclasses.asdict(entry) for entry in entries], ensure_ascii=False, indent=1))
        return DONE
    if not entries:
        click.echo("lowrelief: the log holds no such entry; `lowrelief compare --log` adds to it", err=True)
        return NOTHING_DONE
    for series in sorted({(entry.kind, entry.subject, entry.symbol) for entry in entries}):
        own = [entry for entry in entries if (entry.kind, entry.subject, entry.symbol) == series]
        click.echo(_told(chart(own)))
    return DONE


def _told(drawn: Chart) -> str:
    """One series as lines: a heading, an entry a line with a mark where it lies outside, and the verdict."""
    from core.measures.reading import Reading
    from core.sheet.words import number_text

    first = drawn.entries[0]

    def told(value: float) -> str:
        return number_text(Reading(first.symbol, value, first.unit, ""))

    lines = [f"{first.subject}, {first.symbol}"]
    for entry, outside in zip(drawn.entries, drawn.outside, strict=True):
        mark = "  outside the limits" if outside else ""
        lines.append(f"  {entry.at[:16].replace('T', ' '):16}  {told(entry.value)}{mark}")
    if drawn.low is not None and drawn.high is not None:
        lines.append(f"  limits {told(drawn.low)} to {told(drawn.high)}")
    return "\n".join([*lines, f"  {drawn.sentence}"])


def _text(path: Path) -> str:
    from core.errors import FileProblem

    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise FileProblem("The table cannot be read", where=str(path), fix="Save it as CSV in UTF-8.") from error
