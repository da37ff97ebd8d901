"""What drivers print, and freeing a thread of theirs that does nothing else."""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import sys
import threading
from collections.abc import Iterator

import pytest

from app.inputs.stderr import StderrGag, captured_stderr, let_threads_be_freed, threads_freed

LINUX = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="ALSA is Linux's")
LINE = b"Expression 'ready' failed in 'src/hostapi/alsa/pa_linux_alsa.c', line: 3958\n"


def test_stderr_of_c_libraries_is_kept(capfd):
    with captured_stderr() as printed:
        os.write(2, b"ALSA lib: a reason\n")
        assert printed() == "ALSA lib: a reason"
    os.write(2, b"afterwards\n")
    assert capfd.readouterr().err == "afterwards\n"


def test_the_gag_goes_on_and_off(capfd):
    gag = StderrGag()
    gag.take_off()
    gag.put_on()
    gag.put_on()
    os.write(2, b"a flood\n")
    with captured_stderr() as printed:  # does not wait for ever for the gag
        assert printed() == ""
    gag.take_off()
    gag.take_off(for_good=True)
    gag.put_on()
    os.write(2, b"afterwards\n")
    assert capfd.readouterr().err == "afterwards\n"


@contextlib.contextmanager
def flood() -> Iterator[None]:
    """A thread that writes as PortAudio's does, already.

    It is no fixture: between the phases of a test pytest catches nothing, and it would write to the terminal.
    """
    begun, over = threading.Event(), threading.Event()

    def write() -> None:
        while not over.is_set():
            try:
                os.write(2, LINE)
                begun.set()
            except OSError:  # nobody reads it, or it is full: PortAudio does not care either
                over.wait(0.000_1)

    thread = threading.Thread(target=write)
    thread.start()
    try:
        assert begun.wait(20)
        yield
    finally:
        over.set()
        thread.join()


@LINUX
def test_a_flood_is_noticed_and_nothing_else_is(capfd):
    gag = StderrGag()
    try:
        with flood():
            assert not gag.is_flooded(), "not put on"
            gag.put_on()
            # One glance is short; on a busy machine the thread may not get its turn within it.
            assert any(gag.is_flooded() for _ in range(40))
        threading.Event().wait(0.05)
        assert not gag.is_flooded()
        os.write(2, b"something else\n")
    finally:
        gag.take_off()
    caught = set(capfd.readouterr().err.splitlines(keepends=True))
    assert caught == {LINE.decode()}, "nothing from after it was put on"


@LINUX
def test_without_a_descriptor_nothing_is_claimed(monkeypatch, capfd):
    gag = StderrGag()
    gag.put_on()
    monkeypatch.setattr(os, "pipe", lambda: (_ for _ in ()).throw(OSError(24, "Too many open files")))
    assert not gag.is_flooded()
    gag.free_threads(0.0)
    gag.take_off(for_good=True)
    os.write(2, b"afterwards\n")
    assert capfd.readouterr().err == "afterwards\n"


@LINUX
def test_freeing_leaves_all_as_it_was(capfd):
    libc = ctypes.CDLL(None)
    libc.signal.restype = ctypes.c_void_p
    libc.signal.argtypes = (ctypes.c_int, ctypes.c_void_p)
    before = libc.signal(signal.SIGPIPE, 1)
    with flood(), threads_freed():
        os.write(2, b"nobody reads this\n")
    assert libc.signal(signal.SIGPIPE, before) == 1, "ignored, as before"
    threading.Event().wait(0.05)
    caught = set(capfd.readouterr().err.splitlines(keepends=True))
    assert caught == {LINE.decode()}, "whole lines, from before"
    os.write(2, b"afterwards\n")
    assert capfd.readouterr().err == "afterwards\n"


@LINUX
def test_a_thread_that_starts_a_stream_lets_the_signal_through():
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGPIPE})
    let_threads_be_freed()
    assert signal.SIGPIPE not in signal.pthread_sigmask(signal.SIG_BLOCK, set())
