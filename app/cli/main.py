"""``swellmark`` itself: opens the window, or hands over to a command.

Each command lives in a module of its own, which is imported only when it is called for, so that ``--help``
and the window do not wait for what they do not need.
"""

from __future__ import annotations

import importlib
import logging
import os
import sys
from typing import Any

import click

from app import __version__
from app.errors import SwellmarkError
from app.words import cli as words

_COMMANDS = ("inputs", "watch", "check", "takes", "conform")
"""In the order of the job; module and command share the name."""

DONE, ACT, WRONG = 0, 1, 2
"""Exit status: nothing to act on; something to act on; wrong usage or unreadable input."""


class _Commands(click.Group):
    """Finds a command in the module of its name."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:  # noqa: ARG002
        if name not in _COMMANDS:
            return None
        command: click.Command = getattr(importlib.import_module(f"app.cli.{name}"), name)
        return command

    def main(self, *args: Any, **kwargs: Any) -> Any:
        """Run, and turn every expected error into one line on stderr and exit status 2."""
        level = os.environ.get("SWELLMARK_LOG", "").upper()
        if level in logging.getLevelNamesMapping():
            logging.basicConfig(level=level)
        try:
            return super().main(*args, **kwargs)
        except SwellmarkError as error:
            click.echo(f"swellmark: {_one_line(error.sentence)}", err=True)
            sys.exit(WRONG)


@click.group(cls=_Commands, invoke_without_command=True, help=words.program_help())
@click.option("--input", "spec", metavar="SPEC", help=words.input_help())
@click.version_option(__version__, prog_name="swellmark")
@click.pass_context
def main(ctx: click.Context, spec: str | None) -> None:
    """Open the window."""
    if ctx.invoked_subcommand is not None:
        if spec is not None:
            raise click.UsageError(words.input_belongs_to_the_command(ctx.invoked_subcommand))
        return
    from app.cli.window import open_window  # late: Qt takes a while to load

    sys.exit(open_window(spec))


def _one_line(text: str) -> str:
    return " ".join(text.split())
