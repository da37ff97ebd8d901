"""The sound around clips as FLAC files beside the log, for the ear to judge.

Only where somebody asked for it, readable by the user alone, and never more than a set amount: the oldest
goes first, and no event ever goes with it. Everything here runs on the log's writer thread, but
:func:`evidence_of`.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Iterable
from pathlib import Path

from app.engine.events import EventKind
from app.engine.evidence import Stretch
from app.errors import LogError
from app.log.records import TakeDetail, TakeEvent
from app.log.store import Store, log_path
from app.words import log as words

LIMIT_BYTES = 200_000_000
"""About two hours of one channel at 48 kHz: a thousand clips and more."""

_ROOM_LEFT_BYTES = 100_000_000
"""A disk with less than this is for the log alone."""

_MOST_CHANNELS = 8
"""More do not go into one FLAC file."""

_ENDING = ".flac"
_CLIPS = {EventKind.CLIP, EventKind.POSSIBLE_CLIP}


def evidence_folder(log: Path | None = None) -> Path:
    """Where the files of a log are; it need not exist. The user's own log when None."""
    log = log or log_path()
    return log.with_name(f"{log.stem}-clips")


def evidence_of(take: TakeDetail, event: TakeEvent, log: Path | None = None) -> Path | None:
    """The sound around a clip; None where none was kept, or it is gone by now. From any thread."""
    if event.kind not in _CLIPS:
        return None
    for kept in take.evidence:
        if event.channel in (None, *kept.channels) and kept.holds(event.frame):
            path = evidence_folder(log) / kept.file
            return path if path.is_file() else None
    return None


def keep_evidence(
    store: Store, number: int, stretches: Iterable[Stretch], *, limit_bytes: int = LIMIT_BYTES
) -> None:
    """Write files for these stretches of a take, then let go of the oldest that are too many.

    Raises
    ------
    app.errors.LogError
        When a file cannot be written; the log itself is not touched by that.
    """
    folder = evidence_folder(store.path)
    for stretch in stretches:
        try:
            _write(folder, stretch)
        except (OSError, RuntimeError) as error:  # soundfile's errors are RuntimeErrors
            raise LogError(words.evidence_not_kept(str(folder), str(error)), repr(error)) from error
        with store.writing():
            store.change(
                "INSERT OR REPLACE INTO evidence (file, take, start_frame, frames, channels)"
                " VALUES (?, ?, ?, ?, ?)",
                _name(stretch),
                number,
                stretch.start_frame - stretch.take_frame,
                stretch.end_frame - stretch.start_frame,
                ",".join(str(channel + 1) for channel in stretch.channels[:_MOST_CHANNELS]),
            )
    _thin_out(store, folder, limit_bytes)


def sweep_evidence(store: Store) -> None:
    """Remove files that belong to no take any more, and forget files that are gone."""
    folder = evidence_folder(store.path)
    there = {path.name for path in _files(folder)}
    with store.writing():
        known = {file for (file,) in store.rows("SELECT file FROM evidence")}
        store.change_many("DELETE FROM evidence WHERE file = ?", [(file,) for file in known - there])
    for name in there - known:
        with contextlib.suppress(OSError):
            (folder / name).unlink()


def _write(folder: Path, stretch: Stretch) -> None:
    import soundfile  # late: hardly anybody asks for it

    folder.mkdir(mode=0o700, exist_ok=True)
    if shutil.disk_usage(folder).free < _ROOM_LEFT_BYTES:
        raise OSError(words.no_room_for_evidence())
    part = folder / f".{_name(stretch)}.part"
    try:
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as file:
            # Only numbers beyond full scale, which no converter delivers, are cut off here.
            sound = stretch.samples()[:, :_MOST_CHANNELS]
            soundfile.write(file, sound, stretch.rate_hz, format="FLAC", subtype="PCM_24")
        part.replace(folder / _name(stretch))
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise


def _thin_out(store: Store, folder: Path, limit_bytes: int) -> None:
    sizes = []
    for path in _files(folder):
        with contextlib.suppress(OSError):
            status = path.stat()
            sizes.append((status.st_mtime_ns, path, status.st_size))
    total = sum(size for _, _, size in sizes)
    gone = []
    for _, path, size in sorted(sizes):
        if total <= limit_bytes:
            break
        with contextlib.suppress(OSError):
            path.unlink()
            total -= size
            gone.append((path.name,))
    if gone:
        with store.writing():
            store.change_many("DELETE FROM evidence WHERE file = ?", gone)


def _files(folder: Path) -> list[Path]:
    try:
        return [path for path in folder.iterdir() if path.suffix == _ENDING]
    except OSError:
        return []


def _name(stretch: Stretch) -> str:
    return f"{stretch.uid}-{stretch.start_frame - stretch.take_frame}{_ENDING}"
