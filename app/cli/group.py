"""The group of all commands; a first word that is no command is a scan, and the window opens."""

from __future__ import annotations

import click

from core.version import VERSION


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
        ctx.invoke(lowrelief.commands["window"], scans=())
