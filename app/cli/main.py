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
from app.cli import terminal
from app.cli.completing import complete_input
from app.errors import SwellmarkError
from app.words import cli as words

_COMMANDS = ("inputs", "watch", "check", "folder", "balance", "takes", "conform", "completion")
"""In the order of the job; module and command share the name."""

DONE, ACT, WRONG = 0, 1, 2
"""Exit status: nothing to act on; something to act on; wrong usage or unreadable input."""
STOPPED, UNREAD = 130, 141
"""As a shell has it: Ctrl+C before there was a result; nobody reads what is printed."""

_log = logging.getLogger(__name__)

# From click 8.2 on; before, it prints the help and ends by itself.
_HelpInstead: type[Exception] = getattr(click.exceptions, "NoArgsIsHelpError", click.exceptions.Exit)


class _Commands(click.Group):
    """Finds a command in the module of its name."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:  # noqa: ARG002
        if name not in _COMMANDS:
            return None
        command: click.Command = getattr(importlib.import_module(f"app.cli.{name}"), name)
        return command

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; when whoever reads the output has left, end without a word."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            terminal.let_go_of_stdout()
            ctx.exit(UNREAD)

    def main(self, *args: Any, **kwargs: Any) -> Any:
        """Run, and turn every error into one line on stderr and an exit status."""
        level = os.environ.get("SWELLMARK_LOG", "").upper()
        if level in logging.getLevelNamesMapping():
            logging.basicConfig(level=level)
        terminal.prepare()
        try:
            status = super().main(*args, **(kwargs | {"standalone_mode": False}))
        except Exception as error:
            status = _explain(error)
        sys.exit(status if isinstance(status, int) else DONE)


def _explain(error: Exception) -> int:
    """Say what went wrong; returns the exit status."""
    match error:
        case SwellmarkError():
            _log.info("%s", error.detail or error.sentence, exc_info=error)
            terminal.complain(error.sentence)
        case _HelpInstead() if isinstance(error, click.ClickException):
            error.show()
        case click.ClickException():
            terminal.complain(_usage(error))
        case click.Abort():
            return STOPPED
        case OSError():
            _log.info("the system refused", exc_info=error)
            reason = error.strerror or str(error)
            terminal.complain(f"{error.filename}: {reason}" if error.filename else reason)
            # It may be stdout that refused; what is left in its buffer must not be tried again at the exit.
            terminal.let_go_of_stdout()
        case _:
            _log.error("a fault in the program", exc_info=error)
            terminal.complain(words.fault_of_ours(f"{type(error).__name__}: {error}"))
    return WRONG


def _usage(error: click.ClickException) -> str:
    context = getattr(error, "ctx", None)
    if context is None:
        return error.format_message()
    return f"{error.format_message()} {words.see_help(context.command_path)}"


@click.group(cls=_Commands, invoke_without_command=True, help=words.program_help())
@click.option("--input", "spec", metavar="SPEC", shell_complete=complete_input, help=words.input_help())
@click.version_option(__version__, prog_name="swellmark")
@click.pass_context
def main(ctx: click.Context, spec: str | None) -> None:
    """Open the window."""
    if ctx.invoked_subcommand is not None:
        if spec is not None:
            raise click.UsageError(words.input_belongs_to_the_command(ctx.invoked_subcommand))
        # Decoders and drivers print what they think of a file or a device.
        ctx.with_resource(terminal.stderr_of_our_own())
        return
    try:
        from app.cli.window import open_window  # late: Qt takes a while to load
    except ImportError as error:  # Qt needs libraries of the system
        raise SwellmarkError(words.no_window(str(error)), str(error)) from error

    sys.exit(open_window(spec))
