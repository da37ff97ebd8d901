"""Options that several commands share, and what they mean."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any, TypeVar

import click

from app import settings
from app.coach.judgement import Target
from app.coach.parts import PartProfile, find_part, load_parts
from app.coach.verdict import Coach
from app.engine.listening import CoachMaker
from app.words import cli as words

_Command = TypeVar("_Command", bound=Callable[..., Any])


def part_option(command: _Command) -> _Command:
    """Add ``--part NAME``."""
    return click.option("--part", metavar="NAME", default="other", help=words.part_help())(command)


def json_option(command: _Command) -> _Command:
    """Add ``--json``."""
    return click.option("--json", "as_json", is_flag=True, help=words.json_help())(command)


def the_part(name: str) -> PartProfile:
    """Find the profile of ``--part``, shipped or the user's own."""
    return find_part(name, load_parts(settings.own_parts_file()))


def live_coach(profile: PartProfile, target: Target | None = None) -> CoachMaker:
    """Make coaches for live input."""

    def make(channels: int, rate_hz: int, hop_frames: int) -> Coach:
        return Coach(channels, rate_hz, hop_frames, profile=profile, target=target or Target())

    return make


def print_json(document: Any, *, compact: bool = False) -> None:
    """Print one JSON document; anything that is no JSON number is a mistake of ours and raises."""
    indent = None if compact else 1
    click.echo(json.dumps(document, ensure_ascii=False, allow_nan=False, indent=indent))
