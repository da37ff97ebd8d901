"""Room kept free for the log, so that a full disk does not cost the take that runs.

A file of zeros lies beside the log. When the disk is full it is deleted, and the log goes on in its place;
once there is room again it is made anew.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from pathlib import Path

RESERVE_BYTES = 1 << 20
"""Enough for some ten thousand events."""

_ROOM_NEEDED = 8 * RESERVE_BYTES
"""A disk with less than this has no room to keep any free."""


FULL_BYTES = 64 << 10
"""With less free than this, a write that failed for no better reason failed for want of room."""


def is_full(folder: Path) -> bool:
    """Whether the disk has next to no room; False when that cannot be told."""
    with contextlib.suppress(OSError):
        return shutil.disk_usage(folder).free < FULL_BYTES
    return False


class Reserve:
    """The reserve of one log; several programs with the same log share it."""

    def __init__(self, log: Path) -> None:
        self._path = log.with_name(f"{log.name}-reserve")
        self.spent = False
        """It was given up, and there has been no room for it since."""

    def keep(self) -> None:
        """Make the reserve if it is not there and there is room. Not to have one is no error."""
        with contextlib.suppress(OSError):
            if not self._path.exists():
                if shutil.disk_usage(self._path.parent).free < _ROOM_NEEDED:
                    return
                self._make()
            self.spent = False

    def give_up(self) -> bool:
        """Free the room; returns whether there was any."""
        try:
            self._path.unlink()
        except OSError:
            return False
        self.spent = True
        return True

    def _make(self) -> None:
        part = self._path.with_name(f"{self._path.name}.{os.getpid()}")
        try:
            with open(part, "wb", opener=_private) as file:
                file.write(bytes(RESERVE_BYTES))
                file.flush()
                # Only then has the disk really set the room aside.
                os.fsync(file.fileno())
            part.replace(self._path)
        except OSError:
            with contextlib.suppress(OSError):
                part.unlink()
            raise


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)
