"""Options that several commands share, and what they mean."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar

import click

from app import settings
from app.cli.completing import complete_part
from app.cli.terminal import print_json
from app.coach.judgement import Target
from app.coach.parts import PartProfile, find_part, load_parts
from app.coach.verdict import Coach
from app.engine.listening import CoachMaker
from app.words import cli as words

__all__ = [
    "Seconds",
    "explain_option",
    "json_option",
    "live_coach",
    "part_option",
    "print_json",
    "the_part",
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


def live_coach(profile: PartProfile, target: Target | None = None) -> CoachMaker:
    """Make coaches for live input."""
    return partial(Coach, profile=profile, target=target or Target())


def take_coach(profile: PartProfile, target: Target | None = None) -> CoachMaker:
    """Make coaches that judge a whole take by what was played in it."""
    return partial(Coach, profile=profile, target=target or Target(), memory_s=None, take_s=None)
