"""DeviceSource on a real sound server: every sample arrives, and what does not is counted and placed."""

from __future__ import annotations

import json
import subprocess
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytestmark = pytest.mark.live

RATE_HZ = 48_000
RECORDER = str(Path(__file__).with_name("recorder.py"))
BOTH_WAYS = pytest.mark.parametrize("way", ["c", "python"])


def counter(frames: int) -> np.ndarray:
    """Every frame tells its own number, exactly: left counts up from 1, right is the negative."""
    count = np.arange(1, frames + 1, dtype=np.float32) / np.float32(2**23)
    return np.stack((count, -count), axis=1)


def frame_numbers(samples: np.ndarray) -> np.ndarray:
    """What :func:`counter` numbered, 0 for silence."""
    return np.rint(samples[:, 0].astype(np.float64) * 2**23).astype(np.int64)


class Recording:
    """A recorder process, and what it wrote."""

    def __init__(self, server: Any, folder: Path, spec: str, *arguments: str) -> None:
        self._server = server
        self._to = folder / "recorded"
        self._process: subprocess.Popen[str] = server.start(RECORDER, spec, *arguments, "--to", str(self._to))

    def wait_for_line(self, line: str, timeout_s: float = 20.0) -> None:
        """Wait until it says something."""
        assert self._process.stdout is not None
        limit = threading.Timer(timeout_s, self._process.kill)  # ends the wait below
        limit.start()
        try:
            for text in self._process.stdout:
                if text.strip() == line:
                    return
        finally:
            limit.cancel()
        _, errors = self._process.communicate(timeout=10)
        raise AssertionError(f"it ended without saying {line}: {errors}")

    def finish(self) -> None:
        """Have it end now and write down what it has."""
        self._process.terminate()

    def result(self) -> tuple[np.ndarray, dict[str, Any]]:
        """Wait for its end."""
        _, errors = self._process.communicate(timeout=60)
        assert self._process.returncode == 0, errors
        return np.load(self._to.with_suffix(".npy")), json.loads(self._to.with_suffix(".json").read_text())


@pytest.fixture
def record(sound_server, tmp_path):
    def start(spec: str, *arguments: str) -> Recording:
        recording = Recording(sound_server, tmp_path, spec, *arguments)
        recording.wait_for_line("recording")
        return recording

    return start


@BOTH_WAYS
def test_every_sample_arrives_as_it_was_played(sound_server, record, way):
    frames = 20 * RATE_HZ if way == "c" else 5 * RATE_HZ
    recording = record(
        "device:pulse:1,2", "--way", way, "--rate", str(RATE_HZ), "--seconds", str(frames / RATE_HZ + 2.5)
    )
    sound_server.play_samples(counter(frames))
    samples, result = recording.result()
    start = int(np.flatnonzero(samples[:, 0])[0])
    np.testing.assert_array_equal(samples[start : start + frames], counter(frames))
    assert result["gaps"] == []
    assert result["stats"]["lost_frames"] == 0
    assert result["stats"]["overflows"] == 0
    assert result["stats"]["backend"] == {"c": "rtmixer", "python": "python"}[way]
    assert (result["rate_hz"], result["spec"]) == (RATE_HZ, "device:ALSA/pulse:1,2")
    assert result["largest_read"] == 480
    assert abs(result["stats"]["delivered_frames"] / result["took_s"] / RATE_HZ - 1) < 0.05
    assert result["cpu_share"] < 0.5, "waiting must not spin"


def test_a_busy_interpreter_loses_nothing(sound_server, record):
    """Another thread keeps the interpreter for 50 ms at a time, while the callback in C goes on."""
    frames = 5 * RATE_HZ
    recording = record("device:pulse:1,2", "--rate", str(RATE_HZ), "--seconds", "60", "--busy")
    sound_server.play_samples(counter(frames), wait=True)
    recording.finish()
    samples, result = recording.result()
    start = int(np.flatnonzero(samples[:, 0])[0])
    np.testing.assert_array_equal(samples[start : start + frames], counter(frames))
    assert result["stats"]["lost_frames"] == 0


@BOTH_WAYS
def test_channels_are_picked_in_the_order_asked_for(sound_server, record, way):
    # At the rate that is opened when nobody asks for one.
    recording = record("device:pulse:2,1", "--way", way, "--seconds", "2.5")
    sound_server.play_samples(counter(RATE_HZ // 2))
    samples, _ = recording.result()
    start = int(np.flatnonzero(samples[:, 0])[0])
    np.testing.assert_array_equal(samples[start : start + RATE_HZ // 2], counter(RATE_HZ // 2)[:, ::-1])


@BOTH_WAYS
def test_one_channel_alone(sound_server, record, way):
    recording = record("device:pulse:2", "--way", way, "--rate", str(RATE_HZ), "--seconds", "2.5")
    sound_server.play_samples(counter(RATE_HZ // 2))
    samples, result = recording.result()
    assert result["channels"] == 1
    # PulseAudio keeps the right one apart only in stereo, which is what asking for channel 2 opens.
    start = int(np.flatnonzero(samples[:, 0])[0])
    np.testing.assert_array_equal(samples[start : start + RATE_HZ // 2, 0], counter(RATE_HZ // 2)[:, 1])


@BOTH_WAYS
def test_a_reader_that_stays_away_too_long_learns_exactly_what_it_missed(sound_server, record, way):
    """A ring of 8192 frames (171 ms), and a reader that is away for 400 ms, three times."""
    frames = 4 * RATE_HZ
    recording = record(
        *("device:pulse:1,2", "--way", way, "--rate", str(RATE_HZ), "--seconds", "6", "--ring", "8192"),
        *("--away-at", "1.5", "2.3", "3.1", "--away-for", "0.4"),
    )
    sound_server.play_samples(counter(frames))
    samples, result = recording.result()
    numbers = frame_numbers(samples)
    steps = np.diff(numbers)
    inside = (numbers[:-1] > 0) & (numbers[1:] > 0)
    breaks = np.flatnonzero(inside & (steps != 1))
    missed = [int(steps[at]) - 1 for at in breaks]
    assert len(breaks) >= 3
    # Gaps beside what was played say nothing here: a busy machine may add some.
    ends = np.flatnonzero(numbers)
    lost_before = [sum(lost for _, lost in result["gaps"][:index]) for index in range(len(result["gaps"]))]
    gaps = [
        (end, lost)
        for (end, lost), before in zip(result["gaps"], lost_before, strict=True)
        if ends[0] < end - lost - before <= ends[-1]
    ]
    assert [lost for _, lost in gaps] == missed
    # Placed: the frames received before a gap, and what was lost up to its end, add up to its end.
    earlier = sum(lost for end, lost in result["gaps"] if end < gaps[0][0])
    so_far = earlier + np.cumsum(missed)
    assert [end for end, _ in gaps] == [
        int(at) + 1 + int(lost) for at, lost in zip(breaks, so_far, strict=True)
    ]
    assert result["stats"]["lost_frames"] == sum(lost for _, lost in result["gaps"])
    assert result["stats"]["estimated_lost_frames"] == 0
    assert result["stats"]["gaps"] == len(result["gaps"])


@BOTH_WAYS
def test_pulling_the_input_away_is_noticed_within_half_a_second(sound_server, record, way):
    recording = record("device:pulse:1,2", "--way", way, "--rate", str(RATE_HZ), "--seconds", "10")
    sound_server.unload_sink()
    pulled_s = time.time()
    _, result = recording.result()
    assert result["inactive_s"] is not None
    assert result["inactive_s"] - pulled_s < 0.5
    assert result["closing_s"] < 3.0
    assert result["stats"]["delivered_frames"] > 0


def test_killing_the_server_is_noticed_too(sound_server, record):
    recording = record("device:pulse:1,2", "--rate", str(RATE_HZ), "--seconds", "10")
    sound_server.kill()
    killed_s = time.time()
    _, result = recording.result()
    assert result["inactive_s"] - killed_s < 1.0


def test_plugged_in_again_it_comes_back_by_itself(sound_server, record):
    recording = record("device:pulse:1,2", "--rate", str(RATE_HZ), "--seconds", "60", "--reopen")
    began_s = time.monotonic()
    for _ in range(3):
        sound_server.unload_sink()
        recording.wait_for_line("gone")
        sound_server.load_sink()  # waits until the sink delivers
        recording.wait_for_line("back", timeout_s=5.0)
    sound_server.play_samples(counter(RATE_HZ // 2), wait=True)
    recording.finish()
    took_s = time.monotonic() - began_s
    samples, result = recording.result()
    numbers = frame_numbers(samples)
    start = int(np.flatnonzero(numbers)[0])
    np.testing.assert_array_equal(numbers[start : start + RATE_HZ // 2], np.arange(1, RATE_HZ // 2 + 1))
    # Three times away, and what was missed is known: the frames stay in step with the clock.
    assert result["stats"]["gaps"] >= 3
    assert result["frames_with_gaps"] / RATE_HZ == pytest.approx(took_s, abs=0.5)


def test_a_server_that_dies_before_it_delivered_anything_is_survived(sound_server, record):
    """PortAudio's thread may then turn in circles for ever; a sink that nobody plays into delivers late."""
    recording = record("device:pulse:1,2", "--rate", str(RATE_HZ), "--seconds", "60", "--reopen")
    for _ in range(3):
        sound_server.kill()
        sound_server.launch(with_sink=False)
        sound_server.pactl(
            "load-module", "module-null-sink", "sink_name=stranger", "rate=44100", "channels=1"
        )
        sound_server.wait_for_recorder()
        time.sleep(0.3)  # it has started, and delivers after two seconds
    sound_server.kill()
    sound_server.launch()
    there_s = time.monotonic()
    recording.wait_for_line("back")
    assert time.monotonic() - there_s < 5.0  # a busy machine; the bench asks for two
    sound_server.play_samples(counter(RATE_HZ // 2), wait=True)
    recording.finish()
    samples, result = recording.result()
    numbers = frame_numbers(samples)
    start = int(np.flatnonzero(numbers == 1)[0])
    np.testing.assert_array_equal(numbers[start : start + RATE_HZ // 2], np.arange(1, RATE_HZ // 2 + 1))
    assert result["spec"] == "device:ALSA/pulse:1,2"
    assert result["closing_s"] < 1.0


ENDS = """
import sys, time
from app.inputs.device import DeviceSource
from app.inputs.portaudio import control
from app.inputs.spec import parse_spec
source = DeviceSource(parse_spec("device:pulse"))
source.start()
assert source.read(4800, 2.0).samples.shape[0]
if sys.argv[1] == "with a driver that hangs":
    control().post(lambda sd: time.sleep(60))
    time.sleep(0.1)
sys.exit(3)
"""


@pytest.mark.parametrize(("how", "limit_s"), [("as it is", 5.0), ("with a driver that hangs", 9.0)])
def test_the_program_ends_with_a_stream_still_open(sound_server, how, limit_s):
    began_s = time.monotonic()
    done = sound_server.run("-c", ENDS, how)
    assert done.returncode == 3, done.stderr
    assert time.monotonic() - began_s < limit_s


def test_a_rate_that_the_device_lacks(sound_server):
    done = sound_server.run(RECORDER, "device:pulse", "--rate", "3000000")
    assert done.returncode != 0
    assert (
        done.stderr.strip()
        .splitlines()[-1]
        .endswith("ALSA/pulse does not work at 3000 kHz; its own rate is 48 kHz.")
    )


def test_a_channel_that_the_device_lacks(sound_server):
    done = sound_server.run(RECORDER, "device:pulse:33")
    assert (
        done.stderr.strip()
        .splitlines()[-1]
        .endswith("There is no channel 33 on ALSA/pulse: it has 32 channels.")
    )


def test_no_such_device(sound_server):
    done = sound_server.run(RECORDER, "device:harmonium")
    assert "No sound input is called “harmonium”" in done.stderr.strip().splitlines()[-1]


def test_the_list_of_inputs(sound_server):
    done = sound_server.run("-m", "app.cli", "inputs", "--json")
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    pulse = next(device for device in document["devices"] if device["name"] == "pulse")
    assert (pulse["host_api"], pulse["channels"]) == ("ALSA", 32)
    assert pulse["spec"] == "device:ALSA/pulse:1,2"
    assert (pulse["default_rate_hz"], pulse["via_server"]) == (48_000.0, True)
    assert document["problem"] is None
    report = sound_server.run("-m", "app.cli", "inputs", "--report")
    assert "Input 0: ALSA/pulse, 32 channels" in report.stdout
    assert str(sound_server.home) not in report.stdout


LISTS = """
import subprocess, sys
from app.inputs.device import DeviceSource
from app.inputs.devices import list_devices
from app.inputs.portaudio import control
from app.inputs.spec import parse_spec
source = DeviceSource(parse_spec("device:pulse"))
source.start()
assert source.read(4800, 2.0).samples.shape[0]
control().call(lambda sd: control().distrust_list())
print(*(device.name for device in list_devices()))
assert source.read(4800, 2.0).samples.shape[0], "the stream that was open must go on"
assert source.stats().lost_frames == 0
source.close()
"""


def test_devices_are_listed_afresh_while_one_records(sound_server):
    done = sound_server.run("-c", LISTS)
    assert done.returncode == 0, done.stderr
    assert "pulse" in done.stdout.split()
