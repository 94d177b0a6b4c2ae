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
@click.option("--ladder", "look", is_flag=True, help="Also look for crystal steps (about a second).")
@click.option("--crystal", metavar="NAME", help="What the crystal is, for a check of the height scale.")
@reading_options
def show(scan: Path, as_json: bool, look: bool, crystal: str | None, pixel: str | None, unit: str | None) -> int:
    """Show what the file SCAN holds, and its readings after levelling by a plane."""
    from app.cli.told import as_record, as_text, ladder_record
    from core.formats import read

    check_quantities(pixel, unit)
    maps = read(scan, pixel=pixel, unit=unit, layouts=layouts())
    found = None
    if look or crystal:
        from core.fitness.ladder import ladder

        found = ladder(maps[0], crystal=crystal)
    if as_json:
        told = as_record(maps) | ({} if found is None else {"ladder": ladder_record(found)})
        click.echo(json.dumps(told, ensure_ascii=False, indent=1, allow_nan=False))
    else:
        click.echo(as_text(maps))
        if found is not None:
            click.echo(f"\n{found.sentence}")
    return DONE
