"""Which files to check: the one that is named, or the sound files inside a folder."""

from __future__ import annotations

import os
from pathlib import Path

from app.errors import SoundFileError
from app.words import check as words

_SUFFIXES = frozenset(
    f".{ending}"
    for ending in (
        *("wav", "wave", "flac", "ogg", "oga", "opus", "mp3", "aif", "aiff", "aifc", "au", "snd", "caf"),
        *("w64", "rf64", "bw64"),
    )
)


def is_sound_name(name: str) -> bool:
    """Whether a file of this name is taken for sound: by its ending, and no dot before it."""
    return not name.startswith(".") and Path(name).suffix.lower() in _SUFFIXES


def sound_files(path: Path) -> list[Path]:
    """A file as it is named; for a folder, the sound files anywhere in it, sorted.

    Whatever begins with a dot is left out: trash, and what a Mac leaves beside each file on a foreign disk.

    Raises
    ------
    app.errors.SoundFileError
        When a folder holds no sound file.
    """
    try:
        if not path.is_dir():
            return [path]
    except (OSError, ValueError):  # no such path: reading the file says so better
        return [path]
    inside = []
    for folder, folders, files in os.walk(path):
        folders[:] = [name for name in folders if not name.startswith(".")]
        inside += [Path(folder, name) for name in files if is_sound_name(name)]
    if not inside:
        raise SoundFileError(words.nothing_to_check(str(path)))
    return sorted(inside)
