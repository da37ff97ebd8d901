"""DeviceSource over a PortAudio that the test plays: what is opened, what is told, and what is survived."""

from __future__ import annotations

import gc
import threading
import time

import numpy as np
import pytest
import soundless  # registered by conftest.py

from app.errors import DeviceError, SilentSystemError, UsageError
from app.inputs import device as device_module
from app.inputs import stream as stream_module
from app.inputs.capture import CCapture, PythonCapture
from app.inputs.device import DeviceSource
from app.inputs.portaudio import AudioControl
from app.inputs.spec import parse_spec


class Desk:
    """A source, and the driver behind it."""

    def __init__(self, audio, spec: str = "device:desk", **how) -> None:
        self.audio = audio
        self.source = DeviceSource(parse_spec(spec), audio=audio, **({"ways": (PythonCapture,)} | how))

    @property
    def sd(self):
        return self.audio.call(lambda sd: sd)

    @property
    def driver(self):
        return self.sd.streams[-1]

    def open(self) -> Desk:
        self.source.start()
        return self


@pytest.fixture
def desk(audio):
    made = []

    def make(*arguments, **how) -> Desk:
        made.append(Desk(audio, *arguments, **how))
        return made[-1]

    yield make
    for each in made:
        each.source.close()


def ramp(start: int, frames: int, channels: int = 2) -> np.ndarray:
    return (np.arange(start, start + frames)[:, None] * 10 + np.arange(1, channels + 1)).astype(np.float32)


def test_what_is_opened_is_told(desk):
    source = desk("device:ALSA/Rack eight:5,6").open().source
    info = source.info
    assert (info.spec, info.name) == ("device:ALSA/Rack eight:5,6", "Rack eight")
    assert (info.rate_hz, info.channels, info.live) == (96_000, 2, True)
    assert info.channel_names == ("Channel 5", "Channel 6")
    assert "100 ms of buffer" in info.note


def test_what_is_asked_of_portaudio(desk):
    arguments = desk("device:ALSA/Rack eight:5,6").open().driver.arguments
    assert arguments["dtype"] == "float32"
    assert arguments["channels"] == 6
    assert arguments["samplerate"] == 96_000
    assert arguments["clip_off"] is True
    assert arguments["dither_off"] is True
    assert arguments["latency"] >= 0.1


def test_samples_come_through_in_order(desk):
    it = desk().open()
    for start in range(0, 4800, 480):
        it.driver.deliver(ramp(start, 480))
    got = [it.source.read(960, 0.5) for _ in range(5)]
    np.testing.assert_array_equal(np.concatenate([block.samples for block in got]), ramp(0, 4800))
    assert all(block.active and not block.lost_frames for block in got)
    assert it.source.stats().delivered_frames == 4800
    assert it.source.stats().backend == "python"


def test_read_waits_for_what_was_asked_and_no_longer(desk):
    it = desk().open()
    began = time.monotonic()
    assert it.source.read(480, 0.05).samples.shape == (0, 2)
    assert 0.04 < time.monotonic() - began < 1.0
    timer = threading.Timer(0.05, lambda: it.driver.deliver(ramp(0, 480)))
    timer.start()
    assert it.source.read(480, 5.0).samples.shape == (480, 2)
    assert time.monotonic() - began < 3.0
    timer.join()


@pytest.mark.parametrize("frames", [9600, 1440])
def test_whoever_asks_for_much_looks_seldom_and_gets_it_all(desk, monkeypatch, frames):
    """Two hundred milliseconds in four naps or so, and thirty milliseconds in naps of ten."""
    it = desk().open()
    over, naps = threading.Event(), []

    def drive() -> None:
        began, number = time.monotonic(), 0
        while not over.is_set():
            number += 1
            over.wait(max(0.0, began + number * 0.005 - time.monotonic()))
            it.driver.deliver(ramp((number - 1) * 240, 240))

    wait = it.source._wake.wait
    driver = threading.Thread(target=drive)
    driver.start()
    try:
        it.source.read(frames, 1.0)
        monkeypatch.setattr(it.source._wake, "wait", lambda s: naps.append(s) or wait(s))
        blocks = [it.source.read(frames, 1.0) for _ in range(28_800 // frames // 3)]
    finally:
        over.set()
        driver.join()
    got = np.concatenate([block.samples for block in blocks])
    np.testing.assert_array_equal(np.diff(got[:, 0]), 10)
    assert got.shape[0] == 9600 // frames * frames
    long = sum(nap > 0.015 for nap in naps)
    assert (long > 0) == (frames == 9600)
    assert all(nap <= 0.05 for nap in naps)


def test_closing_is_heard_in_a_long_nap(desk):
    it = desk().open()
    it.driver.deliver(ramp(0, 240))
    timer = threading.Timer(0.02, it.source.close)
    timer.start()
    began = time.monotonic()
    it.source.read(48_000, 5.0)
    timer.join()
    assert time.monotonic() - began < 2.0


def test_waiting_costs_next_to_nothing(desk):
    it = desk().open()
    cpu_s = time.thread_time()
    it.source.read(480, 0.3)
    assert time.thread_time() - cpu_s < 0.1


def test_memory_that_is_given_belongs_to_the_reader(desk):
    it = desk().open()
    it.driver.deliver(ramp(0, 480))
    first = it.source.read(480, 0.5).samples
    kept = first.copy()
    for _ in range(600):  # round the ring
        it.driver.deliver(np.zeros((480, 2), np.float32))
        it.source.read(480, 0.5)
    np.testing.assert_array_equal(first, kept)


def test_an_asked_rate_and_one_that_the_device_lacks(desk):
    source = desk("device:hw:1,0:1", rate_hz=48_000).open().source
    assert source.info.rate_hz == 48_000
    assert "not at the device's own 44.1 kHz" in source.info.note
    with pytest.raises(DeviceError, match=r"ALSA/hw:1,0 does not work at 192 kHz; its own rate is 44\.1 kHz"):
        desk("device:hw:1,0:1", rate_hz=192_000).open()


def test_a_sound_server_that_is_not_at_48_khz_is_opened_all_the_same(desk):
    it = desk("device:pulse")
    it.sd.devices.append(soundless.Device("pulse", rate_hz=44_100.0))
    info = it.open().source.info
    assert info.rate_hz == 44_100
    assert "A sound server delivers this input" in info.note


@pytest.mark.parametrize(
    ("spec", "error", "words"),
    [
        ("device:desk:9", DeviceError, "There is no channel 9 on .*: it has 2 channels"),
        ("device:harmonium", DeviceError, "No sound input is called"),
        ("device:desk:0", UsageError, "Channels count from 1"),
    ],
)
def test_refusals_are_one_sentence(desk, spec, error, words):
    with pytest.raises(error, match=words) as caught:
        desk(spec).open()
    assert "\n" not in str(caught.value)


def test_a_device_that_another_program_holds(desk):
    it = desk()
    it.sd.taken = True
    with pytest.raises(
        DeviceError, match=r"could not be opened: Device unavailable\. Another program"
    ) as caught:
        it.open()
    assert "-9985" in caught.value.detail
    it.sd.taken = False
    it.open()


def test_a_driver_that_opens_all_channels_or_none(desk):
    it = desk("device:ALSA/Rack eight:2")
    it.sd.list[2].only_all_channels = True
    it.sd.devices[2].only_all_channels = True
    it.open()
    assert it.driver.channels == 8
    it.driver.deliver(ramp(0, 480, 8))
    np.testing.assert_array_equal(it.source.read(480, 0.5).samples[:, 0], ramp(0, 480, 8)[:, 1])


def test_the_shared_mode_of_windows_may_convert(desk):
    it = desk("device:Line", rate_hz=44_100)
    line = soundless.Device("Line", host_api="Windows WASAPI", rates=())

    def opens_when_converting(sd):
        sd.devices.append(line)
        real = soundless.InputStream

        def open_stream(**arguments):
            if arguments["extra_settings"] is not None and arguments["extra_settings"].auto_convert:
                line.rates = (44_100.0,)
            return real(sd, **arguments)

        sd.InputStream = open_stream

    it.audio.call(opens_when_converting)
    assert it.open().source.info.rate_hz == 44_100
    assert "the system may convert" in it.source.info.note


def test_without_rtmixer_the_python_way_is_taken_and_told(desk, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "rtmixer", None)
    it = desk(ways=(CCapture, PythonCapture)).open()
    assert it.source.stats().backend == "python"
    assert "slower way" in it.source.info.note


def test_no_way_at_all_is_an_error_not_a_crash(desk, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "rtmixer", None)
    with pytest.raises(DeviceError, match="could not be opened"):
        desk(ways=(CCapture,)).open()


def test_unplugged_gives_what_is_left_and_then_says_so(desk):
    it = desk().open()
    it.driver.deliver(ramp(0, 700))
    it.driver.finish()
    block = it.source.read(480, 0.5)
    assert (block.samples.shape[0], block.active) == (480, True)
    assert it.source.read(480, 0.5).samples.shape[0] == 220
    began = time.monotonic()
    block = it.source.read(480, 5.0)
    assert (block.samples.shape[0], block.active) == (0, False)
    assert time.monotonic() - began < 0.5
    assert not it.source.read(480, 0.0).active


def test_a_stream_that_portaudio_calls_inactive_is_gone(desk):
    it = desk().open()
    it.driver.deliver(ramp(0, 480))
    it.source.read(480, 0.5)
    it.driver.active = False  # without a word
    began = time.monotonic()
    while it.source.read(480, 0.05).active:
        assert time.monotonic() - began < 2.0
    assert time.monotonic() - began < 0.5


def test_a_stream_that_is_active_and_silent_is_gone_too(desk, capfd):
    it = desk().open()
    it.driver.deliver(ramp(0, 480))
    it.source.read(480, 0.5)
    began = time.monotonic()
    while it.source.read(480, 0.05).active:
        assert time.monotonic() - began < 3.0
    assert 0.4 < time.monotonic() - began < 1.5
    it.source.close()
    __import__("os").write(2, b"stderr is back\n")
    assert capfd.readouterr().err == "stderr is back\n"


def test_a_stream_that_never_delivers_is_given_up(desk, monkeypatch):
    monkeypatch.setattr(stream_module, "_NEVER_S", 0.3)
    it = desk().open()
    began = time.monotonic()
    while it.source.read(480, 0.05).active:
        assert time.monotonic() - began < 3.0
    assert time.monotonic() - began > 0.2


def test_a_reader_that_was_away_is_not_told_that_the_input_is_gone(desk, monkeypatch):
    it = desk().open()
    it.driver.deliver(ramp(0, 480))
    it.source.read(480, 0.5)
    real = time.monotonic
    monkeypatch.setattr(time, "monotonic", lambda: real() + 3600.0)  # the machine slept
    assert it.source.read(480, 0.0).active


def test_plugged_in_again_it_opens_again(desk):
    it = desk().open()
    sd = it.sd
    gone = sd.devices.pop(0)  # the other indices move up
    it.driver.finish()
    assert not it.source.read(480, 0.0).active
    it.source.close()
    with pytest.raises(DeviceError, match=r"No sound input is called “ALSA/Desk pair \(hw:0,0\)”"):
        it.source.start()
    sd.devices.append(gone)
    it.source.start()
    assert it.source.info.name == "Desk pair (hw:0,0)"
    it.driver.deliver(ramp(0, 480))
    assert it.source.read(480, 0.5).samples.shape[0] == 480


def test_two_of_the_same_kind_are_told_apart_by_their_numbers(desk):
    it = desk("device:5:2")
    it.sd.devices.append(soundless.Device("Desk pair (hw:0,0)"))
    assert it.open().source.info.spec == "device:5:2"


def test_one_of_two_of_the_same_kind_is_not_mistaken_for_the_other(desk):
    it = desk("device:5:2")
    it.sd.devices.append(soundless.Device("Desk pair (hw:0,0)"))
    it.open()
    gone = it.sd.devices.pop()
    it.driver.finish()
    it.source.close()
    it.sd.devices.append(soundless.Device("Another (hw:2,0)"))  # it has the number now
    for _ in range(2):
        with pytest.raises(DeviceError, match="No sound input is called “ALSA/Desk pair"):
            it.source.start()
    it.sd.devices.insert(5, gone)
    assert it.open().source.info.spec == "device:5:2"
    assert it.source.info.name == "Desk pair (hw:0,0)"


def test_behind_a_sound_server_the_same_rate_is_opened_again_and_the_device_is_doubted(desk):
    it = desk("device:pulse")
    server = soundless.Device("pulse", rate_hz=44_100.0)
    it.sd.devices.append(server)
    assert it.open().source.info.rate_hz == 44_100
    assert it.source.info.doubt == ""
    server.rates = (48_000.0,)  # it would have taken this, had it come back like that at first
    it.driver.finish()
    it.source.close()
    assert it.open().source.info.rate_hz == 44_100
    assert "may be another device" in it.source.info.doubt


def test_a_loose_name_means_the_same_device_ever_after(desk):
    it = desk("device:default:8").open()
    it.sd.default = "hw:1,0"
    it.source.start()
    assert it.source.info.spec == "device:ALSA/Rack eight:8"


def test_a_gone_device_does_not_make_its_reader_turn_in_circles(desk):
    it = desk().open()
    it.driver.finish()
    began, reads = time.monotonic(), 0
    while time.monotonic() - began < 0.3:
        it.source.read(480, 0.1)
        reads += 1
    assert reads < 8


def test_a_full_ring_is_placed_exactly(desk):
    class Small(PythonCapture):
        def __init__(self, sd, request):
            super().__init__(sd, request, 1024)

    it = desk(ways=(Small,)).open()
    for start in range(0, 2400, 480):
        it.driver.deliver(ramp(start, 480))
    first = it.source.read(5000, 0.05)
    np.testing.assert_array_equal(first.samples, ramp(0, 1024))
    it.driver.deliver(ramp(2400, 480))
    second = it.source.read(480, 0.5)
    assert second.lost_frames == 2400 - 1024
    np.testing.assert_array_equal(second.samples, ramp(2400, 480))
    stats = it.source.stats()
    assert (stats.lost_frames, stats.estimated_lost_frames, stats.gaps) == (1376, 0, 1)


def test_what_the_driver_lost_is_sized_by_the_clock_and_placed(desk):
    """A driver in real time that skips 150 ms once, and says so."""
    it = desk().open()
    stop, lost_at = threading.Event(), []

    def drive():
        began, number = time.monotonic(), 0
        while not stop.is_set():
            stop.wait(max(0.0, began + number * 0.01 - time.monotonic()))
            number += 1
            if 80 <= number < 95:
                lost_at.append(number)
                continue
            it.driver.deliver(ramp((number - 1) * 480, 480), overflow=number == 95)

    driver = threading.Thread(target=drive)
    driver.start()
    try:
        frame, gaps = 0, []
        deadline = time.monotonic() + 6
        while not gaps and time.monotonic() < deadline:
            block = it.source.read(480, 0.1)
            if block.lost_frames:
                gaps.append((frame, block.lost_frames, int(block.samples[0, 0]) // 10))
            frame += block.samples.shape[0] + block.lost_frames
    finally:
        stop.set()
        driver.join()
    assert len(gaps) == 1
    place, lost, next_frame = gaps[0]
    assert place == 79 * 480
    assert next_frame == 94 * 480
    assert lost == pytest.approx(15 * 480, abs=1200)  # a scheduler with other work in between
    assert it.source.stats().overflows == 1
    assert it.source.stats().estimated_lost_frames == lost


def test_closing_wakes_the_reader_and_may_be_repeated(desk):
    it = desk().open()
    timer = threading.Timer(0.05, it.source.close)
    timer.start()
    began = time.monotonic()
    it.source.read(48_000, 30.0)
    assert time.monotonic() - began < 5.0
    timer.join()
    it.source.close()
    assert not it.source.read(480, 0.0).active
    assert it.driver.closed
    assert it.source.stats().backend == "python"


def test_closing_does_not_wait_for_a_driver_that_hangs(desk, monkeypatch):
    it = desk().open()
    hold = threading.Event()
    it.sd.on_call = lambda what: what == "stop" and hold.wait(20)
    monkeypatch.setattr(device_module, "CALL_LIMIT_S", 0.2)
    began = time.monotonic()
    it.source.close()
    assert time.monotonic() - began < 2.0
    hold.set()


def test_a_closing_that_has_to_wait_is_carried_out_later(desk, monkeypatch):
    it = desk().open()
    driver, hold = it.driver, threading.Event()
    monkeypatch.setattr(device_module, "CALL_LIMIT_S", 0.05)
    it.audio.post(lambda _: hold.wait(20))  # another command takes long
    it.source.close()
    assert not driver.closed
    hold.set()
    it.audio.call(lambda _: None)
    assert driver.closed


def test_a_device_that_opens_too_late_is_closed_again(desk, monkeypatch):
    it = desk()
    sd = it.sd
    hold = threading.Event()
    sd.on_call = lambda what: what == "start" and hold.wait(20)
    defaults = AudioControl.call.__kwdefaults__
    monkeypatch.setattr(AudioControl.call, "__kwdefaults__", defaults | {"limit_s": 0.2})
    with pytest.raises(SilentSystemError, match="while the input was opened"):
        it.source.start()
    monkeypatch.undo()
    hold.set()
    it.audio.call(lambda _: None)
    it.audio.call(lambda _: None)
    assert sd.streams[-1].closed


def test_a_stream_that_cannot_be_started_is_closed(desk):
    it = desk()
    sd = it.sd

    def refuse(what):
        if what == "start":
            raise soundless.PortAudioError("Error starting stream: Host error [PaErrorCode -9999]", -9999)

    sd.on_call = refuse
    with pytest.raises(DeviceError, match="Host error"):
        it.source.start()
    assert all(stream.closed for stream in sd.streams)


def test_nothing_is_collected_while_it_runs(desk):
    it = desk().open()
    gc.collect()
    it.driver.deliver(ramp(0, 480))
    assert it.source.read(480, 0.5).samples.shape[0] == 480


def test_two_hundred_openings_leave_nothing_behind(desk, audio):
    it = desk()
    for _ in range(200):
        it.source.start()
    it.source.close()
    assert len(it.sd.streams) == 200
    assert all(stream.closed for stream in it.sd.streams)
    assert audio._open_streams == {}


def test_info_before_the_start_is_a_mistake(audio):
    with pytest.raises(RuntimeError, match="start"):
        _ = DeviceSource(parse_spec("device:desk"), audio=audio).info


def test_a_silent_stream_is_aborted_and_one_that_delivers_is_stopped(desk):
    """Stopping waits for a thread of PortAudio's, which may turn in circles after a sound server died."""
    called: list[str] = []
    it = desk().open()
    it.sd.on_call = called.append
    it.driver.deliver(ramp(0, 480))
    it.source.read(480, 0.5)
    it.source.close()
    assert "abort" in called
    assert "stop" not in called
    called.clear()
    it.open()
    over = threading.Event()

    def deliver() -> None:
        while not over.wait(0.005):
            stream.deliver(ramp(0, 240))

    stream = it.driver
    driver = threading.Thread(target=deliver)
    driver.start()
    it.source.read(480, 0.5)
    it.source.close()
    over.set()
    driver.join()
    assert "stop" in called
    assert "abort" not in called
