"""Measures many files, as many at once as there are cores, and prints nothing.

::

    checking = Checking(paths, parts)
    for step in checking:                 # blocks; run it on a thread of its own in a window
        if step.outcome is not None:      # a file is done; otherwise only the progress has moved
            show(step.outcome.path, step.outcome.check or step.outcome.error)
        bar.set(step.share, step.seconds_left)

and, from any thread, ``checking.cancel()``: the iteration ends within a tenth of a second, and what was
measured by then has been handed out.

Threads and processes: everything here belongs to the thread that iterates, but for :meth:`Checking.cancel`.
Files are measured by processes aside, each with one file at a time; a few small files, or a single one, by
one thread of this process, for a process takes a quarter of a second to start.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Generator, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import Pipe
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import TypeAlias

from app.check import aside
from app.check.folder import sound_files
from app.check.measure import FileCheck, Sharing, check_file
from app.coach.judgement import Target
from app.coach.makers import Parts, Targets
from app.coach.parts import PartProfile
from app.coach.verdict import TAKE_S
from app.errors import SoundFileError, SwellmarkError
from app.words import check as words

_TICK_S = 0.1
_MOST_AT_ONCE = 16
"""Each takes some 60 MB, and more would wait for the disk."""
_WORTH_PROCESSES_BYTES = 32 << 20
"""About half a second of measuring."""
_TELLING_S, _TELLING_SHARE = 1.0, 0.01
"""With less behind it, nobody can tell how much time is left."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one file: a check, or the error that names what is wrong with it."""

    path: Path
    number: int
    """Its place in the order in which the files were named: outcomes come as they are ready."""
    check: FileCheck | None = None
    error: SwellmarkError | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """How far the files are."""

    done: int
    """Files that are done, unreadable ones included."""
    total: int
    share: float
    """Of the whole work, 0 to 1, by the size of the files."""
    seconds_left: float | None
    """None while it cannot be told."""
    outcome: Outcome | None = None
    """The file that was done just now, if any."""


class Checking:
    """Measures files side by side; iterate over it once.

    Parameters
    ----------
    paths
        Files, and folders whose sound files are meant. One that is not there or no sound becomes an outcome
        with an error, and the others are still measured.
    parts, target, take_s
        As for :func:`app.check.measure.check_file`.
    at_once
        How many files at the same time; None = as many as there are cores.
    background
        True gives way to whatever else wants the processor, and lets this process, where sound may be coming
        in, measure nothing itself.
    """

    def __init__(
        self,
        paths: Iterable[Path],
        parts: PartProfile | Parts,
        target: Target | Targets | None = None,
        *,
        take_s: float = TAKE_S,
        at_once: int | None = None,
        background: bool = False,
    ) -> None:
        self._paths = tuple(paths)
        self._order = _Order(parts, target or Target(), take_s, background)
        self._at_once = max(1, min(at_once or aside.cores(), _MOST_AT_ONCE))
        self._cancelled = threading.Event()

    def cancel(self) -> None:
        """End it: from any thread, and again."""
        self._cancelled.set()

    @property
    def cancelled(self) -> bool:
        """Whether it was ended before its time."""
        return self._cancelled.is_set()

    def __iter__(self) -> Generator[Step, None, None]:
        """Yield a step for every file that is done, and some ten a second between them."""
        files, errors = _files(self._paths)
        progress = _Progress(files, errors)
        for outcome in errors:
            yield progress.step(outcome)
        crew = _Crew(self._order, self._at_once, files, progress)
        try:
            while crew.busy and not self.cancelled:
                outcomes = crew.work()
                for outcome in outcomes:
                    yield progress.step(outcome)
                if not outcomes:
                    yield progress.step()
        finally:
            crew.dismiss()


def _files(paths: Iterable[Path]) -> tuple[dict[int, Path], list[Outcome]]:
    """All files by their number, and what names none."""
    files: dict[int, Path] = {}
    errors: list[Outcome] = []
    for path in paths:
        try:
            for file in sound_files(path):
                files[len(files) + len(errors)] = file
        except SoundFileError as error:
            errors.append(Outcome(path, len(files) + len(errors), error=error))
    return files, errors


class _Progress:
    """Adds up what is done, by the size of the files."""

    def __init__(self, files: dict[int, Path], errors: Sequence[Outcome]) -> None:
        self.sizes = {number: _size(path) for number, path in files.items()}
        self.shares = dict.fromkeys(files, 0.0)
        self._bytes = sum(self.sizes.values())
        self._total = len(files) + len(errors)
        self._done = 0
        self._began_s = time.monotonic()

    def step(self, outcome: Outcome | None = None) -> Step:
        if outcome is not None:
            self._done += 1
            self.shares[outcome.number] = 1.0
        behind = sum(size * self.shares[number] for number, size in self.sizes.items())
        share = behind / self._bytes if self._bytes else 1.0
        spent_s = time.monotonic() - self._began_s
        tells = spent_s >= _TELLING_S and share >= _TELLING_SHARE
        left_s = spent_s * (1.0 - share) / share if tells else None
        return Step(self._done, self._total, share, left_s, outcome)


def _size(path: Path) -> int:
    try:
        return max(1, path.stat().st_size)
    except (OSError, ValueError):  # measuring it will say why
        return 1


@dataclass(frozen=True, slots=True)
class _Order:
    """What holds for every file."""

    parts: PartProfile | Parts
    target: Target | Targets
    take_s: float
    background: bool


_Message: TypeAlias = float | FileCheck | SwellmarkError
"""What a worker says of its file: the share that is done, or what became of it."""


class _Worker:
    """A process or a thread that measures one file at a time."""

    def __init__(self, worker: aside.Aside | threading.Thread, connection: Connection) -> None:
        self._worker = worker
        self.connection = connection
        self.number: int | None = None
        """The file it has in hand."""
        self.heard_of = False

    @property
    def is_process(self) -> bool:
        return not isinstance(self._worker, threading.Thread)

    def give(self, number: int, path: Path, sharing: Sharing) -> None:
        self.number = number
        with suppress(OSError):  # it is gone; listening to it will show that
            self.connection.send((path, sharing))

    def dismiss(self) -> None:
        if isinstance(self._worker, threading.Thread):
            self.connection.close()  # it ends as soon as it has something to say
            self._worker.join(_TICK_S * 20)
        else:
            aside.end(self._worker, self.connection, at_once=True)


class _Crew:
    """Hands out files to workers and collects what they find."""

    def __init__(self, order: _Order, at_once: int, files: dict[int, Path], progress: _Progress) -> None:
        self._order = order
        self._at_once = at_once
        self._files = files
        self._progress = progress
        self._waiting = deque(files)
        self._workers: list[_Worker] = []
        several = min(at_once, len(files)) > 1 and sum(progress.sizes.values()) >= _WORTH_PROCESSES_BYTES
        self._processes = several or order.background

    @property
    def busy(self) -> bool:
        return bool(self._waiting) or any(worker.number is not None for worker in self._workers)

    def work(self) -> list[Outcome]:
        """Keep everybody busy for a tenth of a second, or until a file is done."""
        self._hand_out()
        by_connection = {worker.connection: worker for worker in self._workers if worker.number is not None}
        outcomes: list[Outcome] = []
        for ready in wait(list(by_connection), _TICK_S):
            worker = by_connection[ready]  # type: ignore[index]  # we put nothing but connections in
            outcome = self._listen(worker)
            if outcome is not None:
                outcomes.append(outcome)
        return outcomes

    def dismiss(self) -> None:
        for worker in self._workers:
            worker.dismiss()
        self._workers.clear()

    def _hand_out(self) -> None:
        while self._waiting:
            free = next((worker for worker in self._workers if worker.number is None), None)
            if free is None:
                if len(self._workers) >= (self._at_once if self._processes else 1):
                    return
                free = self._hire()
                self._workers.append(free)
            number = self._waiting.popleft()
            free.give(number, self._files[number], self._sharing(free))

    def _sharing(self, worker: _Worker) -> Sharing:
        """How a file may be measured with no more hands at work than there are cores."""
        if not worker.is_process:
            return Sharing.PROCESSES  # it works by itself
        wanted = len(self._waiting) + 1 + sum(each.number is not None for each in self._workers)
        return Sharing.ALONE if wanted >= self._at_once > 1 else Sharing.THREADS

    def _hire(self) -> _Worker:
        if self._processes:
            try:
                return _Worker(*aside.start(_serve_aside, self._order))
            except OSError as error:  # no more processes for us: a thread will do
                _log.info("no process to be had", exc_info=error)
                self._processes = False
        ours, theirs = Pipe()
        thread = threading.Thread(
            target=_serve, args=(theirs, self._order), name="swellmark-check", daemon=True
        )
        thread.start()
        return _Worker(thread, ours)

    def _listen(self, worker: _Worker) -> Outcome | None:
        number = worker.number
        if number is None:
            return None
        path = self._files[number]
        try:
            message: _Message = worker.connection.recv()
        except (EOFError, OSError):
            return self._lost(worker, number, path)
        worker.heard_of = True
        if isinstance(message, float):
            self._progress.shares[number] = message
            return None
        worker.number = None
        if isinstance(message, FileCheck):
            return Outcome(path, number, check=message)
        return Outcome(path, number, error=message)

    def _lost(self, worker: _Worker, number: int, path: Path) -> Outcome | None:
        """A worker has died: of its file, or because processes do not work here at all."""
        worker.dismiss()
        self._workers.remove(worker)
        if not worker.heard_of and worker.is_process:
            _log.info("a process ended before it began")
            self._processes = False
            self._waiting.appendleft(number)
            return None
        return Outcome(path, number, error=SoundFileError(words.measuring_broke_off(str(path))))


def _serve_aside(connection: Connection, order: _Order) -> None:
    """What a process aside runs."""
    aside.leave_interrupts()
    if order.background:
        aside.give_way()
    _serve(connection, order)


def _serve(connection: Connection, order: _Order) -> None:
    """Measure the files that are asked for, until the other end is closed."""
    with connection, suppress(EOFError, OSError):
        while True:
            path, sharing = connection.recv()
            connection.send(0.0)
            connection.send(_outcome(path, order, sharing, connection.send))


class _Unheard(Exception):  # noqa: N818 - no error: nobody wants the rest
    """The other end was closed in the middle of a file."""


def _outcome(
    path: Path, order: _Order, sharing: Sharing, send: Callable[[float], None]
) -> FileCheck | SwellmarkError:
    told_s = time.monotonic()

    def tell(share: float) -> None:
        nonlocal told_s
        if time.monotonic() >= told_s + _TICK_S:
            told_s = time.monotonic()
            try:
                send(share)
            except OSError as error:
                raise _Unheard from error

    try:
        return check_file(path, order.parts, order.target, tell, take_s=order.take_s, sharing=sharing)
    except SwellmarkError as error:
        return error
    except _Unheard as error:
        raise EOFError from error
    except Exception as error:
        _log.exception("measuring %s", path)
        return SoundFileError(
            words.fault_while_measuring(str(path), f"{type(error).__name__}: {error}"), repr(error)
        )
