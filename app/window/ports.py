"""What the window needs of the objects behind it, as protocols that tests can fake."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, runtime_checkable

from app.engine.history import HistoryView
from app.engine.snapshot import Snapshot
from app.inputs.source import Source

if TYPE_CHECKING:
    from app.engine.listening import SessionMaker
    from app.log.keeper import TakeView


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

    def set_seen(self, seen: bool) -> None:
        """Tell whether somebody looks: otherwise the newest state may come a moment later."""
        ...

    def look_at(self, next_s: float, every_s: float) -> None:
        """Tell when (``time.monotonic()``) the newest state is wanted next, and how often after that."""
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
