"""What is said about recorded files."""

from __future__ import annotations

from app.words._catalogue import _


def nothing_to_check(path: str) -> str:
    """A folder without sound files."""
    return _("{path}: there are no sound files in this folder.").format(path=path)
