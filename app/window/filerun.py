"""A run over many files for their page: measured on a thread of its own, looked at by the window.

Threads: the run's thread only adds outcomes to a list and replaces the newest step, which is frozen; the
window's thread reads both.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from app.check.many import Outcome, Step
    from app.window.takeports import FileCheckRun

_PATIENCE_S = 2.0


class FileRun:
    """Begins at once.

    Parameters
    ----------
    checking
        Measures, step by step.
    """

    def __init__(self, checking: FileCheckRun) -> None:
        self._checking = checking
        self.outcomes: list[Outcome] = []
        """What is done, in the order in which it was."""
        self.step: Step | None = None
        """How far it is; None before the first files were found."""
        self.problem: Exception | None = None
        """What ended it before its time, if it was not asked to end."""
        self.cancelled = False
        self._thread = threading.Thread(target=self._run, name="swellmark-files", daemon=True)
        self._thread.start()

    @property
    def running(self) -> bool:
        """Whether more will come."""
        return self._thread.is_alive()

    def cancel(self) -> None:
        """End it soon; what is measured by then stays."""
        self.cancelled = True
        self._checking.cancel()

    def shut_down(self) -> bool:
        """End it now; False when that took too long."""
        self.cancel()
        self._thread.join(_PATIENCE_S)
        return not self.running

    def _run(self) -> None:
        try:
            for step in self._checking:
                if step.outcome is not None:
                    self.outcomes.append(step.outcome)
                self.step = step
        except Exception as error:
            self.problem = error
