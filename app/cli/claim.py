"""``lowrelief claim``: vendors' claims judged by scans."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from app.cli.group import lowrelief
from app.cli.options import (
    bench_options,
    gathered,
    say_refused,
    shown_progress,
    wrong_use,
)
from app.cli.status import DONE, NOTHING_DONE, SOME_REFUSED

if TYPE_CHECKING:
    from core.fitness.claims import Judgement


@lowrelief.command()
@click.argument("scans", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--claim",
    "claims",
    multiple=True,
    required=True,
    metavar="TEXT",
    help='Such as "PV <= lambda/20 @ 632.8nm over 25mm", "Sq <= 0.5nm in 60nm..2um", N3; repeatable.',
)
@click.option("--rule", type=click.Choice(["guarded", "simple"]), default="guarded", show_default=True,
              help="Decision rule: guard band of U, or the value alone.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Machine-readable.")
@bench_options
def claim(
    scans: tuple[Path, ...],
    claims: tuple[str, ...],
    rule: str,
    treatment: Path | None,
    patterns: tuple[str, ...],
    as_json: bool,
    jobs: int | None,
    pixel: str | None,
    unit: str | None,
) -> int:
    """Judge claims about a surface by its SCANs (files or folders): five verdicts, and a sentence for the report."""
    from core.bench import Stated
    from core.fitness.claims import judge_bench, parse

    with wrong_use("--claim"):
        for text in claims:
            parse(text)
    with shown_progress() as report:
        bench = gathered(
            scans, treatment=treatment, patterns=patterns, jobs=jobs, pixel=pixel, unit=unit, report=report
        )
    bench = replace(bench, claims=tuple(map(Stated, claims)), claim_rule=rule)
    judged, untreated = judge_bench(bench)
    refused = (*bench.refused, *untreated)
    say_refused(refused)
    if not judged:
        click.echo("lowrelief: no scan could be judged", err=True)
        return NOTHING_DONE
    if as_json:
        from core.sheet.claims import claims_record

        click.echo(json.dumps({"claims": claims_record(judged)}, ensure_ascii=False, indent=1, allow_nan=False))
    else:
        _print(judged)
    return SOME_REFUSED if refused else DONE


def _print(judged: Sequence[Judgement]) -> None:
    """A table of verdicts, and below it the sentences."""
    from rich.console import Console
    from rich.table import Table

    from core.sheet.claims import claim_row

    table = Table(title="Claims")
    for head in ("Specimen", "Claim", "Limit", "Measured", "Verdict"):
        table.add_column(head, overflow="fold")
    for one in judged:
        table.add_row(*claim_row(one))
    console = Console(markup=False, highlight=False)
    console.print(table)
    for one in judged:
        console.print(one.sentence, soft_wrap=True)
