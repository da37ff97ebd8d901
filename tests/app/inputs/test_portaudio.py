"""The audio-control thread: one owner of PortAudio that never holds up anybody."""

from __future__ import annotations

import ctypes
import sys
import threading
import time

import pytest

from app.errors import DeviceError, SilentSystemError
from app.inputs import portaudio
from app.inputs.portaudio import AudioControl


def test_everything_runs_in_one_thread_that_is_not_ours(audio):
    threads = {audio.call(lambda sd: threading.get_ident()) for _ in range(5)}
    callers = [threading.Thread(target=lambda: audio.call(lambda sd: sd.query_devices())) for _ in range(4)]
    for caller in callers:
        caller.start()
    for caller in callers:
        caller.join()
    assert len(threads) == 1
    assert audio.loaded[0].threads == threads
    assert threading.get_ident() not in threads


def test_errors_come_to_the_caller_and_the_thread_goes_on(audio):
    with pytest.raises(ZeroDivisionError):
        audio.call(lambda sd: 1 / 0)
    assert audio.call(lambda sd: "still here") == "still here"


def test_calls_from_inside_do_not_wait_for_themselves(audio):
    assert audio.call(lambda sd: audio.call(lambda inner: inner is sd)) is True


def test_a_driver_that_hangs_costs_the_limit_and_no_more(audio):
    audio.call(lambda sd: None)
    hold = threading.Event()
    began = time.monotonic()
    with pytest.raises(DeviceError, match=r"has not answered for 0\.1 seconds"):
        audio.call(lambda sd: hold.wait(10), limit_s=0.1)
    with pytest.raises(DeviceError, match="has not answered"):
        audio.call(lambda sd: "behind it", limit_s=0.1)
    assert time.monotonic() - began < 2
    hold.set()
    assert audio.call(lambda sd: "back") == "back"


def test_starting_portaudio_is_not_counted_as_the_call():
    slow, hold = threading.Event(), threading.Event()
    control = AudioControl(lambda: slow.wait(0.5) or object())
    assert control.call(lambda sd: "answered", limit_s=0.2) == "answered"
    began = time.monotonic()
    with pytest.raises(SilentSystemError):
        control.call(lambda sd: hold.wait(10), limit_s=0.2)
    assert time.monotonic() - began < 2
    hold.set()
    assert control.shutdown()


def test_a_wait_for_a_lock_that_nobody_will_let_go_is_ended(audio, caplog):
    if not sys.platform.startswith("linux"):
        pytest.skip("glibc's locks")
    c, mutex = ctypes.CDLL(None), ctypes.create_string_buffer(64)
    dead = threading.Thread(target=lambda: c.pthread_mutex_lock(mutex))
    dead.start()
    dead.join()
    assert audio.call(lambda sd: c.pthread_mutex_lock(mutex)) == 0
    assert "had ended" in caplog.text


def test_what_comes_too_late_is_put_right_in_the_control_thread(audio):
    own = audio.call(lambda sd: threading.get_ident())
    hold, closed = threading.Event(), threading.Event()
    closed_by = []

    def slow_open(sd):
        hold.wait(10)
        return "stream"

    def close(stream):
        closed_by.append((stream, threading.get_ident()))
        closed.set()

    with pytest.raises(DeviceError):
        audio.call(slow_open, limit_s=0.05, undo=close)
    hold.set()
    assert closed.wait(5)
    assert closed_by == [("stream", own)]


def test_a_call_that_never_began_is_not_made_later(audio):
    audio.call(lambda sd: None)
    hold = threading.Event()
    ran = []
    busy = audio.post(lambda sd: hold.wait(10))
    with pytest.raises(DeviceError):
        audio.call(lambda sd: ran.append(1), limit_s=0.05)
    hold.set()
    busy.result(5)
    audio.call(lambda sd: None)
    assert ran == []


def test_a_time_out_of_the_function_itself_is_passed_on(audio):
    def times_out(sd):
        raise TimeoutError("of its own")

    with pytest.raises(TimeoutError, match="of its own"):
        audio.call(times_out)


def test_missing_portaudio_is_one_sentence_with_advice():
    def load():
        raise OSError("PortAudio library not found")

    def loads_like_the_real_one():
        try:
            load()
        except OSError as error:
            from app.words import inputs as words

            raise DeviceError(words.no_portaudio("Linux"), str(error)) from error

    control = AudioControl(loads_like_the_real_one)
    for _ in range(2):  # it is tried again: it may have been installed meanwhile
        with pytest.raises(DeviceError, match="apt install libportaudio2") as caught:
            control.call(lambda sd: None)
    assert caught.value.detail == "PortAudio library not found"
    assert control.shutdown()


def test_shutdown_without_a_call_and_twice():
    control = AudioControl(lambda: None)
    assert control.shutdown()
    assert control.shutdown()
    with pytest.raises(DeviceError, match="closing"):
        control.call(lambda sd: None)


def test_shutdown_does_not_wait_for_a_driver_that_hangs():
    control = AudioControl(object)
    hold = threading.Event()
    control.post(lambda sd: hold.wait(10))
    assert not control.shutdown(limit_s=0.1)
    hold.set()


def test_shutdown_waits_no_longer_for_a_driver_that_has_hung_for_long():
    control = AudioControl(object)
    hold = threading.Event()
    with pytest.raises(SilentSystemError):
        control.call(lambda sd: hold.wait(20), limit_s=0.6)
    began = time.monotonic()
    assert not control.shutdown(limit_s=0.6)
    assert time.monotonic() - began < 0.5
    hold.set()


def test_relisting_waits_until_no_stream_is_open(audio):
    stream = object()

    def with_an_open_stream(sd):
        audio.stream_opened(stream)
        sd.devices.append(sd.devices[0])
        return audio.relist(older_than_s=0), len(sd.query_devices())

    assert audio.call(with_an_open_stream) == (False, 5)
    audio.call(lambda sd: audio.stream_closed(stream))
    assert audio.call(lambda sd: len(sd.query_devices())) == 6, (
        "the wish was kept until the stream was closed"
    )


def test_relisting_that_fails_half_way_is_made_good_by_the_next_call(audio):
    def broken(sd):
        def fail():
            raise sd.PortAudioError("no host API", -9999)

        sd._initialize = fail
        audio.relist(older_than_s=0)

    with pytest.raises(DeviceError, match="could not be started"):
        audio.call(broken)
    assert audio.call(lambda sd: sd.initialized) == 1
    assert len(audio.loaded) == 2


def test_relisting_without_the_private_functions_says_that_it_did_not():
    control = AudioControl(object)
    assert control.call(lambda sd: control.relist(older_than_s=-1)) is False
    control._sd = None  # nothing to terminate
    assert control.shutdown()


def test_sounddevice_still_has_what_relisting_needs():
    pytest.importorskip("sounddevice", exc_type=OSError)
    code = """
import sounddevice as sd
before = sd._initialized
sd._terminate(); sd._initialize()
assert sd._initialized == before == 1
assert callable(sd._exit_handler)
"""
    import subprocess
    import sys

    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


def test_the_control_of_the_process_is_one():
    assert portaudio.control() is portaudio.control()
