"""What is said about recorded files."""

from __future__ import annotations

from app.words._catalogue import _


def nothing_to_check(path: str) -> str:
    """A folder without sound files."""
    return _("{path}: there are no sound files in this folder.").format(path=path)


def measuring_broke_off(path: str) -> str:
    """The process that measured a file has died: out of memory, or a fault in a decoder."""
    return _("{path}: measuring it broke off; it may be damaged, or memory ran out.").format(path=path)


def fault_while_measuring(path: str, detail: str) -> str:
    """Something that should never happen, in one file."""
    return _("{path}: a fault in the program: {detail}").format(path=path, detail=detail)
