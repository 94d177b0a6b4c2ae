"""``lowrelief compare``: sheet, figure and bench file of a comparison."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from app.cli.group import lowrelief
from app.cli.options import (
    bench_options,
    gathered,
    plan_of,
    say_refused,
    shown_progress,
    wrong_use,
)
from app.cli.status import DONE, NOTHING_DONE, SOME_REFUSED

if TYPE_CHECKING:
    from core.results import Comparison


@lowrelief.command()
@click.argument("scans", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path, file_okay=False), help="Folder for the results.")
@click.option("--rank-by", default="Sq", show_default=True, metavar="SYMBOL", help="Reading that makes the standing.")
@click.option("--range", "height_range", metavar="0nm:100nm", help="Shared height scale of the figure.")
@click.option("--zero", type=click.Choice(["lowest", "mean", "median"]), help="Where 0 nm is.")
@click.option("--repeats", multiple=True, metavar="A,B", help="Scans of one place again, by name or file; repeatable.")
@click.option("--claim", "claims", multiple=True, metavar="TEXT", help="A vendor's claim to judge; repeatable.")
@click.option("--rule", type=click.Choice(["guarded", "simple"]), default="guarded", help="Decision rule for claims.")
@click.option("--title", default="", help="Title of sheet and figure.")
@click.option("--only", metavar="json,csv,png,...", help="Write these only: json csv xlsx html png svg pdf h5.")
@click.option(
    "--figure", "plan_file", type=click.Path(path_type=Path, dir_okay=False), help="Plan of the figure, TOML."
)
@click.option("--page", metavar="PAGE", help="Of the figure: slide slide-4-3 column two-columns poster.")
@click.option("--rows", metavar="shared,own,...", help="Of the figure: shared own oblique curves ranking.")
@click.option("--look", metavar="LOOK", help="Of the figure: light dark transparent.")
@click.option("--log", "keep", is_flag=True, help="Keep ranking readings and measured noise floors in the log.")
@click.option("--choices", "try_choices", is_flag=True, help="Try some 50 defensible treatments: do they agree?")
@bench_options
def compare(
    scans: tuple[Path, ...],
    out: Path,
    treatment: Path | None,
    rank_by: str,
    height_range: str | None,
    zero: str | None,
    patterns: tuple[str, ...],
    repeats: tuple[str, ...],
    claims: tuple[str, ...],
    rule: str,
    title: str,
    jobs: int | None,
    only: str | None,
    plan_file: Path | None,
    page: str | None,
    rows: str | None,
    look: str | None,
    keep: bool,
    try_choices: bool,
    pixel: str | None,
    unit: str | None,
) -> int:
    """Compare SCANs (files or folders): sheet, figure and bench file go to the folder --out."""
    from dataclasses import replace

    from core.bench import Stated
    from core.choices import choices
    from core.compare import compare as compare_bench
    from core.fitness.claims import parse
    from core.handover import kinds, write_all
    from core.measures import CATALOGUE
    from core.noise_on_bench import with_repeats
    from core.scale import Scale

    if rank_by not in CATALOGUE:
        raise click.BadParameter(f"There is no reading “{rank_by}”: {', '.join(CATALOGUE)}.", param_hint="--rank-by")
    with wrong_use("--range"):
        scale = Scale.parse(height_range) if height_range else Scale()
    with wrong_use("--only"):
        wanted = kinds(only)
    plan = plan_of(plan_file, page, rows, look)
    with wrong_use("--claim"):
        for text in claims:
            parse(text)
    with shown_progress() as report:
        bench = gathered(
            scans, treatment=treatment, zero=zero, patterns=patterns, jobs=jobs, pixel=pixel, unit=unit, report=report
        )
        bench = replace(bench, title=title, rank_by=rank_by, scale=scale)
        bench = replace(bench, claims=tuple(map(Stated, claims)), claim_rule=rule)
        with wrong_use("--repeats"):
            bench = with_repeats(bench, repeats)
        comparison = compare_bench(bench, jobs=jobs, report=report)
        say_refused(comparison.refused)
        if not comparison.scans:
            click.echo("lowrelief: no scan could be compared", err=True)
            return NOTHING_DONE
        if try_choices:
            comparison = replace(comparison, choices=choices(bench, jobs=jobs, report=report))
        written = write_all(comparison, out, only=wanted, bench=bench, plan=plan, report=report)
    for path in written:
        click.echo(path)
    if keep:
        _keep(comparison)
    return SOME_REFUSED if comparison.refused else DONE


def _keep(comparison: Comparison) -> None:
    from app import places
    from core.log import Log, entries_of

    count = Log(places.log_file()).add(entries_of(comparison))
    click.echo(f"{count} new entries in {places.log_file()}", err=True)
