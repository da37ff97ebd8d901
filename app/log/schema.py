"""The shape of the database, and how an older one becomes the newest.

``PRAGMA user_version`` counts the migrations that a database has seen. A migration, once released, is
never edited: a change is a new entry at the end of :data:`MIGRATIONS`.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from pathlib import Path

from app.errors import LogError
from app.words import log as words

APPLICATION_ID = 0x53774D6B
"""Marks the file as ours, so that another program's database is never taken for a damaged log."""

SESSION_PAUSE_US = 4 * 3600 * 1_000_000
"""Takes further apart than this are of two sessions."""

GROUP_INTO_SESSIONS = (
    # A take begins a session when the one before it ended too long before. abs(): a clock may jump back.
    f"""CREATE TEMP TABLE grouped AS
        SELECT number, is_first, sum(is_first) OVER (ORDER BY number) AS place FROM (
            SELECT number, coalesce(abs(started_us - lag(started_us + frames * 1000000 / rate_hz)
                OVER (ORDER BY number)) > {SESSION_PAUSE_US}, 1) AS is_first
            FROM take WHERE session IS NULL)""",  # noqa: S608 - a constant
    "CREATE TEMP TABLE highest AS SELECT coalesce(max(number), 0) AS number FROM session",
    """INSERT INTO session (number, name, started_us, utc_offset_s)
        SELECT (SELECT number FROM highest) + place, '', started_us, utc_offset_s
        FROM grouped JOIN take USING (number) WHERE is_first""",
    """UPDATE take SET session = (SELECT number FROM highest)
            + (SELECT place FROM grouped WHERE grouped.number = take.number)
        WHERE session IS NULL""",
    "DROP TABLE grouped",
    "DROP TABLE highest",
)
"""Puts takes without a session into new ones."""

MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        # AUTOINCREMENT: the number of a deleted take is not given out again.
        """CREATE TABLE take (
            number INTEGER PRIMARY KEY AUTOINCREMENT,
            uid TEXT NOT NULL UNIQUE,
            owner TEXT NOT NULL,
            name TEXT NOT NULL,
            part TEXT NOT NULL,
            started_us INTEGER NOT NULL,
            utc_offset_s INTEGER NOT NULL,
            input_spec TEXT NOT NULL,
            input_name TEXT NOT NULL,
            rate_hz INTEGER NOT NULL CHECK (rate_hz > 0),
            state TEXT NOT NULL CHECK (state IN ('open', 'closed', 'interrupted')),
            frames INTEGER NOT NULL,
            lost_frames INTEGER NOT NULL,
            verdict TEXT,
            clips INTEGER NOT NULL,
            peak_dbfs REAL
        )""",
        "CREATE INDEX take_open ON take (owner) WHERE state = 'open'",
        """CREATE TABLE channel (
            take INTEGER NOT NULL REFERENCES take ON DELETE CASCADE,
            position INTEGER NOT NULL,
            peak_dbfs REAL,
            average_max_dbfs REAL,
            noise_floor_dbfs REAL,
            clips INTEGER NOT NULL,
            PRIMARY KEY (take, position)
        ) WITHOUT ROWID""",
        # seq is given by the writer, so that an event written twice is still one event.
        """CREATE TABLE event (
            take INTEGER NOT NULL REFERENCES take ON DELETE CASCADE,
            seq INTEGER NOT NULL,
            kind TEXT NOT NULL,
            frame INTEGER NOT NULL,
            channel INTEGER,
            frames INTEGER,
            peak_dbfs REAL,
            detail TEXT NOT NULL,
            PRIMARY KEY (take, seq)
        ) WITHOUT ROWID""",
        """CREATE TABLE trace (
            take INTEGER PRIMARY KEY REFERENCES take ON DELETE CASCADE,
            point_s REAL NOT NULL,
            points BLOB NOT NULL
        )""",
    ),
    (
        """CREATE TABLE session (
            number INTEGER PRIMARY KEY AUTOINCREMENT,
            name TEXT NOT NULL,
            started_us INTEGER NOT NULL,
            utc_offset_s INTEGER NOT NULL
        )""",
        "ALTER TABLE take ADD COLUMN session INTEGER REFERENCES session",
        "ALTER TABLE take ADD COLUMN notes TEXT NOT NULL DEFAULT ''",
        "ALTER TABLE take ADD COLUMN kept INTEGER NOT NULL DEFAULT 0 CHECK (kept IN (0, 1))",
        # When it was deleted; it can be brought back for a while.
        "ALTER TABLE take ADD COLUMN deleted_us INTEGER",
        "CREATE INDEX take_session ON take (session, number)",
        "CREATE INDEX take_deleted ON take (deleted_us) WHERE deleted_us IS NOT NULL",
        *GROUP_INTO_SESSIONS,
    ),
    (
        # All three or none: see app.log.bars.Metre.
        "ALTER TABLE take ADD COLUMN tempo_bpm REAL",
        "ALTER TABLE take ADD COLUMN beats_per_bar INTEGER",
        "ALTER TABLE take ADD COLUMN count_in_s REAL",
    ),
    (
        "ALTER TABLE event ADD COLUMN count INTEGER NOT NULL DEFAULT 1",
        "ALTER TABLE event ADD COLUMN over_db REAL",
        "ALTER TABLE event ADD COLUMN change_db REAL",
        # Sound files beside the log, kept only where somebody asked for it.
        """CREATE TABLE evidence (
            file TEXT PRIMARY KEY,
            take INTEGER NOT NULL REFERENCES take ON DELETE CASCADE,
            start_frame INTEGER NOT NULL,
            frames INTEGER NOT NULL,
            channels TEXT NOT NULL
        ) WITHOUT ROWID""",
        "CREATE INDEX evidence_take ON evidence (take)",
        # Which takes there are, without reading them.
        "CREATE INDEX take_there ON take (number) WHERE deleted_us IS NULL",
    ),
)


def connect(path: Path, *, busy_s: float) -> sqlite3.Connection:
    """Open or make the database and bring it to the newest shape.

    Raises
    ------
    sqlite3.Error
        As SQLite reports it; the caller knows what it means.
    LogError
        When the file belongs to a newer Swellmark, or to another program.
    """
    # SQLite gives its side files the same rights as the database. O_EXCL is not for tidiness: to open and
    # close a database that this process has open already would drop every POSIX lock that SQLite holds on it.
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
    connection = sqlite3.connect(path, timeout=busy_s, isolation_level=None)
    try:
        # SQLite folds the case of ASCII only.
        connection.create_function("folded", 1, str.casefold, deterministic=True)
        connection.execute("PRAGMA foreign_keys = ON")
        _migrate(connection, path)
        connection.execute("PRAGMA journal_mode = WAL")
        # Every commit is on the disk before it is called written: a take outlives a power cut too.
        connection.execute("PRAGMA synchronous = FULL")
    except BaseException:
        connection.close()
        raise
    return connection


def _migrate(connection: sqlite3.Connection, path: Path) -> None:
    if _version(connection, path) == len(MIGRATIONS):
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Read again: another program may have migrated while we waited for the lock.
        for statements in MIGRATIONS[_version(connection, path) :]:
            for statement in statements:
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _version(connection: sqlite3.Connection, path: Path) -> int:
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    if application != APPLICATION_ID and (tables or version):
        raise LogError(words.not_a_log(str(path)))
    if version > len(MIGRATIONS):
        raise LogError(words.log_is_newer(str(path)))
    return int(version)
