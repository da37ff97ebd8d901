"""What is known about the headphone balance: the files, the part, the wish, and the advice that follows.

No Qt in here. Threads: everything is called on the window's thread; what is slow runs as an errand, and its
outcome comes back on the window's thread. Work that nobody wants any more is told so through its progress.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from app.check.quieter import Quieter
from app.check.tracks import TrackFile
from app.coach.balance import Balance, advise
from app.engine.livepart import LivePart, Played
from app.errors import SwellmarkError
from app.window.balanceports import BalanceServices
from app.window.errands import Errands
from app.words import balance as words
from dsp.track import Track

MOST_MORE_ME_DB = 20
_LEAST_PAUSE_S = 1.5
_COST = 33.0
"""Live advice rests for so many times what making it took: about 3 % of a core on any machine."""


class _LeftError(Exception):
    """Nobody wants it any more."""


@dataclass(slots=True)
class Entry:
    """A file, as far as it was measured."""

    path: Path
    share: float = 0.0
    """How much of it is measured, 0 to 1."""
    file: TrackFile | None = None
    problem: str = ""
    left: threading.Event = field(default_factory=threading.Event)

    @property
    def measuring(self) -> bool:
        """Whether it is still to be measured."""
        return self.file is None and not self.problem


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What an advice rests on; a live part that merely goes on is the same part."""

    from_file: bool
    part: Track | None
    """Of a part from a file."""
    heard: bool
    """Whether a live part was heard."""
    backing: tuple[Track, ...]
    more_me_db: int


@dataclass(frozen=True, slots=True)
class _Outcome:
    played: Played | None
    wanted: _Wanted | None
    """None when no advice was made."""
    balance: Balance | None
    took_s: float


class BalanceDesk:
    """Measures, and keeps the advice up to date.

    Parameters
    ----------
    services
        The rest of the program.
    errands
        Those of the window.
    changed
        Called whenever something may look different now.
    """

    def __init__(self, services: BalanceServices, errands: Errands, changed: Callable[[], None]) -> None:
        self._services = services
        self._errands = errands
        self._changed = changed
        self.backing: list[Entry] = []
        self.part_file: Entry | None = None
        """None = the part is what is played now."""
        self.live = LivePart()
        self.played: Played | None = None
        """What was heard of the live part."""
        self.more_me_db = 0
        self.balance: Balance | None = None
        """The advice; None without a backing, and while one is measured."""
        self.writing: float | None = None
        """The share of the copies that is written; None = none are being written."""
        self._writing_left = threading.Event()
        self._measuring = False
        self._advising = False
        self._advised: _Wanted | None = None
        self._next_look_s = self._next_advice_s = 0.0
        self._listening = False

    # Files

    def set_backing(self, paths: Sequence[Path]) -> None:
        """Take these files for the backing, and forget those before."""
        self._forget(self.backing)
        self.backing = [Entry(path) for path in dict.fromkeys(paths)]
        self._measure_next()
        self.review()

    def add_backing(self, paths: Sequence[Path]) -> None:
        """Take these files as further stems."""
        known = {entry.path for entry in self.backing}
        self.backing += [Entry(path) for path in dict.fromkeys(paths) if path not in known]
        self._measure_next()
        self.review()

    def remove(self, entry: Entry) -> None:
        """Take a file out of the backing."""
        self._forget([entry])
        self.backing = [other for other in self.backing if other is not entry]
        self.review()

    def set_part_file(self, path: Path | None) -> None:
        """Take the part from a file; None takes what is played now."""
        if self.part_file is not None:
            self._forget([self.part_file])
        self.part_file = None if path is None else Entry(path)
        self._measure_next()
        self.review()

    def cancel(self) -> None:
        """Leave what is not measured yet, and copies that are being written."""
        waiting = [entry for entry in self._entries() if entry.measuring]
        self._forget(waiting)
        self.backing = [entry for entry in self.backing if entry not in waiting]
        if self.part_file in waiting:
            self.part_file = None
        self._writing_left.set()
        self.review()

    @property
    def measuring(self) -> float | None:
        """The share of all files that is measured; None when nothing is to be measured."""
        entries = self._entries()
        if not any(entry.measuring for entry in entries):
            return None
        return sum(entry.share if entry.measuring else 1.0 for entry in entries) / len(entries)

    # The part

    def listen(self, channel: int) -> None:
        """Hear what is played into a channel from now on."""
        self.live.channel = channel
        if not self._listening:
            self._listening = True
            self._services.listen(self.live)

    def stop_listening(self) -> None:
        """Hear no more; what was heard stays."""
        if self._listening:
            self._listening = False
            self._services.leave(self.live)

    def forget_part(self) -> None:
        """Begin the part anew: the setting has changed, or somebody else plays."""
        self.live.forget()
        self.played = None
        self.review()

    def look(self, noise_floor_dbfs: float, now_s: float) -> None:
        """Take in what was played, and now and then advise anew. Called some times a second."""
        if not self._listening or self.part_file is not None or now_s < self._next_look_s or self._advising:
            return
        self._next_look_s = now_s + _LEAST_PAUSE_S
        self._advise(partial(self.live.measure, noise_floor_dbfs), anew=now_s >= self._next_advice_s)

    # The wish, the advice and the copies

    def set_more_me(self, more_me_db: int) -> None:
        """What the player wants on top."""
        self.more_me_db = max(0, min(MOST_MORE_ME_DB, more_me_db))
        self.review()

    @property
    def part(self) -> Track | None:
        """The part, as far as it is known."""
        if self.part_file is not None:
            return self.part_file.file.track if self.part_file.file is not None else None
        return self.played.track if self.played is not None and self.played.enough else None

    @property
    def files(self) -> tuple[TrackFile, ...]:
        """The backing, once all of it is measured; empty before."""
        files = [entry.file for entry in self.backing if entry.file is not None]
        return tuple(files) if len(files) == len([e for e in self.backing if not e.problem]) else ()

    @property
    def pull_down_db(self) -> tuple[int, ...]:
        """The advice, one amount for each of :attr:`files`."""
        if self.balance is None or len(self.balance.files) != len(self.files):
            return ()
        return tuple(file.pull_down_db for file in self.balance.files)

    def write(
        self,
        folder: Path | None,
        then: Callable[[Sequence[Path]], None],
        failed: Callable[[Exception], None],
    ) -> None:
        """Write turned-down copies, unless some are being written."""
        wanted = [
            Quieter(file.path, amount) for file, amount in zip(self.files, self.pull_down_db, strict=False)
        ]
        if self.writing is not None or not wanted:
            return
        self.writing, self._writing_left = 0.0, threading.Event()
        left = self._writing_left

        def tell(share: float) -> None:
            self.writing = share
            if left.is_set():
                raise _LeftError

        def done(paths: Sequence[Path]) -> None:
            self.writing = None
            self._changed()
            then(paths)

        def broke(error: Exception) -> None:
            self.writing = None
            self._changed()
            if not isinstance(error, _LeftError):
                failed(error)

        self._errands.run("balance-copies", lambda: self._services.write(wanted, folder, tell), done, broke)
        self._changed()

    def review(self) -> None:
        """Make the advice anew if anything that it rests on has changed."""
        tracks = tuple(file.track for file in self.files)
        if not tracks or self.measuring is not None:
            self.balance, self._advised = None, None
        elif not self._advising and self._wanted_now() != self._advised:
            self._advise(None, anew=True)
        self._changed()

    def shut_down(self) -> None:
        """Leave everything."""
        self.stop_listening()
        self._forget(self._entries())
        self._writing_left.set()

    def _wanted_now(self) -> _Wanted:
        tracks = tuple(file.track for file in self.files) if self.measuring is None else ()
        if self.part_file is not None:
            return _Wanted(True, self.part, False, tracks, self.more_me_db)
        return _Wanted(False, None, self.part is not None, tracks, self.more_me_db)

    def _advise(self, hear: Callable[[], Played | None] | None, *, anew: bool) -> None:
        """Hear what was played, where the part is live, and make the advice, on a thread."""
        wanted, before = self._wanted_now(), self.played
        self._advising = True

        def work() -> _Outcome:
            began_s = time.thread_time()
            played = before if hear is None else hear()
            now, part = wanted, wanted.part
            if not wanted.from_file:
                part = played.track if played is not None and played.enough else None
                now = replace(wanted, heard=part is not None)
            if not now.backing or (now == wanted and not anew):
                return _Outcome(played, None, None, time.thread_time() - began_s)
            # What is played into the input may belong to any place of the song.
            balance = advise(part, now.backing, now.more_me_db, placed=now.from_file)
            return _Outcome(played, now, balance, time.thread_time() - began_s)

        def done(outcome: _Outcome) -> None:
            self._advising = False
            if hear is not None:
                self.played = outcome.played
            if outcome.wanted is not None:
                self._advised, self.balance = outcome.wanted, outcome.balance
                self._next_advice_s = time.monotonic() + max(_LEAST_PAUSE_S, _COST * outcome.took_s)
            self.review()

        def failed(error: Exception) -> None:
            self._advising = False
            self._advised, self.balance = wanted, None
            self._changed()
            raise error

        self._errands.run("balance", work, done, failed)

    def _entries(self) -> list[Entry]:
        return [*self.backing, *([self.part_file] if self.part_file is not None else [])]

    @staticmethod
    def _forget(entries: Sequence[Entry]) -> None:
        for entry in entries:
            entry.left.set()

    def _measure_next(self) -> None:
        """Measure one file after another: each uses both cores already."""
        entry = next((entry for entry in self._entries() if entry.measuring), None)
        if self._measuring or entry is None:
            return
        self._measuring = True

        def tell(share: float) -> None:
            entry.share = share
            if entry.left.is_set():
                raise _LeftError

        def done(file: TrackFile) -> None:
            if entry is self.part_file and file.track.silent:
                entry.problem = words.part_silent(str(entry.path))
            else:
                entry.file = file
            self._go_on()

        def failed(error: Exception) -> None:
            if isinstance(error, SwellmarkError):
                entry.problem = error.sentence
            elif not isinstance(error, _LeftError):
                entry.problem = words.measuring_failed(str(entry.path), type(error).__name__)
            self._go_on()

        self._errands.run("balance-file", lambda: self._services.measure(entry.path, tell), done, failed)

    def _go_on(self) -> None:
        self._measuring = False
        self._measure_next()
        self.review()
