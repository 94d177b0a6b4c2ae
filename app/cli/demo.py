"""``lowrelief demo``: the sample scans."""

from __future__ import annotations

from pathlib import Path

import click

from app.cli.group import lowrelief
from app.cli.options import shown_progress
from app.cli.status import DONE


@lowrelief.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def demo(folder: Path) -> int:
    """Write the sample scans (invented data) to FOLDER."""
    from core.scenario import write_demo

    with shown_progress() as report:
        for path in write_demo(folder, report=report):
            click.echo(path)
    return DONE
