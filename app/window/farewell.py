"""The end of the program, in order and in time: take, engine, log."""

from __future__ import annotations

import sys

from app.window.errands import Errands
from app.window.services import Services

LIMIT_S = 9.0
"""Engine and log have limits of their own, which are shorter together."""


def say_farewell(services: Services) -> bool:
    """End the take, the engine and the log; False when one failed or did not end in time.

    The take comes first: whatever hangs after that, it has been handed to the log. It happens on a thread,
    because a driver that hangs must not keep the program from ending.
    """
    problems: list[Exception] = []

    def end() -> None:
        for step in (services.keeper.close, services.engine.stop, services.close_log):
            try:
                step()
            except Exception as error:  # the steps after it matter all the more
                problems.append(error)

    errands = Errands()
    errands.run("farewell", end, lambda _none: None, problems.append)
    in_time = errands.wait(LIMIT_S)
    errands.collect()
    for problem in problems:
        sys.excepthook(type(problem), problem, problem.__traceback__)
    return in_time and not problems
