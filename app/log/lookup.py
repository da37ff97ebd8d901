"""Finds takes in a log that somebody else writes."""

from __future__ import annotations

from pathlib import Path

from app.log.store import Store


def is_logged(path: Path, uid: str) -> bool:
    """Whether a take of this uid is in the log, or was and has been deleted.

    Raises
    ------
    app.errors.LogError
        When the log cannot be read.
    """
    with Store(path) as store:
        return store.find(uid) is not None
