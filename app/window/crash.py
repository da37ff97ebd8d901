"""Whatever breaks anywhere in the program reaches the user as a sentence.

Threads: the hooks run on the thread that broke and only put the report aside; the window's timer collects.
"""

from __future__ import annotations

import platform
import sys
import threading
import traceback
from collections import deque
from types import TracebackType

from app import __version__
from app.window.banner import Message
from app.words import messages as words


class CrashReports:
    """While entered, keeps every exception that nobody caught, and still passes it on to stderr."""

    def __init__(self) -> None:
        # A bound, because something may break in every frame; appending to a deque is atomic.
        self._reports: deque[Message] = deque(maxlen=20)
        self._before = (sys.excepthook, threading.excepthook)

    def __enter__(self) -> CrashReports:
        self._before = (sys.excepthook, threading.excepthook)
        sys.excepthook = self.on_main
        threading.excepthook = self.on_thread
        return self

    def __exit__(self, *_: object) -> None:
        sys.excepthook, threading.excepthook = self._before

    def collect(self) -> list[Message]:
        """Take out what has been reported since the last call."""
        taken = []
        while self._reports:
            taken.append(self._reports.popleft())
        return taken

    def on_main(self, kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        """Stand in for ``sys.excepthook``."""
        self._keep(error)
        self._before[0](kind, error, trace)

    def on_thread(self, args: threading.ExceptHookArgs) -> None:
        """Stand in for ``threading.excepthook``."""
        if args.exc_value is not None:
            self._keep(args.exc_value)
        self._before[1](args)

    def _keep(self, error: BaseException) -> None:
        self._reports.append(crash_message(error))


def crash_message(error: BaseException) -> Message:
    """One sentence about an exception, with everything that helps to find it as its detail."""
    what = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
    versions = f"swellmark {__version__}, Python {platform.python_version()}, {platform.platform()}"
    detail = "\n".join((versions, "", *traceback.format_exception(error)))
    return Message(words.fault_in_program(what), urgent=True, detail=detail)
