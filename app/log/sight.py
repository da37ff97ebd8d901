"""What lies in a watched folder, and a bell that rings when something changes in it."""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from watchdog.events import FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer

from app.check.folder import is_sound_name
from app.log.settling import Stamp

_CHANGES = frozenset({"created", "modified", "moved", "closed", "deleted"})
"""Not "opened" and the like: our own reading would ring the bell."""
_STOP_WITHIN_S = 2.0

_log = logging.getLogger(__name__)


def stamp_of(path: Path) -> Stamp | None:
    """What the directory says of a file; None where there is none."""
    try:
        status = path.stat()
    except (OSError, ValueError):
        return None
    return _stamp(status)


def sounds_in(folder: Path) -> Iterator[tuple[Path, Stamp]]:
    """The sound files anywhere in a folder. What cannot be listed further down is passed over.

    Whatever begins with a dot is left out, and links to folders are not followed.

    Raises
    ------
    OSError
        When the folder itself cannot be listed.
    """
    with os.scandir(folder) as entries:
        here = list(entries)
    for entry in here:
        if entry.name.startswith("."):
            continue
        with suppress(OSError):
            if entry.is_dir(follow_symlinks=False):
                yield from sounds_in(Path(entry.path))
            elif is_sound_name(entry.name) and entry.is_file():
                # Not entry.stat(): on Windows it lacks the inode, and lags behind a file that is open.
                yield Path(entry.path), _stamp(os.stat(entry.path))


def _stamp(status: os.stat_result) -> Stamp:
    return Stamp(status.st_size, status.st_mtime_ns, status.st_dev, status.st_ino)


def identity(folder: Path) -> tuple[int, int] | None:
    """Which folder lies there; None where there is none that can be listed."""
    try:
        status = folder.stat()
        os.scandir(folder).close()
    except (OSError, ValueError):
        return None
    return status.st_dev, status.st_ino


class Bell(FileSystemEventHandler):
    """Collects the paths that the system says have changed. Native watching only: see :meth:`hang`.

    Threads: watchdog's own threads ring; one other thread waits and takes the paths.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._paths: set[Path] = set()
        self._rung = threading.Event()
        self._observer: object | None = None

    def hang(self, folder: Path) -> bool:
        """Have the system watch a folder; False where it cannot, and polling is called for."""
        self.take_down()
        observer = Observer()
        try:
            observer.schedule(self, str(folder), recursive=True)
            observer.start()
        except Exception as error:  # each platform has exceptions of its own, down to ctypes'
            _log.info("%s cannot be watched natively: %r", folder, error)
            with suppress(Exception):
                observer.unschedule_all()
            return False
        self._observer = observer
        return True

    def take_down(self) -> None:
        """Have the system watch no more."""
        observer, self._observer = self._observer, None
        if observer is not None:
            with suppress(Exception):  # the folder may be gone, and its watch with it
                observer.stop()  # type: ignore[attr-defined]
            observer.join(_STOP_WITHIN_S)  # type: ignore[attr-defined]

    @property
    def hangs(self) -> bool:
        """Whether the system still watches."""
        return self._observer is not None and bool(self._observer.is_alive())  # type: ignore[attr-defined]

    def on_any_event(self, event: FileSystemEvent) -> None:
        """Note the paths of a change. On a thread of watchdog's."""
        if event.event_type not in _CHANGES:
            return
        # A folder counts as modified whenever a file comes or goes, which is told by itself.
        if event.is_directory and event.event_type == "modified":
            return
        with self._lock:
            for path in (event.src_path, event.dest_path):
                if path:
                    self._paths.add(Path(os.fsdecode(path)))
        self._rung.set()

    def ring(self) -> None:
        """Wake who waits."""
        self._rung.set()

    def wait(self, timeout_s: float) -> set[Path]:
        """Wait for a change, or so long; returns the paths that changed."""
        self._rung.wait(timeout_s)
        self._rung.clear()
        with self._lock:
            paths, self._paths = self._paths, set()
        return paths
