"""Signals that end a command which runs until it is told to stop."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any


@contextmanager
def signals_end_it() -> Iterator[None]:
    """Let a terminal that closes, or a service that is stopped, end the command as Ctrl+C does.

    Ending takes seconds at the most, and what ends is not hurried: a second signal could cost a take.
    """
    before: dict[int, Any] = {}

    def interrupt(_number: int, _frame: FrameType | None) -> None:
        for number in before:
            signal.signal(number, signal.SIG_IGN)
        raise KeyboardInterrupt

    for name in ("SIGINT", "SIGTERM", "SIGHUP"):  # Windows lacks the last
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:  # as nohup wants it
            before[number] = signal.signal(number, interrupt)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
