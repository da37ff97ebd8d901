"""A file that has no name until it is complete, so that a process that is killed leaves nothing behind.

Linux can make a file without a name (open(2), ``O_TMPFILE``) and give it one later (linkat(2)): it vanishes
with the process. Elsewhere, and on file systems that cannot, the draft has a hidden name, and what a kill
left of such drafts is cleared away by the next one in the same folder.
"""

from __future__ import annotations

import os
import shutil
import time
import uuid
from contextlib import suppress
from pathlib import Path
from typing import IO

_PREFIX, _SUFFIX = ".swellmark-", ".part"
_ABANDONED_S = 3600.0
"""A draft that is being written changes all the time; one that waits for its fellows, for minutes at most."""


class Draft:
    """One file to be, in the folder where it will have its name.

    Parameters
    ----------
    home
        An existing folder.

    Raises
    ------
    OSError
        When nothing can be written there.
    """

    def __init__(self, home: Path) -> None:
        self.home = home
        _clear_abandoned(home)
        self._hidden: Path | None = None
        self._descriptor = _nameless(home)
        if self._descriptor is None:
            self._hidden = _hidden(home)
            self._hidden.open("xb").close()

    @property
    def target(self) -> int | str | bytes:
        """What libsndfile opens: a descriptor, at its beginning, that it must not close, or a name."""
        if self._hidden is not None:
            # As bytes where names are bytes: soundfile's own encoding stumbles over one that is no UTF-8.
            return str(self._hidden) if os.name == "nt" else os.fsencode(self._hidden)
        return self._rewound()

    def stream(self) -> IO[bytes]:
        """The same as a stream of bytes, to be closed."""
        if self._hidden is not None:
            return self._hidden.open("r+b")
        return os.fdopen(os.dup(self._rewound()), "r+b")

    def sync(self) -> None:
        """Have it on the disk."""
        with self.stream() as file:
            os.fsync(file.fileno())

    def place(self, path: Path) -> bool:
        """Give it a name in its folder; False when the name is taken. Whatever has the name is untouched.

        Raises
        ------
        OSError
            When it cannot have a name at all.
        """
        try:
            if self._hidden is not None:
                os.link(self._hidden, path)
            else:
                os.link(f"/proc/self/fd/{self._descriptor}", path, follow_symlinks=True)
        except FileExistsError:
            return False
        except OSError:  # a file system without hard links: reserve the name, then take it
            try:
                path.open("xb").close()
            except FileExistsError:
                return False
            try:
                self._named().replace(path)
            except OSError:
                with suppress(OSError):
                    path.unlink()
                raise
        return True

    def discard(self) -> None:
        """Let go of it; a name that it was given stays. Safe to call again."""
        descriptor, self._descriptor = self._descriptor, None
        if descriptor is not None:
            os.close(descriptor)
        if self._hidden is not None:
            with suppress(OSError):
                self._hidden.unlink()

    def _named(self) -> Path:
        """It under a hidden name."""
        if self._hidden is None:
            hidden = _hidden(self.home)
            with self.stream() as whole:
                self._hidden = hidden
                with hidden.open("xb") as file:
                    shutil.copyfileobj(whole, file)
                    file.flush()
                    os.fsync(file.fileno())
        return self._hidden

    def _rewound(self) -> int:
        if self._descriptor is None:
            raise ValueError("the draft was discarded")
        os.lseek(self._descriptor, 0, os.SEEK_SET)
        return self._descriptor


def _hidden(home: Path) -> Path:
    return home / f"{_PREFIX}{uuid.uuid4().hex}{_SUFFIX}"


def _nameless(home: Path) -> int | None:
    """A file without a name, where there is such a thing."""
    flag = getattr(os, "O_TMPFILE", None)
    if flag is None or not Path("/proc/self/fd").is_dir():
        return None
    try:
        return os.open(home, flag | os.O_RDWR, 0o666)
    except OSError:  # this file system cannot; what is really wrong shows when the hidden one is made
        return None


def _clear_abandoned(home: Path) -> None:
    with suppress(OSError):
        for path in home.glob(f"{_PREFIX}*{_SUFFIX}"):
            with suppress(OSError):
                if time.time() - path.stat().st_mtime > _ABANDONED_S:
                    path.unlink()
