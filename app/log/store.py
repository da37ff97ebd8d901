"""The take log: one SQLite database, read by anyone, written by each program's writer thread.

A :class:`Store` belongs to the thread that made it. Several stores, in one program or in several, may have
the same log open: WAL lets readers go on while one of them writes.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

from app.coach.judgement import Verdict
from app.errors import LogError, UsageError
from app.log import owner, schema
from app.log.damage import is_damage, set_aside
from app.log.records import (
    ChannelFigures,
    LevelTrace,
    TakeDetail,
    TakeEvent,
    TakeRow,
    TakeState,
    TakeUpdate,
    iso_started,
)
from app.settings import data_folder
from app.words import log as words

_Result = TypeVar("_Result")

_ROW = (
    "number, name, part, started_us, utc_offset_s, frames, rate_hz, state, verdict, input_name, lost_frames,"
    " clips, peak_dbfs"
)


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
            except sqlite3.DatabaseError as error:
                if not is_damage(error):
                    raise
                self._mend()

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._connection.close()

    # Reading

    def count(self) -> int:
        """How many takes there are."""
        return int(self._read("SELECT count(*) FROM take")[0][0])

    def list_takes(self, limit: int = 100, offset: int = 0) -> list[TakeRow]:
        """Takes from the newest to the oldest."""
        rows = self._read(f"SELECT {_ROW} FROM take ORDER BY number DESC LIMIT ? OFFSET ?", limit, offset)  # noqa: S608 - a constant
        return [_take_row(row) for row in rows]

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
            rows = self._rows(f"SELECT {_ROW} FROM take WHERE number = ?", number)  # noqa: S608 - a constant
            if not rows:
                raise UsageError(words.no_such_take(number))
            channels = self._rows(
                "SELECT peak_dbfs, average_max_dbfs, noise_floor_dbfs, clips FROM channel WHERE take = ?"
                " ORDER BY position",
                number,
            )
            events = self._rows(
                "SELECT kind, frame, channel, frames, peak_dbfs, detail FROM event WHERE take = ?"
                " ORDER BY frame, seq",
                number,
            )
            traces = self._rows("SELECT point_s, points FROM trace WHERE take = ?", number)
        return TakeDetail(
            row=_take_row(rows[0]),
            per_channel=tuple(ChannelFigures(*row) for row in channels),
            events=tuple(TakeEvent(*row) for row in events),
            trace=LevelTrace(*traces[0]) if traces else LevelTrace(),
        )

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
                self._run("UPDATE take SET state = 'interrupted' WHERE state = 'open' AND owner = ?", token)
        return [number for (number,) in orphans]

    def save_take(self, update: TakeUpdate, number: int | None, owner_token: str) -> int:
        """Write a take as it stands now; returns its number. Inside :meth:`writing`.

        ``number`` is what the take had so far: a log that was replaced meanwhile gives it the same one again
        unless that is taken.
        """
        if number is not None and self._rows(
            "SELECT 1 FROM take WHERE number = ? AND uid <> ?", number, update.uid
        ):
            number = None
        peaks = [c.peak_dbfs for c in update.per_channel if c.peak_dbfs is not None]
        self._run(
            "INSERT INTO take (number, uid, owner, name, part, started_us, utc_offset_s, input_spec,"
            " input_name, rate_hz, state, frames, lost_frames, verdict, clips, peak_dbfs)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
            " ON CONFLICT (uid) DO UPDATE SET owner = excluded.owner, state = excluded.state,"
            " frames = excluded.frames, lost_frames = excluded.lost_frames, verdict = excluded.verdict,"
            " clips = excluded.clips, peak_dbfs = excluded.peak_dbfs",
            number,
            update.uid,
            owner_token,
            update.name,
            update.part,
            update.started_us,
            update.utc_offset_s,
            update.input_spec,
            update.input_name,
            update.rate_hz,
            update.state.value,
            update.frames,
            update.lost_frames,
            update.verdict and update.verdict.value,
            sum(c.clips for c in update.per_channel),
            max(peaks, default=None),
        )
        ((number,),) = self._rows("SELECT number FROM take WHERE uid = ?", update.uid)
        self._connection.executemany(
            "INSERT OR REPLACE INTO channel"
            " (take, position, peak_dbfs, average_max_dbfs, noise_floor_dbfs, clips)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            [
                (number, position, c.peak_dbfs, c.average_max_dbfs, c.noise_floor_dbfs, c.clips)
                for position, c in enumerate(update.per_channel)
            ],
        )
        if update.trace is not None:
            self._run(
                "INSERT OR REPLACE INTO trace (take, point_s, points) VALUES (?, ?, ?)",
                number,
                update.trace.point_s,
                update.trace.points,
            )
        return int(number)

    def save_events(self, number: int, first_seq: int, events: Sequence[TakeEvent]) -> None:
        """Write events of a take, counted from ``first_seq``. Inside :meth:`writing`."""
        self._connection.executemany(
            "INSERT OR IGNORE INTO event (take, seq, kind, frame, channel, frames, peak_dbfs, detail)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            [
                (number, seq, str(e.kind), e.frame, e.channel, e.frames, e.peak_dbfs, e.detail)
                for seq, e in enumerate(events, first_seq)
            ],
        )

    # What both need

    def _read(self, sql: str, *values: object) -> list[Any]:
        return self._reading(lambda: self._rows(sql, *values))

    def _reading(self, read: Callable[[], _Result]) -> _Result:
        """Read; a log that turns out to be damaged is set aside, and the fresh one read instead."""
        with self._told():
            try:
                return read()
            except sqlite3.DatabaseError as error:
                if not is_damage(error):
                    raise
                self._connection.close()
                self._mend()
                return read()

    def _mend(self) -> None:
        self.notice = set_aside(self.path, busy_s=self._busy_s)
        self._connection = schema.connect(self.path, busy_s=self._busy_s)

    def _rows(self, sql: str, *values: object) -> list[Any]:
        return self._connection.execute(sql, values).fetchall()

    def _run(self, sql: str, *values: object) -> None:
        self._connection.execute(sql, values)

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
        except (sqlite3.Error, OSError) as error:
            raise LogError(words.log_cannot_be_opened(str(self.path), str(error)), repr(error)) from error


_STATES = {state.value: state for state in TakeState}
_VERDICTS = {verdict.value: verdict for verdict in Verdict} | {None: None}


def _take_row(row: tuple[Any, ...]) -> TakeRow:
    number, name, part, started_us, utc_offset_s, frames, rate_hz, state, verdict, *rest = row
    input_name, lost_frames, clips, peak_dbfs = rest
    return TakeRow(
        number=number,
        name=name,
        part=part,
        started=iso_started(started_us, utc_offset_s),
        duration_s=frames / rate_hz,
        state=_STATES[state],
        verdict=_VERDICTS[verdict],
        input_name=input_name,
        rate_hz=rate_hz,
        lost_frames=lost_frames,
        clips=clips,
        peak_dbfs=peak_dbfs,
    )
