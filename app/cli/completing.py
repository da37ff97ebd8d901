"""What a shell may complete the command line with."""

from __future__ import annotations

from collections.abc import Iterable

import click
from click.shell_completion import CompletionItem


def complete_part(_ctx: click.Context, _parameter: click.Parameter, begun: str) -> list[CompletionItem]:
    """Parts that begin like this, behind the channel that may stand before them."""
    from app.coach.parts import load_parts  # late: only a shell that completes asks
    from app.settings import own_parts_file

    channel, is_own, name = begun.rpartition("=")
    before = channel + is_own
    return [CompletionItem(before + part.value) for part in _beginning(name, load_parts(own_parts_file()))]


def complete_input(_ctx: click.Context, _parameter: click.Parameter, begun: str) -> list[CompletionItem]:
    """Inputs that begin like this; devices are not asked, which would take a while."""
    from app.inputs.player import PARTS

    return _beginning(begun, ["device:", "file:", "player", *(f"player:{part}" for part in PARTS)])


def _beginning(begun: str, words_known: Iterable[str]) -> list[CompletionItem]:
    return [CompletionItem(word) for word in words_known if word.startswith(begun)]
