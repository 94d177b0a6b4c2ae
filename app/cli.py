"""The command line: compare, show, convert, demo, and the window for everything else."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from core.bench import Refusal
from core.errors import LowreliefError, TreatmentError
from core.progress import Progress, Report, silent
from core.version import VERSION

DONE, WRONG_USE, SOME_REFUSED, NOTHING_DONE = 0, 2, 3, 4


class ScansOrCommand(click.Group):
    """A group whose first word may also be a scan: then the window opens."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] in self.commands:
            return super().resolve_command(ctx, args)
        return "window", self.commands["window"], args


@click.group(
    cls=ScansOrCommand,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "ignore_unknown_options": False},
)
@click.version_option(VERSION, prog_name="lowrelief")
@click.pass_context
def lowrelief(ctx: click.Context) -> None:
    """Compare flat surfaces side by side: one height scale, honest ranking, a sheet and a figure.

    Without a command the window opens, with the SCANs or the bench file that are named:

        lowrelief [SCAN ...]
    """
    if ctx.invoked_subcommand is None:
        ctx.invoke(window, scans=())


def main() -> None:
    """Entry point of the ``lowrelief`` command."""
    sys.exit(run(sys.argv[1:]))


def run(words: Sequence[str]) -> int:
    """Carry out one command line and return its exit status; errors go to stderr in one clear line."""
    try:
        status = lowrelief.main(args=list(words), prog_name="lowrelief", standalone_mode=False)
    except click.ClickException as error:
        error.show()
        return WRONG_USE
    except click.exceptions.Abort:
        click.echo("lowrelief: stopped", err=True)
        return NOTHING_DONE
    except LowreliefError as error:
        click.echo(f"lowrelief: {error}", err=True)
        return NOTHING_DONE
    return status if isinstance(status, int) else DONE


# --- options that several commands share


def _reading_options(command: Callable[..., Any]) -> Callable[..., Any]:
    pixel = click.option(
        "--pixel", metavar="10nm|10nmx12nm", help="Pixel size, down x across; wins over sidecars and files."
    )
    unit = click.option("--unit", metavar="nm", help="Unit of the heights; wins over sidecars and files.")
    return pixel(unit(command))


@contextmanager
def _wrong_use(option: str) -> Iterator[None]:
    """An error in what the user typed is wrong use, not a refused scan."""
    try:
        yield
    except LowreliefError as error:
        raise click.BadParameter(str(error), param_hint=option) from error


@contextmanager
def _progress() -> Iterator[Report]:
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


# --- commands


@lowrelief.command(hidden=True)
@click.argument("scans", nargs=-1, type=click.Path(path_type=Path))
@_reading_options
def window(scans: tuple[Path, ...], pixel: str | None = None, unit: str | None = None) -> int:
    """Open the window."""
    from app.shell.window import run as open_window

    return open_window(list(scans), pixel=pixel, unit=unit, samples=_samples)


@lowrelief.command()
@click.argument("scans", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path, file_okay=False), help="Folder for the results.")
@click.option("--treatment", type=click.Path(path_type=Path, dir_okay=False), help="Treatment as TOML.")
@click.option("--rank-by", default="Sq", show_default=True, metavar="SYMBOL", help="Reading that makes the standing.")
@click.option("--range", "height_range", metavar="0nm:100nm", help="Shared height scale of the figure.")
@click.option("--zero", type=click.Choice(["lowest", "mean", "median"]), help="Where 0 nm is.")
@click.option("--specimen", "patterns", multiple=True, metavar="NAME=GLOB", help="Which files are of one specimen.")
@click.option("--title", default="", help="Title of sheet and figure.")
@click.option("--jobs", type=click.IntRange(min=1), help="Workers; all cores by default.")
@click.option("--only", metavar="json,csv,png,...", help="Write these only: json csv xlsx html png svg pdf h5.")
@_reading_options
def compare(
    scans: tuple[Path, ...],
    out: Path,
    treatment: Path | None,
    rank_by: str,
    height_range: str | None,
    zero: str | None,
    patterns: tuple[str, ...],
    title: str,
    jobs: int | None,
    only: str | None,
    pixel: str | None,
    unit: str | None,
) -> int:
    """Compare SCANs (files or folders): sheet, figure and bench file go to the folder --out."""
    from dataclasses import replace

    from core.compare import compare as compare_bench
    from core.gather import gather
    from core.handover import kinds, write_all
    from core.measures import CATALOGUE
    from core.scale import Scale

    if rank_by not in CATALOGUE:
        raise click.BadParameter(f"There is no reading “{rank_by}”: {', '.join(CATALOGUE)}.", param_hint="--rank-by")
    recipe = _treatment(treatment, zero)
    with _wrong_use("--range"):
        scale = Scale.parse(height_range) if height_range else Scale()
    with _wrong_use("--only"):
        wanted = kinds(only)
    specimens = dict(_pattern(text) for text in patterns)
    _check_quantities(pixel, unit)
    with _progress() as report:
        bench = gather(scans, pixel=pixel, unit=unit, specimens=specimens, jobs=jobs, report=report)
        bench = replace(bench, title=title, treatment=recipe, rank_by=rank_by, scale=scale)
        comparison = compare_bench(bench, jobs=jobs, report=report)
        _say_refused(comparison.refused)
        if not comparison.scans:
            click.echo("lowrelief: no scan could be compared", err=True)
            return NOTHING_DONE
        written = write_all(comparison, out, only=wanted, bench=bench, report=report)
    for path in written:
        click.echo(path)
    return SOME_REFUSED if comparison.refused else DONE


@lowrelief.command()
@click.argument("scan", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Machine-readable.")
@_reading_options
def show(scan: Path, as_json: bool, pixel: str | None, unit: str | None) -> int:
    """Show what the file SCAN holds, and its readings after levelling by a plane."""
    from app.show import as_record, as_text
    from core.formats import read

    _check_quantities(pixel, unit)
    maps = read(scan, pixel=pixel, unit=unit)
    if as_json:
        click.echo(json.dumps(as_record(maps), ensure_ascii=False, indent=1, allow_nan=False))
    else:
        click.echo(as_text(maps))
    return DONE


@lowrelief.command()
@click.argument("scan", type=click.Path(path_type=Path))
@click.argument("out", type=click.Path(path_type=Path))
@click.option("--sidecar", is_flag=True, help="For formats without pixel size (.npy): also write OUT.toml beside it.")
@_reading_options
def convert(scan: Path, out: Path, sidecar: bool, pixel: str | None, unit: str | None) -> int:
    """Convert SCAN to another open format, chosen by the suffix of OUT."""
    from core.formats import read, write

    _check_quantities(pixel, unit)
    if out.exists() and out.resolve() == scan.resolve():
        raise click.BadParameter("Raw files are never overwritten; choose another name.", param_hint="OUT")
    write(read(scan, pixel=pixel, unit=unit)[0], out, sidecar=sidecar)
    click.echo(out)
    return DONE


@lowrelief.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def demo(folder: Path) -> int:
    """Write the sample scans (invented data) to FOLDER."""
    from core.scenario import write_demo

    with _progress() as report:
        for path in write_demo(folder, report=report):
            click.echo(path)
    return DONE


# --- what they have in common


def _samples(report: Report) -> Sequence[Path]:
    """The sample scans: those of the checkout, else written beside the user's data."""
    from core.gather import expand

    here = Path(__file__).resolve().parent.parent / "sample_data" / "carriers"
    if here.is_dir():
        return expand([here])
    from platformdirs import user_data_path

    from core.scenario import write_demo

    folder = user_data_path("lowrelief") / "sample_data"
    write_demo(folder, report=report)
    return expand([folder / "carriers"])


def _treatment(path: Path | None, zero: str | None) -> Any:
    from core.treatment import Treatment

    with _wrong_use("--treatment"):
        recipe = Treatment.default() if path is None else Treatment.from_toml(_text(path))
    return recipe if zero is None else recipe.with_zero(zero)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise TreatmentError(f"The treatment {path} cannot be read", where=str(error)) from error


def _pattern(text: str) -> tuple[str, str]:
    name, equals, pattern = text.partition("=")
    if not (name and equals and pattern):
        raise click.BadParameter(f"“{text}” is not NAME=GLOB, such as film='film_*'.", param_hint="--specimen")
    return name, pattern


def _check_quantities(pixel: str | None, unit: str | None) -> None:
    from core.units import metres_per, parse_pixel

    with _wrong_use("--pixel"):
        if pixel is not None:
            parse_pixel(pixel)
    with _wrong_use("--unit"):
        if unit is not None:
            metres_per(unit)


def _say_refused(refused: Sequence[Refusal]) -> None:
    for refusal in refused:
        click.echo(f"refused {refusal.file}: {refusal.reason}. {refusal.fix}".rstrip(), err=True)
