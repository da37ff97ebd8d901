"""``swellmark completion``: what a shell needs to complete the command line."""

from __future__ import annotations

import click
from click.shell_completion import BashComplete, FishComplete, ZshComplete

from app.words import completion as words

_SHELLS = {"bash": BashComplete, "fish": FishComplete, "zsh": ZshComplete}


@click.command(help=words.completion_help())
@click.argument("shell", type=click.Choice(list(_SHELLS)))
@click.pass_context
def completion(ctx: click.Context, shell: str) -> None:
    """Print the script; the shell that reads it asks the program itself from then on."""
    name = "swellmark"
    script = _SHELLS[shell]
    click.echo(script(ctx.find_root().command, {}, name, f"_{name.upper()}_COMPLETE").source())
