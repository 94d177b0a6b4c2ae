"""``lowrelief convert``: to another open format."""

from __future__ import annotations

from pathlib import Path

import click

from app.cli.group import lowrelief
from app.cli.options import check_quantities, layouts, reading_options
from app.cli.status import DONE


@lowrelief.command()
@click.argument("scan", type=click.Path(path_type=Path))
@click.argument("out", type=click.Path(path_type=Path))
@click.option("--sidecar", is_flag=True, help="For formats without pixel size (.npy): also write OUT.toml beside it.")
@reading_options
def convert(scan: Path, out: Path, sidecar: bool, pixel: str | None, unit: str | None) -> int:
    """Convert SCAN to another open format, chosen by the suffix of OUT."""
    from core.formats import read, write

    check_quantities(pixel, unit)
    if out.exists() and out.resolve() == scan.resolve():
        raise click.BadParameter("Raw files are never overwritten; choose another name.", param_hint="OUT")
    write(read(scan, pixel=pixel, unit=unit, layouts=layouts())[0], out, sidecar=sidecar)
    click.echo(out)
    return DONE
