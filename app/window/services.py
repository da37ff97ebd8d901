"""What the window needs from the rest of the program, handed in whole, so that tests can hand in fakes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol, runtime_checkable

from app.coach.judgement import Target
from app.engine.history import HistoryView
from app.engine.snapshot import Snapshot
from app.errors import SwellmarkError
from app.inputs.source import Source

if TYPE_CHECKING:
    from app.conform.case import Result
    from app.engine.listening import SessionMaker
    from app.log.keeper import TakeView
    from app.log.records import TakeDetail, TakeRow


class HasHistory(Protocol):
    """Whatever the chart draws from."""

    def view(self) -> HistoryView:
        """The newest hops."""
        ...


class Engine(Protocol):
    """What the window needs of :class:`app.engine.loop.Engine`; no call may block, apart from ``stop``."""

    @property
    def snapshot(self) -> Snapshot:
        """The newest state."""
        ...

    @property
    def history(self) -> HasHistory:
        """The last while, hop by hop."""
        ...

    def open(self, source: Source) -> None:
        """Listen to this input from now on."""
        ...

    def close_input(self) -> None:
        """Leave the input."""
        ...

    def reset(self) -> None:
        """Let go of held peaks, clip counts and evidence."""
        ...

    def begin_session(self, make_session: SessionMaker, channel: int = 0) -> None:
        """Guide one channel (column index, from 0) to its gain."""
        ...

    def skip_step(self) -> None:
        """Go on with the next step of that session."""
        ...

    def end_session(self) -> None:
        """Leave that session."""
        ...

    def stop(self) -> bool:
        """End the analysis within a few seconds; False when it did not end."""
        ...


class Keeper(Protocol):
    """What the window needs of :class:`app.log.keeper.TakeKeeper`."""

    def begin(self, name: str = "", part: str = "") -> None:
        """Begin a take."""
        ...

    def end(self) -> None:
        """End the take that runs."""
        ...

    def close(self) -> None:
        """End whatever runs, because the program ends."""
        ...

    @property
    def current(self) -> TakeView | None:
        """The take that runs."""
        ...

    @property
    def revision(self) -> int:
        """Changes whenever the list of takes should be read again."""
        ...


class Memory(Protocol):
    """What is remembered between runs: short texts by name. Neither call may block or raise."""

    def get(self, name: str) -> str | None:
        """What was put last, or None."""
        ...

    def put(self, name: str, value: str) -> None:
        """Remember."""
        ...


@runtime_checkable
class HasGain(Protocol):
    """An input whose gain knob the window can turn: the built-in player."""

    gain_db: float


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
    make_session: Callable[[str], SessionMaker]
    """Makes guided sessions for a part, by its key."""
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
    first_input: str | None = None
    """What the command line asks for; None = what was open last, or the built-in player."""
    gain_range_db: tuple[float, float] = (-30.0, 30.0)
    """Of the built-in player's knob."""
    default_input: str = "player"
    default_part: str = "other"
