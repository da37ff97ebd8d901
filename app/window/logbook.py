"""Reads the take log for the list, off the window's thread, and no more than it must."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from app.log.records import TakeDetail, TakeState
from app.window.errands import Errands
from app.window.takelist import TakeLine

if TYPE_CHECKING:
    from app.log.records import TakeRow

_EVERY_S = 0.5
_SHOWN = 50


class Logbook:
    """Keeps the newest takes as the list shows them.

    Parameters
    ----------
    list_takes, read_take
        Called on an errand's thread, never two at a time.
    """

    def __init__(
        self,
        list_takes: Callable[[], Sequence[TakeRow]],
        read_take: Callable[[int], TakeDetail],
        errands: Errands,
    ) -> None:
        self._list_takes, self._read_take, self._errands = list_takes, read_take, errands
        self._known: dict[int, TakeLine] = {}
        self._revision: int | None = None
        self._reading = False
        self._read_s = 0.0
        self.show: Callable[[Sequence[TakeLine]], None] = lambda _lines: None
        self.tell: Callable[[Exception], None] = lambda _error: None

    def refresh(self, revision: int, now_s: float) -> None:
        """Read the log again when it has changed since the last time."""
        if self._reading or revision == self._revision or now_s - self._read_s < _EVERY_S:
            return
        self._revision, self._read_s, self._reading = revision, now_s, True
        self._errands.run("takes", self._read, self._done, self._failed)

    def _read(self) -> list[TakeLine]:
        known = self._known
        lines = []
        for row in list(self._list_takes())[:_SHOWN]:
            line = known.get(row.number)
            # A row that has not changed has no new events either, unless the take still runs.
            if line is None or line.detail.row != row or row.state is TakeState.OPEN:
                line = TakeLine(self._read_take(row.number))
            lines.append(line)
        return lines

    def _done(self, lines: list[TakeLine]) -> None:
        self._reading = False
        self._known = {line.detail.row.number: line for line in lines}
        self.show(lines)

    def _failed(self, error: Exception) -> None:
        self._reading = False
        self.tell(error)
