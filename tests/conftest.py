"""What every test shares."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator

import pytest

# Before Qt is imported anywhere: tests open no window unless they ask for a screen themselves.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

# The tests read English, whatever the machine speaks.
os.environ["LANGUAGE"] = "en"

# As the program does, before numpy is imported: threads waiting for each other cost more than they save.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# What a shell starts in the background ignores Ctrl-C, and so would every program that a test starts.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# Workers beside each other (pytest-xdist)


def _waits(item: pytest.Item) -> bool:
    return any(item.get_closest_marker(name) for name in ("beside", "live"))


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put what waits for clocks and other programs first, so that one worker does it while others compute.

    ``--dist worksteal`` hands each worker a stretch of this list and takes away only from a stretch's end:
    the live tests stay together, in turn, on one sound server, and no long one is left over for the end.
    """
    items.sort(key=lambda item: (not item.get_closest_marker("beside"), not _waits(item)))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    """Let a worker that computes give way to the one with the live tests, which must keep up with sound."""
    config = item.config
    if hasattr(config, "workerinput") and not hasattr(config, "gives_way"):
        config.gives_way = not _waits(item)
        if config.gives_way and hasattr(os, "nice"):
            os.nice(5)
    return (yield)
