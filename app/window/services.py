"""What the window needs from the rest of the program, handed in whole, so that tests can hand in fakes.

What a page alone needs is a frozen dataclass of its own, in a file of its own, whose fields all have defaults
that are safe (nothing there, nothing done); it becomes one field of :class:`Services`, with that class as its
``default_factory``. So pages grow without touching each other, and a test hands in only what it is about.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from app.coach.judgement import Target
from app.errors import SwellmarkError
from app.inputs.source import Source
from app.window.balanceports import BalanceServices
from app.window.channelports import ChannelDesk, NoChannels
from app.window.handsfreeports import HandsFreeServices
from app.window.ports import Engine, Keeper, Memory
from app.window.takeports import TakesServices

if TYPE_CHECKING:
    from app.conform.case import Result
    from app.engine.listening import SessionMaker
    from app.log.records import TakeDetail, TakeRow


@dataclass(frozen=True, slots=True)
class InputChoice:
    """An input that can be opened."""

    spec: str
    """For ``open_input``."""
    label: str
    """For people."""


@dataclass(frozen=True, slots=True)
class PartChoice:
    """A part that the advice can be made for."""

    key: str
    label: str
    hints: tuple[str, ...] = ()
    """A line or two from the trade."""


def _nothing_proven() -> Iterator[Result]:
    return iter(())


def _nothing_wrong() -> SwellmarkError | None:
    return None


@dataclass(frozen=True)
class Services:
    """Everything that :func:`app.window.main.run` needs."""

    engine: Engine
    keeper: Keeper
    settings: Memory
    open_input: Callable[[str], Source]
    """Builds the source of a spec, quickly; may raise :class:`~app.errors.SwellmarkError`."""
    list_inputs: Callable[[], Sequence[InputChoice]]
    """May take seconds: called on a thread of its own."""
    list_takes: Callable[[], Sequence[TakeRow]]
    """Newest first; called on a thread of its own."""
    read_take: Callable[[int], TakeDetail]
    """Called on the same thread as ``list_takes``."""
    close_log: Callable[[], object]
    """Write what is left and let go of the log, within a few seconds."""
    make_session: Callable[[str, int], SessionMaker]
    """Makes guided sessions for a part, by its key, on a channel (column index, from 0)."""
    parts: Sequence[PartChoice] = ()
    choose_part: Callable[[str], None] = field(default=lambda _key: None)
    """Have the coach judge by this part from now on."""
    part_of_input: Callable[[str], str | None] = field(default=lambda _spec: None)
    """The key of the part that an input is known to play, such as the built-in player; None = unknown."""
    log_problem: Callable[[], SwellmarkError | None] = _nothing_wrong
    """What keeps the log from being written, while it does."""
    log_notice: Callable[[], str] = field(default=lambda: "")
    """What a user should know once about the log, such as that a damaged one was set aside; or nothing."""
    prove: Callable[[], Iterator[Result]] = _nothing_proven
    """Begins a run of the standards' test signals; called, and iterated, on a thread of its own."""
    target: Target = field(default_factory=Target)
    target_of: Callable[[int], Target] = field(default=lambda _channel: Target())
    """Where one channel should sit, by its column index."""
    first_input: str | None = None
    """What the command line asks for; None = what was open last, or the built-in player."""
    gain_range_db: tuple[float, float] = (-30.0, 30.0)
    """Of the built-in player's knob."""
    default_input: str = "player"
    default_part: str = "other"
    balance: BalanceServices = field(default_factory=BalanceServices)
    """For the page about the headphone balance."""
    handsfree: HandsFreeServices = field(default_factory=HandsFreeServices)
    """For the control beside the take button."""
    channels: ChannelDesk = field(default_factory=NoChannels)
    """Names channels and gives them parts."""
    takes: TakesServices = field(default_factory=TakesServices)
    """For the pages about takes, files and folders."""
