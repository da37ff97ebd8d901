"""Watches the folder that recordings land in: each new sound file becomes a take in the log.

Threads: one of its own looks, measures one file at a time, and hands takes to the log; a second one, of
watchdog's, only rings the bell. What the thread knows is published as a frozen view, which any thread may
read; ``tell`` is called on the watching thread.

The system's own watching only makes it quick. What is true is found by listing the folder, now and then
where the system watches, every few seconds where it cannot; so an event that was missed costs nothing but
time, and a network folder may go away and come back.
"""

from __future__ import annotations

import logging
import math
import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import Protocol

from app.check.folder import is_sound_name
from app.check.measure import FileCheck
from app.check.shelf import fingerprint
from app.coach.judgement import Target
from app.coach.parts import PartProfile
from app.errors import LogError, SoundFileError
from app.log import sight
from app.log.edit import Edit, delete
from app.log.filetake import goes_on, measure_take
from app.log.records import TakeUpdate
from app.log.settling import SETTLE_S, Settling, Stamp
from app.words import folder as words

_LOOK_EVERY_S = 0.5
"""How often files that are still growing are looked at, and whether the folder is there at all."""
_LIST_EVERY_S = {True: 20.0, False: 2.0}
"""How often the whole folder is listed, where the system watches and where it does not ..."""
_LISTING_SHARE = 0.05
"""... and the most of the time that may go into listing: thousands of files on a slow network take long."""

_log = logging.getLogger(__name__)


class Watching(StrEnum):
    """How a folder is watched just now."""

    BEGINNING = "beginning"
    """What is there already is being listed."""
    NATIVE = "native"
    """The system tells of changes."""
    POLLING = "polling"
    """It cannot, so the folder is listed again and again."""
    AWAY = "away"
    """The folder is not there: a network that went away, or a disk that was pulled out."""
    OVER = "over"


@dataclass(frozen=True, slots=True)
class FolderView:
    """The state of a watched folder."""

    folder: Path
    watching: Watching = Watching.BEGINNING
    known: int = 0
    """Sound files that were there already, or are done with."""
    waiting: int = 0
    """New ones that are still growing, or whose turn will come."""
    measuring: Path | None = None
    share: float = 0.0
    """How much of that one is done, 0 to 1."""
    logged: int = 0
    unreadable: int = 0


@dataclass(frozen=True, slots=True)
class FolderNews:
    """What became of one new file."""

    path: Path
    check: FileCheck | None = None
    """What was measured; None for a file that cannot be read."""
    uid: str = ""
    problem: SoundFileError | None = None


class Log(Protocol):
    """What the watch needs of :class:`app.log.writer.LogWriter`."""

    def submit(self, update: TakeUpdate) -> None:
        """Take a take; must not block."""
        ...

    def edit(self, change: Edit) -> None:
        """Take a change; must not block."""
        ...

    def number(self, uid: str) -> int | None:
        """The number that a take has got."""
        ...


class _Stopped(Exception):  # noqa: N818 - nothing went wrong
    """The watch ends in the middle of a file."""


class FolderWatch:
    """Watches until :meth:`stop`.

    Parameters
    ----------
    folder
        It need not be there yet.
    profile, target
        What is played in the recordings, and where it should sit.
    log
        Where takes go.
    is_logged
        Whether a take of this uid is in the log already; called on the watching thread.
    existing
        Measure what is there already, too; otherwise only what comes.
    since_s
        Of what is there already, measure what was changed after this moment (seconds since 1970 UTC): it came
        while nobody watched.
    tell
        Called with what became of each new file.
    settle_s
        How long a file must stay as it is before it is measured.
    """

    def __init__(
        self,
        folder: Path,
        profile: PartProfile,
        log: Log,
        is_logged: Callable[[str], bool],
        *,
        target: Target | None = None,
        existing: bool = False,
        since_s: float = math.inf,
        tell: Callable[[FolderNews], None] = lambda _news: None,
        settle_s: float = SETTLE_S,
    ) -> None:
        self._folder = Path(os.path.realpath(folder))  # as the system names it when it tells of changes
        self._profile = profile
        self._target = target
        self._log = log
        self._is_logged = is_logged
        self._since_s = -math.inf if existing else since_s
        self._tell = tell
        self._settling = Settling(settle_s)
        self._bell = sight.Bell()
        self._stopping = threading.Event()
        self._listed_before = False
        self._identity: tuple[int, int] | None = None
        self._list_at_s = 0.0
        self._made: dict[tuple[int, int], TakeUpdate] = {}
        """The take that was made of each file (device, inode): one that goes on growing replaces it."""
        self._view = FolderView(self._folder)
        self._thread = threading.Thread(target=self._run, name="swellmark-folder", daemon=True)
        self._thread.start()

    @property
    def view(self) -> FolderView:
        """How it stands."""
        return self._view

    def stop(self, timeout_s: float = 5.0) -> bool:
        """Watch no more; a file that is being measured is left. False when that took too long."""
        self._stopping.set()
        self._bell.ring()
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    # Everything below runs on the watching thread.

    def _run(self) -> None:
        try:
            while not self._stopping.is_set():
                try:
                    self._look()
                except Exception:  # the watch must outlive a fault: the evening's takes depend on it
                    _log.exception("watching %s", self._folder)
                self._wait()
        except _Stopped:
            pass
        finally:
            self._bell.take_down()
            self._publish(watching=Watching.OVER, measuring=None)

    def _wait(self) -> None:
        for path in self._bell.wait(_LOOK_EVERY_S):
            if not self._counts(path):
                continue
            if is_sound_name(path.name):
                self._settling.see(path, sight.stamp_of(path), time.monotonic())
            elif path.is_dir():  # a whole folder came
                self._list_at_s = 0.0

    def _counts(self, path: Path) -> bool:
        try:
            inside = path.relative_to(self._folder)
        except ValueError:
            return False
        return not any(part.startswith(".") for part in inside.parts)

    def _look(self) -> None:
        now_s = time.monotonic()
        identity = sight.identity(self._folder)
        if identity is None:
            self._go_away()
            return
        if identity != self._identity or self._view.watching is Watching.AWAY:
            # Another folder lies there, or the same one again: the watch on the old one is worth nothing.
            self._identity = identity
            self._list_at_s = 0.0
            hangs = self._bell.hang(self._folder)
        else:
            hangs = self._bell.hangs
        if now_s >= self._list_at_s:
            if not self._list(now_s):
                self._go_away()
                return
            cost_s = time.monotonic() - now_s
            self._list_at_s = now_s + max(_LIST_EVERY_S[hangs], cost_s / _LISTING_SHARE)
        for path in self._settling.waiting:
            self._settling.see(path, sight.stamp_of(path), now_s)
        self._publish(watching=Watching.NATIVE if hangs else Watching.POLLING)
        for path, stamp in self._settling.ready(time.monotonic()):
            if self._stopping.is_set():
                return
            self._take_in(path, stamp)

    def _go_away(self) -> None:
        if self._view.watching is not Watching.AWAY:
            self._bell.take_down()
            self._identity = None
            self._publish(watching=Watching.AWAY)

    def _list(self, now_s: float) -> bool:
        """Hear of everything in the folder; False when it cannot be listed."""
        first = not self._listed_before
        try:
            for path, stamp in sight.sounds_in(self._folder):
                if self._stopping.is_set():
                    return True
                if first and stamp.modified_ns / 1e9 <= self._since_s:
                    self._settling.know(path, stamp)
                else:
                    self._settling.see(path, stamp, now_s)
        except OSError:
            return False
        self._listed_before = True
        return True

    def _take_in(self, path: Path, stamp: Stamp) -> None:
        """Measure a file that has stopped growing, unless its content is in the log already."""
        self._publish(measuring=path, share=0.0)
        try:
            self._measure(path, stamp)
        except _Stopped:
            raise
        except LogError as error:  # it cannot be asked just now
            _log.info("%s waits: %s", path, error.detail)
            self._settling.put_off(path, time.monotonic())
        except SoundFileError as error:
            self._miss(path, error)
        except Exception as error:  # whatever one file does, the next ones are measured
            reason = error.strerror if isinstance(error, OSError) else None
            _log.info("%s cannot be measured", path, exc_info=error)
            self._miss(
                path, SoundFileError(words.not_measured(str(path), reason or repr(error)), repr(error))
            )
        finally:
            self._publish(measuring=None, share=0.0)

    def _measure(self, path: Path, stamp: Stamp) -> None:
        uid = f"file-{fingerprint(path)}"
        if self._is_logged(uid):
            self._settling.know(path, stamp)
            return
        check, update = measure_take(
            path, self._profile, self._target, self._progress, uid=uid, ended_s=stamp.modified_ns / 1e9
        )
        after = sight.stamp_of(path)
        if after is None or not after.like(stamp):  # it changed or went while it was measured
            self._settling.see(path, after, time.monotonic())
            return
        self._put_earlier_away(stamp, update)
        self._log.submit(update)
        self._settling.know(path, stamp)
        self._publish(logged=self._view.logged + 1)
        self._tell(FolderNews(path, check, uid))

    def _put_earlier_away(self, stamp: Stamp, update: TakeUpdate) -> None:
        """Delete the take that was made of the same file when it was shorter; it can be brought back."""
        if not stamp.inode:
            return
        earlier = self._made.get((stamp.device, stamp.inode))
        self._made[stamp.device, stamp.inode] = replace(update, events=())
        number = self._log.number(earlier.uid) if earlier else None
        if earlier and number is not None and goes_on(earlier, update):
            self._log.edit(delete([number]))
            self._publish(logged=self._view.logged - 1)

    def _miss(self, path: Path, problem: SoundFileError) -> None:
        now_s = time.monotonic()
        if sight.identity(self._folder) is None or sight.stamp_of(path) is None:
            self._settling.see(path, None, now_s)
        elif self._settling.failed(path, now_s):
            self._publish(unreadable=self._view.unreadable + 1)
            self._tell(FolderNews(path, problem=problem))

    def _progress(self, share: float) -> None:
        if self._stopping.is_set():
            raise _Stopped
        self._publish(share=share)

    def _publish(self, **changes: object) -> None:
        self._view = replace(
            self._view,
            known=self._settling.known,
            waiting=len(self._settling.waiting),
            **changes,  # type: ignore[arg-type]
        )
