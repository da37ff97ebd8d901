"""Write the man page from what the commands say of themselves.

    python assets/ship/manpage.py     writes assets/ship/swellmark.1

The page is in English; a test holds it in step with the commands.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import click

PAGE = Path(__file__).with_name("swellmark.1")

_FRAME = """\
.\\" Made by assets/ship/manpage.py from the commands' own help.
.Dd November 25, 2026
.Dt SWELLMARK 1
.Os
.Sh NAME
.Nm swellmark
.Nd coach for recording levels
.Sh SYNOPSIS
{synopsis}
.Sh DESCRIPTION
{description}
.Pp
It listens to an input, or reads files, and changes neither.
.Sh OPTIONS
{options}
.Sh COMMANDS
{commands}
.Sh ENVIRONMENT
.Bl -tag -width Ds
.It Ev LANGUAGE , LC_ALL , LC_MESSAGES , LANG
The language of the texts, as in
.Xr gettext 3 .
.It Ev SWELLMARK_LOG
The level of the technical log on standard error:
.Cm debug , info , warning
or
.Cm error .
.El
.Sh EXIT STATUS
.Bl -tag -width Ds
.It 0
Done, and nothing to act on.
.It 1
Done, and at least one input needs action: it clipped, or lies off the window.
.It 2
Wrong usage or unreadable input; one line on standard error says why.
.El
"""


def page() -> str:
    """The page, as mdoc."""
    # Texts are made when a command is imported: in English, whoever calls this.
    os.environ["LANGUAGE"] = "en"
    from app.cli.main import main

    context = click.Context(main, info_name="swellmark")
    commands = list(_commands(main, context))
    return _FRAME.format(
        synopsis="\n".join(
            [".Nm\n.Op Fl Fl input Ar SPEC", *(f".Nm\n.Cm {name}\n.Ar ..." for name, _command in commands)]
        ),
        description=_text(main.help or ""),
        options=_options(main, context),
        commands="\n".join(
            [".Bl -tag -width Ds", *(_section(name, command) for name, command in commands), ".El"]
        ),
    )


def _commands(
    group: click.Group, context: click.Context, before: str = ""
) -> Iterator[tuple[str, click.Command]]:
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        if isinstance(command, click.Group):
            yield from _commands(command, context, f"{before}{name} ")
        elif command is not None:
            yield before + name, command


def _section(name: str, command: click.Command) -> str:
    context = click.Context(command, info_name=name)
    usage = " ".join(part for part in command.collect_usage_pieces(context) if part != "[OPTIONS]")
    return f".It Cm {name} {_text(usage)}\n{_text(command.help or '')}\n{_options(command, context)}"


def _options(command: click.Command, context: click.Context) -> str:
    records = [
        record
        for parameter in command.get_params(context)
        if "--help" not in parameter.opts and (record := parameter.get_help_record(context)) is not None
    ]
    if not records:
        return ".Pp"
    items = [f".It {_text(option)}\n{_text(what)}" for option, what in records]
    return "\n".join([".Bl -tag -width Ds", *items, ".El"])


def _text(text: str) -> str:
    """A text that roff takes as it is: no macro at its beginning, no escape in it."""
    flat = " ".join(text.replace("\\", "\\e").split())
    return (
        ("\\&" + flat if flat[:1] in ".'" else flat)
        .replace("-", "\\-")
        .replace("[", "\\(lB")
        .replace("]", "\\(rB")
    )


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    sys.exit()
