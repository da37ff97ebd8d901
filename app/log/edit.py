"""What a person changes in the log afterwards: names, notes, marks, sessions, deletion and its undoing.

Each function is a job for :meth:`app.log.writer.LogWriter.edit`, or is called inside
:meth:`app.log.store.Store.writing` by whoever has a store of their own.

A window calls none of these, but the methods of :class:`app.log.book.TakeBook`, which reads too::

    book = TakeBook(writer)  # the LogWriter of the program; never a second one for the same log
    book.rename(12, "Second verse")  # from the window's thread: returns at once
    book.delete([12, 13])  # book.restore([12, 13]) undoes it for KEEP_DELETED_DAYS
    if book.revision != seen:  # polled; changes once something was written
        rows = book.takes(200, offset, search="bass")  # on a worker thread: takes milliseconds
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from typing import TypeAlias

from app.errors import UsageError
from app.log.bars import Metre
from app.log.records import storable
from app.log.saving import add_session
from app.log.store import Store
from app.words import log as words

Edit: TypeAlias = Callable[[Store], None]

KEEP_DELETED_DAYS = 30
"""How long a deleted take can be brought back."""


def rename(number: int, name: str) -> Edit:
    """Give a take another name."""
    return lambda store: _change(store, number, "name = ?", storable(name))


def set_part(number: int, part: str) -> Edit:
    """Say what was played."""
    return lambda store: _change(store, number, "part = ?", storable(part))


def set_notes(number: int, notes: str) -> Edit:
    """Write something about a take."""
    return lambda store: _change(store, number, "notes = ?", storable(notes))


def mark(number: int, kept: bool) -> Edit:
    """Mark a take as one to keep, or take the mark away."""
    return lambda store: _change(store, number, "kept = ?", kept)


def set_metre(number: int, metre: Metre | None) -> Edit:
    """Say how to count in a take, or that nobody knows."""

    def run(store: Store) -> None:
        for column in ("tempo_bpm", "beats_per_bar", "count_in_s"):
            _change(store, number, f"{column} = ?", metre and getattr(metre, column))

    return run


Moved: TypeAlias = dict[int, int | None]
"""The session that each take was in before; filled once the move was made."""


def move(numbers: Sequence[int], session: int | None, moved: Moved | None = None) -> Edit:
    """Put takes into another session, or with None into a new one. Those that are gone are left out.

    Parameters
    ----------
    moved
        Filled with where they were, for :func:`move_back`.
    """
    before = {} if moved is None else moved

    def run(store: Store) -> None:
        rows = [
            row
            for number in numbers
            for row in store.rows(
                "SELECT number, session, started_us, utc_offset_s FROM take"
                " WHERE number = ? AND deleted_us IS NULL",
                number,
            )
        ]
        if not rows:
            return
        earliest = min(rows, key=lambda row: row[2])
        to = add_session(store, "", earliest[2], earliest[3]) if session is None else session
        for number, was, *_ in rows:
            store.change("UPDATE take SET session = ? WHERE number = ?", to, number)
            before[number] = was

    return run


def move_back(moved: Moved) -> Edit:
    """Undo a move that was asked for before."""

    def run(store: Store) -> None:
        for number, session in moved.items():
            store.change("UPDATE take SET session = ? WHERE number = ?", session, number)

    return run


def delete(numbers: Sequence[int], now: datetime | None = None) -> Edit:
    """Put takes away; :func:`restore` undoes it. A take that runs stays."""
    deleted_us = _microseconds(now or datetime.now(UTC))

    def run(store: Store) -> None:
        for number in numbers:
            store.change(
                "UPDATE take SET deleted_us = ? WHERE number = ? AND state <> 'open'", deleted_us, number
            )

    return run


def restore(numbers: Sequence[int]) -> Edit:
    """Bring deleted takes back."""

    def run(store: Store) -> None:
        for number in numbers:
            store.change("UPDATE take SET deleted_us = NULL WHERE number = ?", number)

    return run


def purge(now: datetime | None = None) -> Edit:
    """Remove for good what was deleted long ago. Only what was: a clock that is wrong can wait."""
    limit_us = _microseconds((now or datetime.now(UTC)) - timedelta(days=KEEP_DELETED_DAYS))

    def run(store: Store) -> None:
        store.change("DELETE FROM take WHERE deleted_us < ?", limit_us)

    return run


def begin_session(name: str = "", now: datetime | None = None) -> Edit:
    """Begin a session: the takes that follow belong to it."""
    moment = now or datetime.now().astimezone()
    offset = moment.utcoffset() or timedelta()

    def run(store: Store) -> None:
        add_session(store, storable(name), _microseconds(moment), int(offset.total_seconds()))

    return run


def rename_session(session: int, name: str) -> Edit:
    """Give a session a name."""

    def run(store: Store) -> None:
        store.change("UPDATE session SET name = ? WHERE number = ?", storable(name), session)

    return run


def _change(store: Store, number: int, what: str, value: object) -> None:
    sql = f"UPDATE take SET {what} WHERE number = ? AND deleted_us IS NULL"  # noqa: S608 - constants from above
    if not store.change(sql, value, number).rowcount:
        raise UsageError(words.no_such_take(number))


def _microseconds(moment: datetime) -> int:
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
