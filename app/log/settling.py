"""Which files of a watched folder are new, and which of those have stopped growing. No clock, no disk.

A file is told by what a directory says of it, so that a rename, or a network folder that went away and came
back, makes nothing new of what was there before.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

SETTLE_S = 3.0
"""So long a file must stay as it is: a recorder writes every second or so."""

RETRY_AFTER_S = (5.0, 20.0, 60.0)
"""A file that cannot be read may still be copied, or locked by its recorder: how long to wait each time."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """What a directory says of a file."""

    size: int
    modified_ns: int
    device: int = 0
    inode: int = 0
    """0 where the file system has none that could be trusted."""

    def like(self, other: Stamp) -> bool:
        """Whether the content is the same as far as a directory can tell."""
        return (self.size, self.modified_ns) == (other.size, other.modified_ns)


@dataclass(slots=True)
class _Waiting:
    stamp: Stamp
    ready_s: float
    attempts: int = 0


class Settling:
    """Remembers what is known, and waits for what is new.

    Parameters
    ----------
    settle_s
        How long a file must stay as it is before it is ready.
    """

    def __init__(self, settle_s: float = SETTLE_S) -> None:
        self._settle_s = settle_s
        self._known: dict[Path, Stamp] = {}
        self._known_stamps: set[Stamp] = set()
        self._waiting: dict[Path, _Waiting] = {}

    @property
    def known(self) -> int:
        """How many files are known."""
        return len(self._known)

    @property
    def waiting(self) -> tuple[Path, ...]:
        """Files that are new and not done with, the first seen first."""
        return tuple(self._waiting)

    def know(self, path: Path, stamp: Stamp) -> None:
        """Take a file for known as it is: it was there before, or is done with."""
        self._waiting.pop(path, None)
        self._known[path] = stamp
        if stamp.inode:
            self._known_stamps.add(stamp)

    def see(self, path: Path, stamp: Stamp | None, now_s: float) -> None:
        """Hear what a directory says of a file just now; None where it is gone.

        What is gone stays known: it may come back.
        """
        if stamp is None:
            self._waiting.pop(path, None)
        elif self._is_known(path, stamp):
            self.know(path, stamp)
        elif path not in self._waiting or not stamp.like(self._waiting[path].stamp):
            self._waiting[path] = _Waiting(stamp, now_s + self._settle_s)

    def ready(self, now_s: float) -> list[tuple[Path, Stamp]]:
        """New files that have stopped growing, the one that was written first at the head.

        An empty one is not ready, however long it stays empty.
        """
        ready = [
            (path, waiting.stamp)
            for path, waiting in self._waiting.items()
            if waiting.stamp.size and now_s >= waiting.ready_s
        ]
        return sorted(ready, key=lambda each: (each[1].modified_ns, each[0]))

    def failed(self, path: Path, now_s: float) -> bool:
        """Say that a file could not be read; whether it is given up until it changes."""
        waiting = self._waiting.get(path)
        if waiting is None:
            return False
        if waiting.attempts == len(RETRY_AFTER_S):
            self.know(path, waiting.stamp)
            return True
        waiting.ready_s = now_s + RETRY_AFTER_S[waiting.attempts]
        waiting.attempts += 1
        return False

    def put_off(self, path: Path, now_s: float) -> None:
        """Wait a while with a file that nothing is wrong with."""
        if path in self._waiting:
            self._waiting[path].ready_s = now_s + self._settle_s

    def _is_known(self, path: Path, stamp: Stamp) -> bool:
        known = self._known.get(path)
        return (known is not None and known.like(stamp)) or stamp in self._known_stamps
