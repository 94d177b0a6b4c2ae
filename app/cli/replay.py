"""``lowrelief replay``: a comparison repeated from what a figure or sheet carries."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import click

from app.cli.group import lowrelief
from app.cli.options import say_refused, shown_progress
from app.cli.status import DONE, SOME_REFUSED
from app.places import kept_layouts

SHOWN = 20  # differences that are listed for people; all are counted


@lowrelief.command()
@click.argument("figure", type=click.Path(path_type=Path))
@click.argument("scans", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Machine-readable, with every difference.")
@click.option("--jobs", type=click.IntRange(min=1), help="Workers; all cores by default.")
def replay(figure: Path, scans: tuple[Path, ...], as_json: bool, jobs: int | None) -> int:
    """Repeat the comparison that FIGURE (a figure, sheet or bench file) carries, from the raw SCANs.

    Says whether every digit agrees, and which scan has changed. Exit status 3 if anything differs.
    """
    from core.carried import carried_by
    from core.replay import replay as repeat

    with shown_progress() as report:
        done = repeat(carried_by(figure), scans, layouts=kept_layouts(), jobs=jobs, report=report)
    say_refused(done.comparison.refused)
    if as_json:
        told = {
            "agrees": done.agrees,
            "agreeing": done.agreeing,
            "changed": list(done.changed),
            "absent": list(done.absent),
            "differences": [dataclasses.asdict(difference) for difference in done.differences],
            "sentence": done.sentence,
        }
        click.echo(json.dumps(told, ensure_ascii=False, indent=1))
    else:
        click.echo(done.sentence)
        for difference in done.differences[:SHOWN]:
            where = f"{difference.where}: " if difference.where else ""
            click.echo(f"  {where}{difference.what} was {difference.then}, is {difference.now}")
        if len(done.differences) > SHOWN:
            click.echo(f"  and {len(done.differences) - SHOWN} more (--json lists all)")
    return DONE if done.agrees else SOME_REFUSED
