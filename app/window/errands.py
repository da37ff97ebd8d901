"""Work that may take a while, kept off the window's thread.

Threads: each errand runs on a plain daemon thread that knows nothing of Qt. Its outcome waits in the errand
until the window's timer collects it, so no signal is ever sent from a thread that Qt did not make.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(slots=True)
class _Errand:
    thread: threading.Thread
    then: Callable[[Any], None]
    failed: Callable[[Exception], None]
    result: Any = None
    error: Exception | None = None


class Errands:
    """Runs errands and hands their outcome over when asked."""

    def __init__(self) -> None:
        self._under_way: list[_Errand] = []

    def run(
        self,
        name: str,
        work: Callable[[], Any],
        then: Callable[[Any], None],
        failed: Callable[[Exception], None],
    ) -> None:
        """Do ``work`` on a thread; a later :meth:`collect` calls ``then`` or ``failed``."""

        def go() -> None:
            try:
                errand.result = work()
            except Exception as error:
                errand.error = error

        thread = threading.Thread(target=go, name=f"swellmark-{name}", daemon=True)
        errand = _Errand(thread, then, failed)
        self._under_way.append(errand)
        thread.start()

    def collect(self) -> None:
        """Hand over what is done. Called on the window's thread."""
        done = [errand for errand in self._under_way if not errand.thread.is_alive()]
        for errand in done:
            self._under_way.remove(errand)
            if errand.error is not None:
                errand.failed(errand.error)
            else:
                errand.then(errand.result)

    def wait(self, timeout_s: float) -> bool:
        """Wait until nothing is under way; False when the time did not suffice."""
        for errand in self._under_way:
            errand.thread.join(timeout_s)
        return not any(errand.thread.is_alive() for errand in self._under_way)
