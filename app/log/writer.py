"""The thread that writes takes to the log, so that neither the sound nor the window ever waits for a disk.

Any thread may call :meth:`LogWriter.submit`, which only puts a value on a queue. The writer thread alone
touches the database. What could not be written stays in memory and is tried again; nothing is forgotten
because a disk was full, a file locked, or the log replaced under our feet.
"""

from __future__ import annotations

import errno
import queue
import sqlite3
import threading
import time
from collections import deque
from dataclasses import dataclass, field, replace
from pathlib import Path

from app.engine.evidence import Stretch
from app.errors import LogError, SwellmarkError
from app.log.damage import is_damage, set_aside
from app.log.edit import Edit, purge
from app.log.evidence import keep_evidence, sweep_evidence
from app.log.owner import Owner
from app.log.records import TakeEvent, TakeUpdate
from app.log.reserve import Reserve, is_full
from app.log.saving import save_events, save_take
from app.log.store import Store, log_path
from app.words import log as words

FLUSH_EVERY_S = 0.25
RETRY_EVERY_S = 1.0
RESERVE_EVERY_S = 10.0

_MOST_STRETCHES = 20
"""Stretches of sound that wait for the disk; the oldest of more are let go."""

MAX_EVENTS_KEPT = 200_000
"""Events of one take that are kept in memory, some 50 MB: a take with more has a fault, not clips."""


@dataclass(slots=True)
class _Take:
    """A take that is open, or not yet wholly written."""

    update: TakeUpdate
    number: int | None = None
    events: list[TakeEvent] = field(default_factory=list)
    written: int = 0
    """How many of the events are in the log."""
    trace_written: bool = False
    dirty: bool = True
    listed: object = None
    """What the list shows of it, but for what grows all the time."""

    def in_list(self) -> object:
        """What a list of takes shows that is worth reading it again."""
        clips = sum(channel.clips for channel in self.update.per_channel)
        return self.number, self.update.state, self.update.verdict, clips

    def forget_written(self) -> None:
        """Take nothing for written: the log is another one now."""
        self.written = 0
        self.trace_written = False
        self.dirty = True


@dataclass(frozen=True, slots=True)
class _Edit:
    """A change that a person made."""

    run: Edit


@dataclass(frozen=True, slots=True)
class _Ask:
    """Somebody waits until everything before this is written."""

    done: threading.Event


class LogWriter:
    """Writes what :class:`app.log.keeper.TakeKeeper` hands over, at least twice a second.

    Parameters
    ----------
    path
        The log; the user's own when None.
    busy_s
        How long a write waits for another program before it is put off.
    """

    def __init__(self, path: Path | None = None, *, busy_s: float = 1.0) -> None:
        self.path = path or log_path()
        self._busy_s = busy_s
        self._queue: queue.SimpleQueue[TakeUpdate | Stretch | _Edit | _Ask | None] = queue.SimpleQueue()
        self._takes: dict[str, _Take] = {}
        self._edits: deque[_Edit] = deque()
        self._stretches: deque[Stretch] = deque(maxlen=_MOST_STRETCHES)
        self._asks: list[_Ask] = []
        self._store: Store | None = None
        self._owner: Owner | None = None
        self._stopping = threading.Event()
        self._all_written = False
        # Written by the writer thread alone; a reference or an int is read whole by any other.
        self._problem: LogError | None = None
        self._notice = ""
        self._dropped = 0
        self._damaged = False
        self._reserve = Reserve(self.path)
        self._reserve_at = 0.0
        self._revision = 0
        self._numbers: dict[str, int] = {}
        self._thread = threading.Thread(target=self._run, name="take log writer", daemon=True)
        self._thread.start()

    @property
    def problem(self) -> LogError | None:
        """Why writing does not work at the moment; None while it does."""
        return self._problem

    @property
    def notice(self) -> str:
        """What a user should know once, such as that a damaged log was set aside; or nothing."""
        return self._notice

    @property
    def revision(self) -> int:
        """Changes whenever a list of takes should be read again."""
        return self._revision

    def number(self, uid: str) -> int | None:
        """The number of a take, once it is in the log."""
        return self._numbers.get(uid)

    def submit(self, update: TakeUpdate) -> None:
        """Hand over the state of a take. Never blocks, never fails."""
        self._queue.put(update)

    def edit(self, change: Edit) -> None:
        """Hand over a change of :mod:`app.log.edit`. Never blocks; ``revision`` tells when it is done."""
        self._queue.put(_Edit(change))

    def keep(self, stretch: Stretch) -> None:
        """Hand over the sound around a clip of a take. Never blocks; what cannot be kept is let go."""
        self._queue.put(stretch)

    def flush(self, timeout_s: float = 5.0) -> bool:
        """Wait until everything submitted so far is in the log; False when that took too long."""
        ask = _Ask(threading.Event())
        self._queue.put(ask)
        return ask.done.wait(timeout_s)

    def close(self, timeout_s: float = 5.0) -> bool:
        """Write everything and stop. False when it could not all be written in time: see ``problem``."""
        if not self._thread.is_alive():
            return self._all_written
        deadline = time.monotonic() + timeout_s
        self._all_written = self.flush(timeout_s)
        self._stopping.set()
        self._queue.put(None)
        self._thread.join(max(0.1, deadline - time.monotonic()))
        return self._all_written and not self._thread.is_alive()

    # Everything below runs on the writer thread.

    def _run(self) -> None:
        retry_at = 0.0
        # At once, so that orphans are marked and a trouble is known before the first take.
        self._attempt()
        while not self._stopping.is_set():
            self._collect()
            if time.monotonic() < retry_at and not self._asks:
                continue
            if not self._attempt():
                retry_at = time.monotonic() + RETRY_EVERY_S
        self._let_go()

    def _collect(self) -> None:
        """Wait for something to do, then gather what comes within one flush interval."""
        deadline: float | None = None
        while True:
            try:
                wait_s = RETRY_EVERY_S if deadline is None else max(0.0, deadline - time.monotonic())
                item = self._queue.get(timeout=wait_s)
            except queue.Empty:
                return
            if item is None:
                return
            if isinstance(item, _Ask):
                self._asks.append(item)
                return
            if isinstance(item, _Edit):
                # Somebody looks at the list and waits for it.
                self._edits.append(item)
                return
            if isinstance(item, Stretch):
                self._stretches.append(item)
            else:
                self._take_in(item)
            deadline = deadline or time.monotonic() + FLUSH_EVERY_S

    def _take_in(self, update: TakeUpdate) -> None:
        take = self._takes.get(update.uid)
        if take is None:
            take = self._takes[update.uid] = _Take(update)
        room = MAX_EVENTS_KEPT - len(take.events)
        take.events += update.events[:room]
        if len(update.events) > room:
            self._dropped += len(update.events) - room
            self._notice = words.events_given_up(self._dropped)
        if update.trace is None:
            update = replace(update, trace=take.update.trace)
        else:
            take.trace_written = False
        take.update = replace(update, events=())
        take.dirty = True

    def _attempt(self) -> bool:
        """Try to write everything; returns whether it worked."""
        try:
            try:
                self._write()
            except LogError as error:
                if not (_is_full(error, self.path) and self._reserve.give_up()):
                    raise
                self._close_store()
                self._write()
        except LogError as error:
            self._problem = self._explained(error)
            self._damaged = is_damage(error.__cause__)
            # After a failure nothing is known about the file: begin again with a fresh connection.
            self._close_store()
            return False
        except Exception as error:  # the thread must outlive anything, and say so
            self._problem = LogError(words.log_cannot_be_written(str(self.path), str(error)), repr(error))
            self._close_store()
            return False
        self._look_after_reserve()
        for ask in self._asks:
            ask.done.set()
        self._asks.clear()
        return True

    def _look_after_reserve(self) -> None:
        """Keep room free for worse times; while that is not possible, say so, though all is written."""
        now_s = time.monotonic()
        if now_s >= self._reserve_at:
            self._reserve.keep()
            self._reserve_at = now_s + RESERVE_EVERY_S
        spent = self._reserve.spent
        self._problem = LogError(words.log_on_its_reserve(str(self.path))) if spent else None

    def _write(self) -> None:
        if self._store is not None and self._store.was_replaced():
            self._close_store()
        store = self._open_store()
        dirty = [take for take in self._takes.values() if take.dirty]
        if dirty:
            self._write_takes(store, dirty)
        while self._edits:
            self._run_edit(store, self._edits.popleft())
        # Last, because it takes longest and matters least.
        while self._stretches:
            self._keep_evidence(store, self._stretches.popleft())

    def _keep_evidence(self, store: Store, stretch: Stretch) -> None:
        number = self._numbers.get(stretch.uid)
        if number is None:
            return
        try:
            keep_evidence(store, number, [stretch])
        except LogError as error:
            self._notice = error.sentence
        self._revision += 1

    def _run_edit(self, store: Store, edit: _Edit) -> None:
        try:
            with store.writing():
                edit.run(store)
        except LogError:
            self._edits.appendleft(edit)
            raise
        except SwellmarkError as error:
            # It asks for something that makes no sense, and will make none later.
            self._notice = error.sentence
        except Exception as error:  # a fault of ours, which must not keep takes from being written
            self._notice = words.edit_failed(repr(error))
        self._revision += 1

    def _write_takes(self, store: Store, dirty: list[_Take]) -> None:
        assert self._owner is not None  # noqa: S101 - taken when the store was opened
        numbers = []
        listed_anew = False
        with store.writing():
            for take in dirty:
                update = replace(take.update, trace=None) if take.trace_written else take.update
                number = save_take(store, update, take.number, self._owner.token)
                save_events(store, number, take.written, take.events[take.written :], update.under_way)
                numbers.append(number)
        for take, number in zip(dirty, numbers, strict=True):
            take.number = self._numbers[take.update.uid] = number
            take.written = len(take.events)
            take.trace_written = True
            take.dirty = False
            listed_anew |= take.listed != take.in_list()
            take.listed = take.in_list()
            if take.update.final:
                del self._takes[take.update.uid]
        if listed_anew:
            self._revision += 1

    def _open_store(self) -> Store:
        if self._store is None:
            if self._damaged:
                self._notice = set_aside(self.path, busy_s=self._busy_s) or self._notice
                self._damaged = False
            store = Store(self.path, busy_s=self._busy_s)
            try:
                if self._owner is None:
                    store.look_for_damage()
                    with store.writing():
                        purge()(store)
                    sweep_evidence(store)
                    self._owner = store.become_owner()
                if store.interrupt_orphans():
                    self._revision += 1
            except BaseException:
                store.close()
                raise
            # It may be another file now, or have lost what it had; writing everything twice is harmless.
            for take in self._takes.values():
                take.forget_written()
            self._store = store
            self._notice = store.notice or self._notice
        return self._store

    def _close_store(self) -> None:
        if self._store is not None:
            self._store.close()
            self._store = None

    def _let_go(self) -> None:
        self._close_store()
        if self._owner is not None:
            self._owner.close()

    def _explained(self, error: LogError) -> LogError:
        cause = error.__cause__
        code = getattr(cause, "sqlite_errorcode", None)
        path = str(self.path)
        if _is_full(error, self.path):
            return LogError(words.log_full(path), repr(cause))
        if code is not None and code & 0xFF in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
            return LogError(words.log_busy(path), repr(cause))
        if cause is None:
            return error
        return LogError(words.log_cannot_be_written(path, str(cause)), repr(cause))


def _is_full(error: LogError, path: Path) -> bool:
    """Whether the disk has no room; also where SQLite only saw a write that failed for that reason."""
    cause = error.__cause__
    if isinstance(cause, OSError):
        return cause.errno == errno.ENOSPC
    code = getattr(cause, "sqlite_errorcode", None)
    if code is None:
        return False
    # A file system in memory that is full makes the mapping of WAL's index fail: an "I/O error", no more.
    return code & 0xFF == sqlite3.SQLITE_FULL or (
        code & 0xFF == sqlite3.SQLITE_IOERR and is_full(path.parent)
    )
