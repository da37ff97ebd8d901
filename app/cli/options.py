"""Options that several commands share, and what they mean."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import click

from app import settings
from app.cli.completing import complete_part
from app.cli.terminal import print_json
from app.coach.judgement import HIGHEST_CEILING_DBFS, LOWEST_CEILING_DBFS, Target
from app.coach.makers import Parts, Targets, live_coach, take_coach
from app.coach.parts import PartProfile, find_part, load_parts
from app.errors import UsageError
from app.words import cli as words

__all__ = [
    "Seconds",
    "ceilings_option",
    "explain_option",
    "json_option",
    "live_coach",
    "part_option",
    "parts_option",
    "print_json",
    "take_coach",
    "the_part",
    "the_parts",
    "the_targets",
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


def ceilings_option(command: _Command) -> _Command:
    """Add ``--peaks-under DBFS`` that may come several times, ``--peaks-under 2=-12`` for one channel."""
    option = click.option(
        "--peaks-under", "ceilings", metavar="DBFS", multiple=True, help=words.ceilings_help()
    )
    return option(command)


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
    default, own = _by_channel(given, "other", words.no_channel)
    return Parts(the_part(default), {channel: the_part(name) for channel, name in own.items()})


def the_targets(given: Sequence[str]) -> Targets:
    """Find the targets of ``--peaks-under``: ``-9`` for every channel, ``1=-9,2=-12`` for some.

    Raises
    ------
    app.errors.UsageError
        For a ceiling that is none, or a channel that is no number from 1 on.
    """
    default, own = _by_channel(given, "", words.no_channel_to_limit)
    usual = Target()
    target = usual.under(_ceiling_dbfs(default)) if default else usual
    return Targets(target, {channel: usual.under(_ceiling_dbfs(text)) for channel, text in own.items()})


def _by_channel(
    given: Sequence[str], default: str, complaint: Callable[[str], str]
) -> tuple[str, dict[int, str]]:
    """Split ``value`` and ``1=value,2=value`` into what holds for all, and by column index what for some."""
    own: dict[int, str] = {}
    for text in (each.strip() for option in given for each in option.split(",")):
        number, is_own, value = (piece.strip() for piece in text.partition("="))
        if not is_own:
            default = text
        elif number.isascii() and number.isdigit() and int(number[:9]) >= 1:
            own[int(number[:9]) - 1] = value
        else:
            raise UsageError(complaint(number))
    return default, own


def _ceiling_dbfs(text: str) -> float:
    try:
        ceiling_dbfs = float(text.replace("\N{MINUS SIGN}", "-"))
    except ValueError:
        ceiling_dbfs = math.nan
    if not LOWEST_CEILING_DBFS <= ceiling_dbfs <= HIGHEST_CEILING_DBFS:  # also catches nan
        raise UsageError(words.no_ceiling(text, LOWEST_CEILING_DBFS, HIGHEST_CEILING_DBFS))
    return ceiling_dbfs
