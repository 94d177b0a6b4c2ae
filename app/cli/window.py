"""``lowrelief [SCAN ...]``: the window."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from app.cli.group import lowrelief
from app.cli.options import reading_options
from core.progress import Report


@lowrelief.command(hidden=True)
@click.argument("scans", nargs=-1, type=click.Path(path_type=Path))
@reading_options
def window(scans: tuple[Path, ...], pixel: str | None = None, unit: str | None = None) -> int:
    """Open the window."""
    from app.shell.window import run as open_window

    return open_window(list(scans), pixel=pixel, unit=unit, samples=_samples)


def _samples(report: Report) -> Sequence[Path]:
    """The sample scans: those of the checkout, else written beside the user's data."""
    from core.gather import expand

    here = Path(__file__).resolve().parents[2] / "sample_data" / "carriers"
    if here.is_dir():
        return expand([here])
    from platformdirs import user_data_path

    from core.scenario import write_demo

    folder = user_data_path("lowrelief") / "sample_data"
    write_demo(folder, report=report)
    return expand([folder / "carriers"])
