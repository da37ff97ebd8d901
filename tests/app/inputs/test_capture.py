"""Both ways of capture: every frame that the driver delivers is kept, or counted and placed.

The driver is the test. For the way through C it calls rtmixer's own C callback, so that what is tried is what
runs in PortAudio's thread.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import soundless  # registered by conftest.py
from hypothesis import given, settings
from hypothesis import strategies as st

from app.inputs.capture import CCapture, PythonCapture, StreamRequest, ring_frames

rtmixer = pytest.importorskip("rtmixer", exc_type=(ImportError, OSError))

REQUEST = StreamRequest(device=0, stream_channels=2, picks=(1, 2), rate_hz=48_000.0)


class CDriver:
    """Opens no device: the stream's memory is there, and the test is PortAudio's thread."""

    def __init__(self, monkeypatch_context, request: StreamRequest, frames: int) -> None:
        def opened(stream, kind, callback, userdata, samplerate, channels, **_):
            stream._samplerate, stream._latency, stream._channels = samplerate, 0.035, channels
            stream._samplesize = 4
            stream._callback_and_data = callback, userdata

        monkeypatch_context.setattr(rtmixer._sd._StreamBase, "__init__", opened)
        monkeypatch_context.setattr(rtmixer._sd._StreamBase, "start", lambda stream: None)
        self.capture = CCapture(None, request, frames)
        self._stream = self.capture._stream
        self._ffi = rtmixer._ffi
        self._time = self._ffi.new("double[3]", [1.0, 1.0, 1.0])

    def deliver(self, samples: np.ndarray, *, overflow: bool = False) -> None:
        block = np.array(samples, np.float32)
        _, state = self._stream._callback_and_data
        result = rtmixer._lib.callback(
            self._ffi.from_buffer(block),
            self._ffi.NULL,
            block.shape[0],
            self._ffi.cast("PaStreamCallbackTimeInfo*", self._time),
            2 if overflow else 0,  # paInputOverflow
            state,
        )
        assert result == 0
        block.fill(np.nan)


class PythonDriver:
    def __init__(self, _, request: StreamRequest, frames: int) -> None:
        sd = soundless.SoundDevice([soundless.Device("x", inputs=request.stream_channels)])
        self.capture = PythonCapture(sd, request, frames)
        self.deliver = sd.streams[0].deliver


both = pytest.mark.parametrize("driver_type", [CDriver, PythonDriver])


@pytest.fixture
def make(monkeypatch):
    return lambda driver_type, frames=1024, request=REQUEST: driver_type(monkeypatch, request, frames)


def counter(start: int, frames: int, channels: int = 2) -> np.ndarray:
    """Frame n holds n * 10 + channel, exact in float32."""
    return (np.arange(start, start + frames)[:, None] * 10 + np.arange(1, channels + 1)).astype(np.float32)


@both
def test_nothing_yet(make, driver_type):
    capture = make(driver_type).capture
    capture.start()
    samples, lost = capture.take(100)
    assert samples.shape == (0, 2)
    assert (lost, capture.delivered(), capture.overflows(), capture.finished) == (0, 0, 0, False)


@both
def test_blocks_of_any_size_go_round_the_ring(make, driver_type):
    driver = make(driver_type)
    at, out = 0, []
    for size in (1, 7, 480, 512, 63, 417, 1000, 24, 1024, 999):
        driver.deliver(counter(at, size))
        at += size
        samples, lost = driver.capture.take(10_000)
        assert lost == 0
        out.append(samples)
    np.testing.assert_array_equal(np.concatenate(out), counter(0, at))
    assert driver.capture.delivered() == at
    assert driver.capture.block_sizes() == (1, 1024)


@both
@pytest.mark.parametrize("picks", [(3,), (5, 6), (8, 1, 4), (1, 2, 3, 4, 5, 6, 7, 8)])
def test_channels_are_picked(make, driver_type, picks):
    request = StreamRequest(device=0, stream_channels=8, picks=picks, rate_hz=48_000.0)
    driver = make(driver_type, request=request)
    driver.deliver(counter(0, 700, 8))
    first, _ = driver.capture.take(10_000)
    driver.deliver(counter(700, 700, 8))  # round the end of the ring
    second, _ = driver.capture.take(10_000)
    columns = [pick - 1 for pick in picks]
    np.testing.assert_array_equal(np.concatenate((first, second)), counter(0, 1400, 8)[:, columns])


@both
def test_a_full_ring_loses_exactly_what_does_not_fit(make, driver_type):
    driver = make(driver_type)
    driver.deliver(counter(0, 1000))
    driver.deliver(counter(1000, 500))  # 24 fit
    driver.deliver(counter(1500, 500))  # none fits
    kept, lost = driver.capture.take(10_000)
    np.testing.assert_array_equal(kept, counter(0, 1024))
    assert lost == 0
    driver.capture.take(10_000)
    driver.deliver(counter(2000, 100))
    samples, lost = driver.capture.take(10_000)
    if not samples.shape[0]:  # C: the first of these starts the recording anew, the driver has to come by
        driver.deliver(counter(2100, 100))
        samples, lost = driver.capture.take(10_000)
    assert samples[0, 0] == (1024 + lost) * 10 + 1
    assert lost >= 976
    assert driver.capture.delivered() >= 2100


@both
@settings(deadline=None, max_examples=60)
@given(script=st.lists(st.tuples(st.integers(1, 700), st.integers(0, 900)), min_size=1, max_size=30))
def test_every_frame_is_kept_or_counted_and_placed(driver_type, script):
    with pytest.MonkeyPatch.context() as patch:
        driver = driver_type(patch, REQUEST, 1024)
        at = frame = 0
        # In the end as often as there can be gaps, because each of them ends a block.
        for size, want in [*script, *[(1, 5000)] * (len(script) + 4)]:
            driver.deliver(counter(at, size))
            at += size
            samples, lost = driver.capture.take(want)
            frame += lost
            if samples.shape[0]:
                np.testing.assert_array_equal(samples, counter(frame, samples.shape[0]))
            frame += samples.shape[0]
        assert frame == driver.capture.delivered() == at


@both
def test_flags_of_the_driver_are_counted(make, driver_type):
    driver = make(driver_type)
    driver.deliver(counter(0, 10), overflow=True)
    driver.deliver(counter(10, 10))
    driver.deliver(counter(20, 10), overflow=True)
    assert driver.capture.overflows() == 2


def test_more_gaps_than_the_list_holds_keep_the_sum_right(make):
    driver = make(PythonDriver, frames=2)
    driver.capture._MOST_GAPS = 4
    at = 0
    for _ in range(40):
        driver.deliver(counter(at, 3))
        at += 3
        driver.capture.take(1)
    total = 0
    for _ in range(200):
        samples, lost = driver.capture.take(10)
        total += lost + samples.shape[0]
    assert total <= at


@pytest.mark.parametrize(("rate_hz", "channels"), [(44_100, 1), (48_000, 2), (192_000, 32), (8_000, 1)])
def test_rings_are_powers_of_two_and_bounded(rate_hz, channels):
    frames = ring_frames(rate_hz, channels)
    assert frames & (frames - 1) == 0
    assert frames * channels * 4 <= 32 * 1024 * 1024
    assert frames / rate_hz >= 1.0


def test_a_different_rtmixer_does_not_leave_its_stream_open(monkeypatch):
    closed = []
    fake = SimpleNamespace(
        Recorder=lambda **_: SimpleNamespace(
            samplerate=48_000.0, latency=0.03, close=lambda ignore_errors: closed.append(1)
        ),
        RingBuffer=rtmixer.RingBuffer,
    )
    monkeypatch.setitem(__import__("sys").modules, "rtmixer", fake)
    with pytest.raises(AttributeError):
        CCapture(None, REQUEST, 1024)
    assert closed == [1]
