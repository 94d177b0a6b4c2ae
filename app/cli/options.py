"""Options and ways that several commands share."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from core.bench import Bench, Refusal
from core.errors import FileProblem, LowreliefError
from core.formats.layouts import Layout
from core.formats.layouts.layout import load
from core.progress import Progress, Report, silent

if TYPE_CHECKING:
    from core.figure.composed.plan import FigurePlan

LAYOUTS = "lowrelief.layouts"  # where the context of a command keeps those that were named


def reading_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Pixel and unit as parameters of the command; layouts are asked for by `layouts`."""
    pixel = click.option(
        "--pixel", metavar="10nm|10nmx12nm", help="Pixel size, down x across; wins over sidecars and files."
    )
    unit = click.option("--unit", metavar="nm", help="Unit of the heights; wins over sidecars and files.")
    layout = click.option(
        "--layout",
        "layout_files",
        multiple=True,
        type=click.Path(path_type=Path, dir_okay=False),
        expose_value=False,
        callback=_keep_layouts,
        help="Layout (TOML) of files of no open standard; those in the user's folder are known already.",
    )
    return pixel(unit(layout(command)))


def bench_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """What every command needs that makes a bench of scans; `gathered` takes it."""
    treatment = click.option("--treatment", type=click.Path(path_type=Path, dir_okay=False), help="Treatment as TOML.")
    specimen = click.option(
        "--specimen", "patterns", multiple=True, metavar="NAME=GLOB", help="Which files are of one specimen."
    )
    jobs = click.option("--jobs", type=click.IntRange(min=1), help="Workers; all cores by default.")
    return treatment(specimen(jobs(reading_options(command))))


def gathered(
    scans: Sequence[Path],
    *,
    treatment: Path | None,
    patterns: Sequence[str],
    jobs: int | None,
    pixel: str | None,
    unit: str | None,
    report: Report,
    zero: str | None = None,
) -> Bench:
    """The bench of these scans, with the treatment that was named. What was typed is looked at before a file is."""
    from core.gather import gather

    recipe = treatment_of(treatment, zero)
    specimens = dict(pattern_of(text) for text in patterns)
    check_quantities(pixel, unit)
    bench = gather(scans, pixel=pixel, unit=unit, specimens=specimens, layouts=layouts(), jobs=jobs, report=report)
    return replace(bench, treatment=recipe)


def layouts() -> list[Layout]:
    """The layouts that were named on the command line, then those that are kept."""
    from app.places import kept_layouts

    named: list[Layout] = click.get_current_context().meta.get(LAYOUTS, [])
    return [*named, *kept_layouts()]


def _keep_layouts(context: click.Context, _: click.Parameter, files: tuple[Path, ...]) -> None:
    with wrong_use("--layout"):
        context.meta[LAYOUTS] = [load(file) for file in files]


@contextmanager
def wrong_use(option: str) -> Iterator[None]:
    """An error in what the user typed is wrong use, not a refused scan."""
    try:
        yield
    except LowreliefError as error:
        raise click.BadParameter(str(error), param_hint=option) from error


@contextmanager
def shown_progress() -> Iterator[Report]:
    """Progress on stderr when that is a terminal, nothing otherwise."""
    if not sys.stderr.isatty():
        yield silent
        return
    from rich.console import Console
    from rich.progress import Progress as Bar

    with Bar(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=None)

        def report(progress: Progress) -> None:
            bar.update(task, total=progress.total, completed=progress.done, description=progress.what)

        yield report


def treatment_of(path: Path | None, zero: str | None) -> Any:
    from core.treatment import Treatment

    with wrong_use("--treatment"):
        recipe = Treatment.default() if path is None else Treatment.from_toml(_text(path))
    return recipe if zero is None else recipe.with_zero(zero)


def plan_of(path: Path | None, page: str | None, rows: str | None, look: str | None) -> FigurePlan | None:
    """The plan of a composed figure, from a file and from single words; None without any of them."""
    from core.figure.composed.plan import FigurePlan

    said: dict[str, Any] = {"page": page, "look": look, "rows": rows.replace(" ", "").split(",") if rows else None}
    said = {key: value for key, value in said.items() if value is not None}
    if path is None and not said:
        return None
    with wrong_use("--figure"):
        plan = FigurePlan() if path is None else FigurePlan.from_toml(_text(path))
    with wrong_use("--page, --rows or --look"):
        return FigurePlan.from_table(plan.to_table() | said)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise FileProblem("The file cannot be read", where=f"{path}: {error}", fix="Name a TOML file.") from error


def pattern_of(text: str) -> tuple[str, str]:
    name, equals, pattern = text.partition("=")
    if not (name and equals and pattern):
        raise click.BadParameter(f"“{text}” is not NAME=GLOB, such as film='film_*'.", param_hint="--specimen")
    return name, pattern


def check_quantities(pixel: str | None, unit: str | None) -> None:
    from core.units import metres_per, parse_pixel

    with wrong_use("--pixel"):
        if pixel is not None:
            parse_pixel(pixel)
    with wrong_use("--unit"):
        if unit is not None:
            metres_per(unit)


def say_refused(refused: Sequence[Refusal]) -> None:
    for refusal in refused:
        click.echo(f"refused {refusal.file}: {refusal.reason}. {refusal.fix}".rstrip(), err=True)
