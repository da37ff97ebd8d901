"""Processes that measure aside: how they are started, and how they end.

Half of what measuring costs holds the interpreter lock, so threads alone leave a core idle. A process aside
is started afresh (``spawn``: it exists on all systems, and copies no lock that a thread holds), talks through
a pipe, and ends when whoever started it does, whatever happens: a closed pipe is its signal.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import Any, Protocol

_PATIENCE_S = 2.0
_BELOW_NORMAL = 0x4000  # BELOW_NORMAL_PRIORITY_CLASS of the Windows API
_NICE = 10


class Aside(Protocol):
    """What runs aside: the part of a process that is asked for."""

    def terminate(self) -> None:
        """End it at once."""

    def kill(self) -> None:
        """End it whatever it does."""

    def join(self, timeout: float | None = None) -> None:
        """Wait for its end."""

    def is_alive(self) -> bool:
        """Whether it has not ended yet."""


def start(serve: Callable[..., None], *arguments: Any) -> tuple[Aside, Connection]:
    """Start a process that runs ``serve(connection, *arguments)``; the other end of the connection is ours.

    Raises
    ------
    OSError
        The system refuses another process.
    """
    context = get_context("spawn")
    ours, theirs = context.Pipe()
    try:
        process = context.Process(target=serve, args=(theirs, *arguments), daemon=True)
        with _interrupts_are_ours():
            process.start()
    except BaseException:
        ours.close()
        raise
    finally:
        theirs.close()  # so that a process that dies closes the last of these ends
    return process, ours


def end(process: Aside, connection: Connection, *, at_once: bool) -> None:
    """Close the connection and see the process off; ``at_once`` does not wait for what it is doing."""
    connection.close()
    if at_once:
        process.terminate()
    process.join(_PATIENCE_S)
    if process.is_alive():
        process.kill()
        process.join(_PATIENCE_S)


def give_way() -> None:
    """Let everything else that wants the processor go first, sound above all."""
    with suppress(OSError):  # a system may forbid even that
        if sys.platform == "win32":
            import ctypes

            windows = ctypes.windll.kernel32
            windows.SetPriorityClass(windows.GetCurrentProcess(), _BELOW_NORMAL)
        else:
            os.nice(_NICE)


def leave_interrupts() -> None:
    """Leave Ctrl+C, which a terminal sends to every process, to the one that started this."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def cores() -> int:
    """How many cores this program may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def _interrupts_are_ours() -> Iterator[None]:
    """What is started here never sees Ctrl+C, not even while it is still importing.

    A blocked signal stays blocked in a new process; here it waits until the block is over. Windows has no
    such thing, and :func:`leave_interrupts` must do.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
