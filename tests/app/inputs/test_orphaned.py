"""A wait for a lock whose holder has ended is found and freed, and no other wait is touched."""

from __future__ import annotations

import ctypes
import sys
import threading
import time

import pytest

from app.inputs import orphaned
from app.inputs.orphaned import free_orphaned_wait

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="glibc's locks")

TIMED_OUT = 110


class Lock:
    """A plain lock of the C library and a condition that nobody ever signals."""

    def __init__(self) -> None:
        self.c = ctypes.CDLL(None)
        self.mutex = ctypes.create_string_buffer(64)
        self.condition = ctypes.create_string_buffer(64)
        self.c.pthread_mutex_init(self.mutex, None)
        self.c.pthread_cond_init(self.condition, None)

    def take(self) -> int:
        return self.c.pthread_mutex_lock(self.mutex)

    def give_back(self) -> int:
        return self.c.pthread_mutex_unlock(self.mutex)

    def wait_for_nothing(self, seconds: float) -> int:
        """As PaUnixThread_New does."""
        until = (ctypes.c_long * 2)(*divmod(int((time.time() + seconds) * 1e9), 10**9))
        return self.c.pthread_cond_timedwait(self.condition, self.mutex, until)


def start(target) -> threading.Thread:
    thread = threading.Thread(target=target, daemon=True)
    thread.start()
    return thread


def is_freed(thread: threading.Thread, seconds: float) -> bool:
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if free_orphaned_wait(thread.native_id):
            return True
        time.sleep(0.01)
    return False


def test_a_start_whose_own_thread_ended_with_the_lock_returns():
    lock, waiting, answer = Lock(), threading.Event(), []

    def starter() -> None:
        lock.take()
        waiting.set()
        answer.append(lock.wait_for_nothing(0.2))
        lock.give_back()

    thread = start(starter)
    waiting.wait(5)
    start(lock.take).join()  # it waits until the condition has the lock, and ends
    thread.join(0.5)
    assert thread.is_alive(), "the C library times out of this by itself; nothing is shown"
    assert is_freed(thread, 5.0)
    thread.join(5)
    assert answer == [TIMED_OUT]
    assert lock.take() == 0, "the lock works afterwards"


def test_a_wait_for_a_holder_that_lives_is_left_alone():
    lock = Lock()
    lock.take()
    thread = start(lock.take)
    assert not is_freed(thread, 0.3)
    assert thread.is_alive()
    lock.give_back()
    thread.join(5)
    assert not thread.is_alive()


def test_other_waits_are_left_alone():
    over = threading.Event()
    for wait in (over.wait, lambda: time.sleep(0.5)):
        thread = start(wait)
        assert not is_freed(thread, 0.2)
    over.set()
    assert not free_orphaned_wait(thread.native_id + 100_000), "no such thread"


def test_without_glibc_nothing_is_touched(monkeypatch):
    lock = Lock()
    start(lock.take).join()
    thread = start(lock.take)
    with monkeypatch.context() as elsewhere:
        elsewhere.setattr(orphaned, "_is_glibc", lambda: False)
        assert not is_freed(thread, 0.2)
    assert is_freed(thread, 5.0)
    thread.join(5)
