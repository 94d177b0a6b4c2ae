"""``lowrelief trial``: virtual particles dropped on scans, to see which would be found."""

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
    from core.fitness.trial import ByDiameter, Trial


@lowrelief.command()
@click.argument("scans", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--diameter", "diameters", multiple=True, metavar="20nm", help="Of the spheres; repeatable, or 20nm,30nm "
              "[default: 20nm,30nm,50nm].")  # fmt: skip
@click.option("--probe-radius", metavar="8nm", help="Radius of the probe's end; wins over sidecars and files.")
@click.option("--spread", type=click.FloatRange(0, 0.3), default=0.10, show_default=True,
              help="Standard deviation of the diameters, share of the mean.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Machine-readable.")
@bench_options
def trial(
    scans: tuple[Path, ...],
    diameters: tuple[str, ...],
    probe_radius: str | None,
    spread: float,
    treatment: Path | None,
    patterns: tuple[str, ...],
    as_json: bool,
    jobs: int | None,
    pixel: str | None,
    unit: str | None,
) -> int:
    """Drop virtual spheres on SCANs (files or folders) and say which would be found, and from which size on.

    A calculation and no procedure: who deposits particles follows local rules and trained staff.
    """
    from core.fitness.trial import Plan, trial_bench
    from core.units import parse_length

    plan = Plan(spread=spread)
    with wrong_use("--diameter"):
        sizes = [parse_length(part) for text in diameters for part in text.split(",") if part.strip()]
        plan = replace(plan, diameters=tuple(sorted(set(sizes))) or plan.diameters)
    with wrong_use("--probe-radius"):
        plan = replace(plan, probe_radius=None if probe_radius is None else parse_length(probe_radius))
    with shown_progress() as report:
        bench = gathered(
            scans, treatment=treatment, patterns=patterns, jobs=jobs, pixel=pixel, unit=unit, report=report
        )
        tried, untreated = trial_bench(bench, plan, jobs=jobs, report=report)
    refused = (*bench.refused, *untreated)
    say_refused(refused)
    if not any(one.scans for one in tried):
        for one in tried:
            click.echo(f"lowrelief: {one.specimen}: {one.note}", err=True)
        click.echo("lowrelief: no scan could be tried", err=True)
        return NOTHING_DONE
    if as_json:
        from core.sheet.record import plain
        from core.sheet.trials import trial_record

        told = plain({"trials": [trial_record(one) for one in tried]})
        click.echo(json.dumps(told, ensure_ascii=False, indent=1, allow_nan=False))
    else:
        _print(tried)
    return SOME_REFUSED if refused else DONE


def _print(tried: Sequence[Trial]) -> None:
    """A table of sizes by specimen, and below it what conditions it."""
    from rich.console import Console
    from rich.table import Table

    from core.sheet.trials import CAUTION

    table = Table(title="Trial")
    for head in ("Specimen", "Sphere", "Found", "False*", "Bias", "Spread", "Fit", "Scans†"):
        table.add_column(head, justify="left" if head in ("Specimen", "Fit") else "right", overflow="fold")
    for one in tried:
        for row in one.by_diameter:
            table.add_row(one.specimen, *_row(row))
    console = Console(markup=False, highlight=False)
    console.print(table)
    for one in tried:
        console.print(f"{one.specimen}: {_smallest(one)}{f' {one.note}.' if one.note else ''}", soft_wrap=True)
        for place in one.landing[:1]:
            console.print(f"{one.specimen}: {_landing(place)}", soft_wrap=True)
    plan = tried[0].plan
    console.print("* bumps of the bare surface per 100 µm² (95 % limit)", soft_wrap=True)
    console.print(
        f"† scans like these for a mean height within {100 * plan.precision:g} %, "
        f"at {plan.coverage * 1e-12:g} particles per µm²",
        soft_wrap=True,
    )
    console.print(CAUTION, soft_wrap=True)


def _row(row: ByDiameter) -> tuple[str, ...]:
    from core.units import format_length, format_number

    rate = row.false_rate
    false = "–" if rate is None else f"{format_number(rate.value * 1e-10)} (≤ {format_number(rate.upper * 1e-10)})"
    lengths = [
        "–" if value is None else f"{value * 1e9:.2f} nm".replace("-", "−")
        for value in (row.height_bias, row.height_spread)
    ]
    return (
        format_length(row.diameter),
        "–" if row.recall is None else f"{100 * row.recall:.1f} %",
        false,
        *lengths,
        row.light,
        "–" if row.scans_needed is None else str(row.scans_needed),
    )


def _smallest(one: Trial) -> str:
    from core.units import format_length

    reliable = one.reliable
    if reliable.diameter is None:
        return f"no smallest reliable diameter: {reliable.note}."
    ends = ""
    if reliable.low is not None and reliable.high is not None:
        ends = f" (95 %: {format_length(reliable.low)} to {format_length(reliable.high)})"
    said = f"95 % are found from {format_length(reliable.diameter)} on{ends}."
    return f"{said} {reliable.note}." if reliable.note else said


def _landing(place: object) -> str:
    from core.fitness.trial import Landing
    from core.units import format_length

    assert isinstance(place, Landing)
    corner = f"{format_length(place.x)} from the left, {format_length(place.y)} from the top"
    return (
        f"best landing area {format_length(place.side)} wide on {place.scan}, {corner}: "
        f"{place.bumps} bumps, {format_length(place.sigma)} RMS"
    )
