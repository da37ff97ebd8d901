"""The take log: one SQLite database, read by anyone, written by each program's writer thread.

A :class:`Store` belongs to the thread that made it. Several stores, in one program or in several, may have
the same log open: WAL lets readers go on while one of them writes.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

from app.errors import LogError, UsageError
from app.log import owner, schema
from app.log.damage import SAID_BY_SQLITE, is_damage, set_aside
from app.log.records import LevelTrace, SessionRow, TakeDetail, TakeRow
from app.log.rows import channel_figures, evidence_rows, level_trace, session_row, take_event, take_row
from app.settings import data_folder
from app.words import log as words

_Result = TypeVar("_Result")

_ROW = (
    "number, name, part, started_us, utc_offset_s, frames, rate_hz, state, verdict, input_name, lost_frames,"
    " clips, peak_dbfs, session, notes, kept, tempo_bpm, beats_per_bar, count_in_s"
)
_THERE = "deleted_us IS NULL"
_MOST_AT_ONCE = 500
"""Some SQLites take no more than 999 values in one statement."""


def log_path() -> Path:
    """Where the take log is, unless somebody says otherwise."""
    return data_folder() / "takes.sqlite"


class Store:
    """An open take log.

    Parameters
    ----------
    path
        The database; made when it is missing, readable by the user alone.
    busy_s
        How long to wait for another program that writes at this moment.

    Raises
    ------
    app.errors.LogError
        When it cannot be opened. A damaged one is no error: it is set aside, what can be read of it goes
        into a fresh one, and ``notice`` says so.
    """

    def __init__(self, path: Path | None = None, *, busy_s: float = 2.0) -> None:
        self.path = path or log_path()
        self.notice = ""
        """A sentence for the user about what happened when the log was opened, or nothing."""
        self._busy_s = busy_s
        with self._told():
            try:
                self._connection = schema.connect(self.path, busy_s=busy_s)
            except SAID_BY_SQLITE as error:
                if not is_damage(error):
                    raise
                self._mend()
            self._file = self._identity()

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._connection.close()

    def was_replaced(self) -> bool:
        """Whether another file lies there now than was opened: the log was moved, deleted or set aside."""
        return self._identity() != self._file

    def _identity(self) -> tuple[int, int] | None:
        try:
            status = self.path.stat()
        except FileNotFoundError:
            return None
        return status.st_dev, status.st_ino

    # Reading

    def count(self, *, search: str = "", session: int | None = None, kept_only: bool = False) -> int:
        """How many takes there are; the parameters are those of :meth:`list_takes`."""
        where, values = _conditions(search, session, kept_only=kept_only)
        return int(self._read(f"SELECT count(*) FROM take WHERE {where}", *values)[0][0])  # noqa: S608 - constants

    def list_takes(
        self,
        limit: int = 100,
        offset: int = 0,
        *,
        search: str = "",
        session: int | None = None,
        kept_only: bool = False,
    ) -> list[TakeRow]:
        """Takes from the newest to the oldest; a negative limit is none.

        Parameters
        ----------
        search
            Words that must all occur in name, part, notes, input or the session's name, whatever their case.
        session
            Only takes of this one.
        kept_only
            Only takes that were marked.
        """
        where, values = _conditions(search, session, kept_only=kept_only)
        rows = self._read(
            f"SELECT {_ROW} FROM take WHERE {where} ORDER BY number DESC LIMIT ? OFFSET ?",  # noqa: S608 - constants
            *values,
            limit,
            offset,
        )
        return [take_row(row) for row in rows]

    def take_numbers(
        self, *, search: str = "", session: int | None = None, kept_only: bool = False
    ) -> list[int]:
        """The numbers of the takes that :meth:`list_takes` would give, in that order.

        Ten thousand of them cost no more than a page of takes: read :meth:`takes_of` as they come into sight.
        """
        where, values = _conditions(search, session, kept_only=kept_only)
        rows = self._read(f"SELECT number FROM take WHERE {where} ORDER BY number DESC", *values)  # noqa: S608 - constants
        return [number for (number,) in rows]

    def takes_of(self, numbers: Sequence[int]) -> list[TakeRow]:
        """The takes with these numbers, in this order; those that are gone are left out."""
        found: dict[int, TakeRow] = {}
        for first in range(0, len(numbers), _MOST_AT_ONCE):
            some = numbers[first : first + _MOST_AT_ONCE]
            marks = ", ".join("?" * len(some))
            rows = self._read(f"SELECT {_ROW} FROM take WHERE {_THERE} AND number IN ({marks})", *some)  # noqa: S608 - constants
            found |= {row[0]: take_row(row) for row in rows}
        return [found[number] for number in numbers if number in found]

    def deleted_takes(self) -> list[TakeRow]:
        """Takes that were deleted and can still be brought back, from the newest to the oldest."""
        rows = self._read(f"SELECT {_ROW} FROM take WHERE NOT {_THERE} ORDER BY number DESC")  # noqa: S608 - constants
        return [take_row(row) for row in rows]

    def sessions(self) -> list[SessionRow]:
        """Sessions that have takes, from the newest to the oldest."""
        rows = self._read(
            "SELECT session.number, session.name, session.started_us, session.utc_offset_s, count(*),"
            " sum(kept) FROM session JOIN take ON take.session = session.number WHERE deleted_us IS NULL"
            " GROUP BY session.number ORDER BY session.number DESC"
        )
        return [session_row(row) for row in rows]

    def take(self, number: int) -> TakeDetail:
        """Everything about one take.

        Raises
        ------
        app.errors.UsageError
            When there is no take with this number.
        """
        return self._reading(lambda: self._take(number))

    def _take(self, number: int) -> TakeDetail:
        # One transaction, so that figures and events belong together while another program writes.
        with self._transaction("BEGIN"):
            rows = self._rows(f"SELECT {_ROW} FROM take WHERE number = ? AND {_THERE}", number)  # noqa: S608 - a constant
            if not rows:
                raise UsageError(words.no_such_take(number))
            channels = self._rows(
                "SELECT peak_dbfs, average_max_dbfs, noise_floor_dbfs, clips FROM channel WHERE take = ?"
                " ORDER BY position",
                number,
            )
            events = self._rows(
                "SELECT kind, frame, channel, frames, peak_dbfs, detail, count, over_db, change_db"
                " FROM event WHERE take = ? ORDER BY frame, seq",
                number,
            )
            evidence = self._rows(
                "SELECT file, start_frame, frames, channels FROM evidence WHERE take = ?"
                " ORDER BY start_frame",
                number,
            )
            traces = self._rows("SELECT point_s, points FROM trace WHERE take = ?", number)
        return TakeDetail(
            row=take_row(rows[0]),
            per_channel=tuple(map(channel_figures, channels)),
            events=tuple(map(take_event, events)),
            trace=level_trace(traces[0]) if traces else LevelTrace(),
            evidence=evidence_rows(evidence),
        )

    def find(self, uid: str) -> int | None:
        """The number of the take with this uid, also where it was deleted; None where there never was one."""
        rows = self._read("SELECT number FROM take WHERE uid = ?", uid)
        return int(rows[0][0]) if rows else None

    def look_for_damage(self) -> None:
        """Read everything once, which takes a while, so that damage is found before it is met."""
        verdict = self._read("PRAGMA quick_check(1)")
        if verdict != [("ok",)]:
            with self._told():
                self._connection.close()
                self._mend()

    # Writing: for the writer thread

    @contextlib.contextmanager
    def writing(self) -> Iterator[None]:
        """Make everything inside one transaction: all of it is written, or nothing.

        Raises
        ------
        app.errors.LogError
            When it cannot be written; nothing was.
        """
        with self._told(), self._transaction("BEGIN IMMEDIATE"):
            yield

    def become_owner(self) -> owner.Owner:
        """Take the lock that tells other programs that this one still writes its open takes."""
        with self.writing():
            owner.sweep(self.path)
            return owner.Owner(self.path)

    def interrupt_orphans(self) -> list[int]:
        """Mark the open takes whose program is gone, and return their numbers."""
        with self.writing():
            owners = [
                token for (token,) in self._rows("SELECT DISTINCT owner FROM take WHERE state = 'open'")
            ]
            orphans = []
            for token in owners:
                if owner.is_alive(self.path, token):
                    continue
                orphans += self._rows("SELECT number FROM take WHERE state = 'open' AND owner = ?", token)
                self.change("UPDATE take SET state = 'interrupted' WHERE state = 'open' AND owner = ?", token)
        return [number for (number,) in orphans]

    def rows(self, sql: str, *values: object) -> list[Any]:
        """Read within a transaction, for :mod:`app.log.saving`."""
        return self._rows(sql, *values)

    def change(self, sql: str, *values: object) -> sqlite3.Cursor:
        """Run one statement, for :mod:`app.log.saving` and :mod:`app.log.edit`. Inside :meth:`writing`."""
        return self._connection.execute(sql, values)

    def change_many(self, sql: str, rows: Iterable[Sequence[object]]) -> None:
        """Run one statement for many rows. Inside :meth:`writing`."""
        self._connection.executemany(sql, rows)

    # What both need

    def _read(self, sql: str, *values: object) -> list[Any]:
        return self._reading(lambda: self._rows(sql, *values))

    def _reading(self, read: Callable[[], _Result]) -> _Result:
        """Read; a log that turns out to be damaged is set aside, and the fresh one read instead."""
        with self._told():
            if self.was_replaced():
                self._connection.close()
                self._connection = schema.connect(self.path, busy_s=self._busy_s)
                self._file = self._identity()
            try:
                return read()
            except SAID_BY_SQLITE as error:
                if not is_damage(error):
                    raise
                self._connection.close()
                self._mend()
                return read()

    def _mend(self) -> None:
        self.notice = set_aside(self.path, busy_s=self._busy_s)
        self._connection = schema.connect(self.path, busy_s=self._busy_s)
        self._file = self._identity()

    def _rows(self, sql: str, *values: object) -> list[Any]:
        return self._connection.execute(sql, values).fetchall()

    @contextlib.contextmanager
    def _transaction(self, begin: str) -> Iterator[None]:
        self._connection.execute(begin)
        try:
            yield
            self._connection.execute("COMMIT")
        except BaseException:
            # A full disk may have ended the transaction already.
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            raise

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        """Turn what SQLite and the system report into a sentence; the cause stays chained."""
        try:
            yield
        except (*SAID_BY_SQLITE, OSError) as error:
            raise LogError(words.log_cannot_be_opened(str(self.path), str(error)), repr(error)) from error


def _conditions(search: str, session: int | None, *, kept_only: bool) -> tuple[str, list[object]]:
    """What a list is narrowed to, as SQL with its values."""
    conditions = [_THERE]
    values: list[object] = []
    for word in search.split():
        conditions.append(
            "instr(folded(name || char(10) || part || char(10) || notes || char(10) || input_name"
            " || char(10) || coalesce((SELECT s.name FROM session s WHERE s.number = take.session),"
            " '')), ?)"
        )
        values.append(word.casefold())
    if session is not None:
        conditions.append("session = ?")
        values.append(session)
    if kept_only:
        conditions.append("kept")
    return " AND ".join(conditions), values
