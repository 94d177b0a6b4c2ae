"""The command line: one file a command; results on stdout, progress and reasons on stderr."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import click

from app.cli import claim, compare, convert, demo, log, replay, show, trial, window  # noqa: F401  (each adds its command to the group)
from app.cli.group import lowrelief
from app.cli.status import DONE, NOTHING_DONE, WRONG_USE
from core.errors import LowreliefError


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
