"""Which files to check: those named, and the sound files inside folders."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from app.errors import UsageError
from app.words import check as words

_SUFFIXES = frozenset(
    f".{ending}"
    for ending in (
        *("wav", "wave", "flac", "ogg", "oga", "opus", "mp3", "aif", "aiff", "aifc", "au", "snd", "caf"),
        *("w64", "rf64", "bw64"),
    )
)


def expand(paths: Iterable[Path]) -> list[Path]:
    """Files as they are named; a folder stands for the sound files anywhere in it, sorted.

    Raises
    ------
    app.errors.UsageError
        When a folder holds no sound file.
    """
    files: list[Path] = []
    for path in paths:
        if not path.is_dir():
            files.append(path)
            continue
        inside = sorted(
            file
            for file in path.rglob("*")
            if file.suffix.lower() in _SUFFIXES and not file.name.startswith(".") and file.is_file()
        )
        if not inside:
            raise UsageError(words.nothing_to_check(str(path)))
        files.extend(inside)
    return files
