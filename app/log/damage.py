"""A log that can no longer be read: set aside, never deleted, and what can be read of it saved."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from app.log import schema
from app.words import log as words

_KEYS = {
    "session": "number",
    "take": "number",
    "channel": "take, position",
    "event": "take, seq",
    "trace": "take",
    "evidence": "file",
}
"""Each table with its primary key, parents first."""


SAID_BY_SQLITE = (sqlite3.Error, UnicodeDecodeError)
"""What a broken file can raise: Python stumbles over a message in which SQLite quotes what is no UTF-8."""


def is_damage(error: BaseException | None) -> bool:
    """Whether SQLite says that the file itself is broken."""
    if isinstance(error, UnicodeDecodeError):
        return True
    code = getattr(error, "sqlite_errorcode", None)
    # The lowest byte is the kind, the rest its finer cause.
    return code is not None and code & 0xFF in {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}


def set_aside(path: Path, *, busy_s: float) -> str:
    """Rename a damaged log, begin a fresh one with what can be read, and return the sentence about it.

    When another program did so in the meantime there is nothing to do, and the sentence is empty.
    """
    with _alone(path, busy_s):
        if not _is_damaged(path):
            return ""
        aside = _rename(path)
        fresh = schema.connect(path, busy_s=busy_s)
        try:
            recovered = _recover(aside, fresh)
        finally:
            fresh.close()
        return words.log_set_aside(str(path), str(aside), recovered)


@contextlib.contextmanager
def _alone(path: Path, busy_s: float) -> Iterator[None]:
    """Keep two programs from setting aside each other's fresh log."""
    lock = sqlite3.connect(
        path.with_name(path.name + "-repair"), timeout=max(busy_s, 10.0), isolation_level=None
    )
    try:
        lock.execute("BEGIN EXCLUSIVE")
        yield
    finally:
        lock.close()


def _is_damaged(path: Path) -> bool:
    if not path.exists():
        return False
    connection = sqlite3.connect(path)
    try:
        (verdict,) = connection.execute("PRAGMA quick_check(1)").fetchone()
    except SAID_BY_SQLITE as error:
        return is_damage(error)
    finally:
        connection.close()
    return bool(verdict != "ok")


def _rename(path: Path) -> Path:
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%fZ")
    aside = path.with_name(f"{path.stem}-damaged-{stamp}{path.suffix}")
    path.rename(aside)
    for end in ("-wal", "-shm"):
        side = path.with_name(path.name + end)
        if side.exists():
            side.rename(aside.with_name(aside.name + end))
    return aside


def _recover(aside: Path, fresh: sqlite3.Connection) -> int:
    """Copy what can be read; returns how many takes that was.

    Row by row from the front and from the back, because one broken page ends a scan in that direction only.
    """
    damaged = sqlite3.connect(aside)
    damaged.text_factory = lambda raw: raw.decode("utf-8", "replace")
    fresh.execute("PRAGMA foreign_keys = OFF")
    fresh.execute("BEGIN IMMEDIATE")
    try:
        for table, key in _KEYS.items():
            keys = key.split(", ")
            for order in (key, ", ".join(f"{column} DESC" for column in keys)):
                _copy(damaged, fresh, table, order)
        # What belonged to a take that is gone has nowhere to be; a take whose session is gone gets another.
        for table in ("channel", "event", "trace", "evidence"):
            fresh.execute(f"DELETE FROM {table} WHERE take NOT IN (SELECT number FROM take)")  # noqa: S608 - constants
        fresh.execute("UPDATE take SET session = NULL WHERE session NOT IN (SELECT number FROM session)")
        for statement in schema.GROUP_INTO_SESSIONS:
            fresh.execute(statement)
        (count,) = fresh.execute("SELECT count(*) FROM take").fetchone()
        fresh.execute("COMMIT")
    finally:
        if fresh.in_transaction:
            fresh.execute("ROLLBACK")
        damaged.close()
    return int(count)


def _copy(damaged: sqlite3.Connection, fresh: sqlite3.Connection, table: str, order: str) -> None:
    """Copy the rows of a table in this order, as far as they can be read."""
    with contextlib.suppress(*SAID_BY_SQLITE):
        # An older log lacks some columns.
        had = {row[1] for row in damaged.execute(f"PRAGMA table_info({table})")}
        names = [row[1] for row in fresh.execute(f"PRAGMA table_info({table})") if row[1] in had]
        columns, marks = ", ".join(names), ", ".join("?" * len(names))
        for row in damaged.execute(f"SELECT {columns} FROM {table} ORDER BY {order}"):  # noqa: S608 - constants
            # A row that breaks a rule of the fresh table is damaged too.
            with contextlib.suppress(sqlite3.IntegrityError):
                fresh.execute(f"INSERT OR IGNORE INTO {table} ({columns}) VALUES ({marks})", row)  # noqa: S608
