"""``lowrelief show``: what a file holds, and its readings."""

from __future__ import annotations

import json
from pathlib import Path

import click

from app.cli.group import lowrelief
from app.cli.options import check_quantities, layouts, reading_options
from app.cli.status import DONE


@lowrelief.command()
@click.argument("scan", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Machine-readable.")
@reading_options
def show(scan: Path, as_json: bool, pixel: str | None, unit: str | None) -> int:
    """Show what the file SCAN holds, and its readings after levelling by a plane."""
    from app.cli.told import as_record, as_text
    from core.formats import read

    check_quantities(pixel, unit)
    maps = read(scan, pixel=pixel, unit=unit, layouts=layouts())
    if as_json:
        click.echo(json.dumps(as_record(maps), ensure_ascii=False, indent=1, allow_nan=False))
    else:
        click.echo(as_text(maps))
    return DONE
