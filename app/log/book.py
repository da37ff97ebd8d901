"""The take log as a window uses it: one object for reading it and for changing it.

Changes go to the one writer thread and return at once; ``revision`` tells when to read again, and ``notice``
says what could not be done. Reading opens the log for the moment and takes milliseconds: do it on a thread
beside the window's, such as an errand's.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from app.errors import LogError
from app.log import edit
from app.log.bars import Metre
from app.log.edit import Edit, Moved
from app.log.evidence import evidence_of
from app.log.records import SessionRow, TakeDetail, TakeEvent, TakeRow
from app.log.store import Store
from app.log.writer import LogWriter


class TakeBook:
    """Reads and changes one log.

    Parameters
    ----------
    writer
        The thread that writes it.
    """

    def __init__(self, writer: LogWriter) -> None:
        self._writer = writer

    @property
    def revision(self) -> int:
        """Changes whenever what is shown of the log should be read again."""
        return self._writer.revision

    @property
    def problem(self) -> LogError | None:
        """Why writing does not work at the moment; None while it does."""
        return self._writer.problem

    @property
    def notice(self) -> str:
        """What a user should know once, such as a change that could not be made; or nothing."""
        return self._writer.notice

    # Reading, on a thread that may wait. Every call may raise LogError.

    def takes(
        self,
        limit: int = 100,
        offset: int = 0,
        *,
        search: str = "",
        session: int | None = None,
        kept_only: bool = False,
    ) -> list[TakeRow]:
        """One page of takes, the newest first; see :meth:`app.log.store.Store.list_takes`."""
        with self._open() as store:
            return store.list_takes(limit, offset, search=search, session=session, kept_only=kept_only)

    def count(self, *, search: str = "", session: int | None = None, kept_only: bool = False) -> int:
        """How many takes :meth:`takes` would give without a limit."""
        with self._open() as store:
            return store.count(search=search, session=session, kept_only=kept_only)

    def numbers(self, *, search: str = "", session: int | None = None, kept_only: bool = False) -> list[int]:
        """The numbers of all takes that :meth:`takes` would give: little, however long the list."""
        with self._open() as store:
            return store.take_numbers(search=search, session=session, kept_only=kept_only)

    def takes_of(self, numbers: Sequence[int]) -> list[TakeRow]:
        """These takes, as they come into sight; those that are gone are left out."""
        with self._open() as store:
            return store.takes_of(numbers)

    def take(self, number: int) -> TakeDetail:
        """Everything about one take.

        Raises
        ------
        app.errors.UsageError
            When there is no take with this number, or it was deleted.
        """
        with self._open() as store:
            return store.take(number)

    def sessions(self) -> list[SessionRow]:
        """Sessions that have takes, the newest first."""
        with self._open() as store:
            return store.sessions()

    def deleted(self) -> list[TakeRow]:
        """Takes that can still be brought back, the newest first."""
        with self._open() as store:
            return store.deleted_takes()

    def evidence_of(self, take: TakeDetail, event: TakeEvent) -> Path | None:
        """The sound around a clip of a take, where it was kept. From any thread."""
        return evidence_of(take, event, self._writer.path)

    # Changing, from any thread. No call blocks or raises.

    def rename(self, number: int, name: str) -> None:
        """Give a take another name."""
        self._change(edit.rename(number, name))

    def set_part(self, number: int, part: str) -> None:
        """Say what was played."""
        self._change(edit.set_part(number, part))

    def set_notes(self, number: int, notes: str) -> None:
        """Write something about a take."""
        self._change(edit.set_notes(number, notes))

    def mark(self, number: int, kept: bool) -> None:
        """Mark a take as one to keep, or take the mark away."""
        self._change(edit.mark(number, kept))

    def set_metre(self, number: int, metre: Metre | None) -> None:
        """Say how to count in a take, or that nobody knows."""
        self._change(edit.set_metre(number, metre))

    def move(self, numbers: Sequence[int], session: int | None) -> Moved:
        """Put takes into another session, or with None into a new one; :meth:`move_back` undoes it."""
        moved: Moved = {}
        self._change(edit.move(tuple(numbers), session, moved))
        return moved

    def move_back(self, moved: Moved) -> None:
        """Put takes back into the sessions that they were in."""
        self._change(edit.move_back(moved))

    def delete(self, numbers: Sequence[int]) -> None:
        """Put takes away; :meth:`restore` undoes it. A take that runs stays."""
        self._change(edit.delete(tuple(numbers)))

    def restore(self, numbers: Sequence[int]) -> None:
        """Bring deleted takes back."""
        self._change(edit.restore(tuple(numbers)))

    def begin_session(self, name: str = "", now: datetime | None = None) -> None:
        """Begin a session: the takes that follow belong to it."""
        self._change(edit.begin_session(name, now))

    def rename_session(self, session: int, name: str) -> None:
        """Give a session a name."""
        self._change(edit.rename_session(session, name))

    def _change(self, change: Edit) -> None:
        self._writer.edit(change)

    def _open(self) -> Store:
        return Store(self._writer.path)
