"""What drivers print on stderr: kept, sent nowhere, and once the only hold on a thread of theirs.

PortAudio's thread for ALSA has a loop that it never leaves (``PaAlsaStream_WaitForFrames``, PortAudio 19.6):
when ALSA reports an error while a count of frames still has an older value, or none yet, it goes back to the
same check for ever and prints a line each time. That happens when a sound server dies before a stream has
delivered anything, and an idle device may need two seconds for that. The thread looks no more whether it is
to stop, and has switched off that it can be cancelled. Stopping, aborting and closing the stream all wait for
it, and with them the audio-control thread, so that no device could ever be opened again.
:meth:`StderrGag.free_threads` is the way out.
"""

from __future__ import annotations

import contextlib
import ctypes
import io
import os
import select
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from functools import cache, partial
from pathlib import Path
from typing import Any

_stderr_lock = threading.Lock()
"""Held by whoever has turned stderr aside."""


class StderrGag:
    """Sends stderr nowhere while a driver is in trouble.

    When a device goes away at the wrong moment, PortAudio's thread for ALSA turns round and round, and each
    time prints a line: a hundred megabytes a second.
    """

    def __init__(self) -> None:
        self._changing = threading.Lock()
        self._saved = -1
        self._over = False

    def put_on(self) -> None:
        """Turn stderr aside, unless that is done already, or over."""
        with self._changing:
            if self._over or self._saved >= 0 or not _stderr_lock.acquire(blocking=False):
                return
            try:
                self._saved = os.dup(2)
            except OSError:  # a windowed program has no stderr
                _stderr_lock.release()
                return
            with contextlib.suppress(OSError), open(os.devnull, "wb") as nowhere:
                os.dup2(nowhere.fileno(), 2)

    def is_flooded(self) -> bool:
        """Whether a thread of PortAudio's turns in circles; False while it is not put on. Takes 50 ms."""
        with contextlib.suppress(OSError), self._changing, open(os.devnull, "wb") as nowhere:
            return self._on_linux() and _is_flooded(nowhere.fileno(), _GLANCE_S)
        return False  # no descriptor is left: it cannot be looked at

    def free_threads(self, patience_s: float = 0.25) -> None:
        """Let a thread that turns in circles be cancelled. Put it on first.

        Such a thread does nothing but write to stderr. A pipe in its place shows that there is one; when
        nobody reads the pipe any more, each writing interrupts the thread with a signal, and what answers it
        switches cancelling on. In whichever other thread writes meanwhile it is on anyway. Takes some 20 ms
        where one turns, and ``patience_s`` where none does.
        """
        with contextlib.suppress(OSError), self._changing, open(os.devnull, "wb") as nowhere:
            if self._on_linux() and _is_flooded(nowhere.fileno(), patience_s):
                _let_writers_be_cancelled(nowhere.fileno())

    def _on_linux(self) -> bool:
        return self._saved >= 0 and sys.platform.startswith("linux")

    def take_off(self, *, for_good: bool = False) -> None:
        """Let stderr be what it was; for good once the stream is closed, whatever its reader says."""
        with self._changing:
            self._over |= for_good
            saved, self._saved = self._saved, -1
            if saved >= 0:
                os.dup2(saved, 2)
                os.close(saved)
                _stderr_lock.release()


def let_threads_be_freed() -> None:
    """Before a stream is started, in the thread that starts it: have its thread take the signal.

    What starts later inherits which signals are held back, and ALSA's way to a sound server holds this one
    back in whoever opens it. Python ignores the signal, so nothing else comes of it.
    """
    if sys.platform.startswith("linux"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGPIPE})


@contextlib.contextmanager
def threads_freed() -> Iterator[None]:
    """Send stderr nowhere while something is closed, after threads that turn in circles were freed."""
    gag = StderrGag()
    gag.put_on()
    try:
        gag.free_threads(_GLANCE_S)  # nearly always there is none, and somebody waits for silence
        yield
    finally:
        gag.take_off(for_good=True)


@contextlib.contextmanager
def captured_stderr() -> Iterator[Callable[[], str]]:
    """Keep what C libraries print on stderr meanwhile, and yield a function that tells it.

    ALSA and PortAudio print their inner reasons there, which are worth keeping as the detail of an error and
    no good on the screen of a user who is to get one sentence. It acts on the whole process, so it is for
    opening only, which takes milliseconds.
    """
    with contextlib.ExitStack() as stack:
        if not _stderr_lock.acquire(timeout=1.0):
            yield lambda: ""
            return
        stack.callback(_stderr_lock.release)
        try:
            saved = os.dup(2)
            stack.callback(os.close, saved)
            file = stack.enter_context(tempfile.TemporaryFile())
        except OSError:  # a windowed program without stderr, or a full disk: not worth failing for
            yield lambda: ""
            return
        os.dup2(file.fileno(), 2)
        stack.callback(os.dup2, saved, 2)
        yield lambda: _read_back(file.fileno())


def _read_back(descriptor: int) -> str:
    size = min(os.fstat(descriptor).st_size, 8_000)
    if not hasattr(os, "pread"):  # Windows: the position is shared with whoever writes
        os.lseek(descriptor, 0, os.SEEK_SET)
        return os.read(descriptor, size).decode(errors="replace").strip()
    return os.pread(descriptor, size, 0).decode(errors="replace").strip()


_GLANCE_S = 0.050
"""A thread that turns writes all the time, but on a busy machine it has to wait for its turn."""
_INTERRUPTED_S = 0.005
_AGAIN_S = 1.0
_NOT_ANSWERED = -1
_STATE_BEFORE = ctypes.c_int(_NOT_ANSWERED)
"""Written by what answers the signal."""


def _is_flooded(nowhere: int, patience_s: float) -> bool:
    if _held_up():
        return True
    with _pipe_as_stderr(nowhere) as reading:
        return bool(select.select([reading], [], [], patience_s)[0]) and _comes_from_portaudio(reading)


def _held_up() -> list[int]:
    """Threads, none of Python's, that still wait to write to the stderr of before: some pipe that is full."""
    ours = {thread.native_id for thread in threading.enumerate()}
    waiting = []
    for thread in Path("/proc/self/task").iterdir():
        with contextlib.suppress(OSError):  # it has ended, or the kernel does not tell
            call = (thread / "syscall").read_text().split()
            # The first argument is the descriptor.
            if call[1:2] == ["0x2"] and int(thread.name) not in ours:
                waiting.append(int(thread.name))
    return waiting


def _let_writers_be_cancelled(nowhere: int) -> None:
    """Switch cancelling on in every thread that writes to stderr all the time. Leaves stderr as nowhere."""
    libc = _libc()
    with _pipe_as_stderr(nowhere) as reading:
        _STATE_BEFORE.value = _NOT_ANSWERED
        before = libc.signal(signal.SIGPIPE, ctypes.cast(_switch_on(), ctypes.c_void_p))
        reading.close()
        for thread in _held_up():
            with contextlib.suppress(AttributeError):  # glibc before 2.30
                libc.tgkill(os.getpid(), thread, signal.SIGPIPE)
        until_s = time.monotonic() + _AGAIN_S
        while _STATE_BEFORE.value == _NOT_ANSWERED and time.monotonic() < until_s:
            time.sleep(_INTERRUPTED_S)  # on a busy machine the thread has to wait for its turn
    # Once it writes into another pipe it is through with the last signal, and C alone stands on its stack.
    until_s = time.monotonic() + _AGAIN_S
    while not _is_flooded(nowhere, _GLANCE_S) and time.monotonic() < until_s:
        pass
    libc.signal(signal.SIGPIPE, before)


@contextlib.contextmanager
def _pipe_as_stderr(afterwards: int) -> Iterator[io.FileIO]:
    """Have stderr be a pipe that blocks nobody; yields the end to read from, which may be closed inside."""
    reading, writing = os.pipe()
    os.set_blocking(reading, False)
    os.set_blocking(writing, False)
    os.dup2(writing, 2)
    os.close(writing)
    with io.FileIO(reading) as end:
        try:
            yield end
        finally:
            os.dup2(afterwards, 2)


def _comes_from_portaudio(reading: io.FileIO) -> bool:
    return b"pa_linux_alsa" in (reading.read(65_536) or b"")


@cache
def _libc() -> Any:
    libc = ctypes.CDLL(None)
    libc.signal.argtypes = (ctypes.c_int, ctypes.c_void_p)
    libc.signal.restype = ctypes.c_void_p
    return libc


@cache
def _switch_on() -> Any:
    # No function of Python's: its interpreter may wait for other threads, and be cancelled there.
    switch = partial(ctypes.PyDLL(None).pthread_setcancelstate, 0, ctypes.byref(_STATE_BEFORE))
    return ctypes.CFUNCTYPE(None, ctypes.c_int)(switch)
