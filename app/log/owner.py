"""Who writes which open take, so that several programs can share one log.

A program that writes takes holds a lock for as long as it lives; the system lets go of it however the
program ends. An open take whose owner's lock can be had is a take that nobody will end.

The lock is SQLite's own lock on a small empty database beside the log, because the standard library has
no file lock that works alike on all three systems.
"""

from __future__ import annotations

import contextlib
import sqlite3
import uuid
from pathlib import Path


class Owner:
    """Holds this program's lock. Make it inside a write transaction on the log: see :func:`sweep`."""

    def __init__(self, log: Path) -> None:
        self.token = uuid.uuid4().hex
        self._path = _lock_path(log, self.token)
        self._path.touch(mode=0o600)
        self._connection = sqlite3.connect(
            self._path, timeout=0, isolation_level=None, check_same_thread=False
        )
        try:
            # Nothing is ever written there, so no journal need lie beside it.
            self._connection.execute("PRAGMA journal_mode = OFF")
            self._connection.execute("BEGIN EXCLUSIVE")
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Let go of the lock and remove its file."""
        self._connection.close()
        with contextlib.suppress(OSError):
            self._path.unlink(missing_ok=True)


def is_alive(log: Path, token: str) -> bool:
    """Whether the program that took this token still runs."""
    path = _lock_path(log, token)
    if not path.exists():
        return False
    try:
        connection = sqlite3.connect(
            f"{path.absolute().as_uri()}?mode=rw", uri=True, timeout=0, isolation_level=None
        )
    except sqlite3.Error:
        return False
    try:
        connection.execute("PRAGMA journal_mode = OFF")
        connection.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError:
        return True
    finally:
        connection.close()
    return False


def sweep(log: Path) -> None:
    """Remove lock files that programs left behind.

    Call it inside a write transaction on the log, as owners are made in one too: a lock file between its
    making and its locking is then never taken for a dead one.
    """
    prefix = f"{log.name}-owner-"
    for path in log.parent.glob(f"{prefix}*"):
        token = path.name.removeprefix(prefix)
        if token.isalnum() and not is_alive(log, token):
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)


def _lock_path(log: Path, token: str) -> Path:
    return log.with_name(f"{log.name}-owner-{token}")
