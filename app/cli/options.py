"""Options that several commands share, and what they mean."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import click

from app import settings
from app.cli.completing import complete_part
from app.cli.terminal import print_json
from app.coach.makers import Parts, live_coach, take_coach
from app.coach.parts import PartProfile, find_part, load_parts
from app.errors import UsageError
from app.words import cli as words

__all__ = [
    "Seconds",
    "explain_option",
    "json_option",
    "live_coach",
    "part_option",
    "parts_option",
    "print_json",
    "take_coach",
    "the_part",
    "the_parts",
]

_Command = TypeVar("_Command", bound=Callable[..., Any])


class Seconds(click.FloatRange):
    """A time, within limits; "nan" and "inf" are numbers to Python and no times."""

    name = "seconds"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it."""
        seconds: float = super().convert(value, param, ctx)
        if not math.isfinite(seconds):
            self.fail(words.no_time(str(value)), param, ctx)
        return seconds


def part_option(command: _Command) -> _Command:
    """Add ``--part NAME``."""
    return click.option(
        "--part", metavar="NAME", default="other", shell_complete=complete_part, help=words.part_help()
    )(command)


def parts_option(command: _Command) -> _Command:
    """Add ``--part NAME`` that may come several times, ``--part 1=NAME`` for one channel."""
    option = click.option(
        "--part",
        "parts",
        metavar="NAME",
        multiple=True,
        shell_complete=complete_part,
        help=words.parts_help(),
    )
    return option(command)


def json_option(command: _Command) -> _Command:
    """Add ``--json``."""
    return click.option("--json", "as_json", is_flag=True, help=words.json_help())(command)


def explain_option(command: _Command) -> _Command:
    """Add ``--explain``."""
    return click.option("--explain", is_flag=True, help=words.explain_help())(command)


def the_part(name: str) -> PartProfile:
    """Find the profile of ``--part``, shipped or the user's own."""
    try:
        own_file = settings.own_parts_file()
    except OSError:  # a home that cannot be written has no profiles in it either
        own_file = None
    return find_part(name, load_parts(own_file))


def the_parts(given: Sequence[str]) -> Parts:
    """Find the profiles of ``--part``: ``bass`` for every channel, ``1=voice,2=bass`` for some.

    Raises
    ------
    app.errors.UsageError
        For a part that nobody knows, or a channel that is no number from 1 on.
    """
    default = "other"
    own: dict[int, PartProfile] = {}
    for text in (each.strip() for option in given for each in option.split(",")):
        number, is_own, name = text.partition("=")
        if not is_own:
            default = text
        elif number.strip().isascii() and number.strip().isdigit() and int(number) >= 1:
            own[int(number) - 1] = the_part(name.strip())
        else:
            raise UsageError(words.no_channel(number.strip()))
    return Parts(the_part(default), own)
