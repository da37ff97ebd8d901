"""Outputs of PortAudio's, through a stand-in for it."""

from __future__ import annotations

import threading

import numpy as np
import pytest
import soundless  # registered by conftest.py

from app.errors import DeviceError
from app.inputs.outputs import BUFFER_S, DeviceOutput, list_outputs


@pytest.fixture
def sound_device():
    return lambda: soundless.SoundDevice(
        devices=[
            soundless.Device("Desk pair (hw:0,0)", outputs=2, rate_hz=44_100.0),
            soundless.Device("Microphone", inputs=1),
            soundless.Device("Head\n phones", inputs=0, outputs=2),
            soundless.Device("Speaker", inputs=0, outputs=1),
            soundless.Device("Rack", inputs=0, outputs=8, host_api="JACK"),
        ],
        default="Microphone",
        default_output="Speaker",
    )


@pytest.fixture
def opened(audio):
    outputs = []

    def opened(name=""):
        output = DeviceOutput(name, audio)
        outputs.append(output)
        output.open()
        return output, audio.loaded[0].streams[-1]

    yield opened
    for output in outputs:
        output.stop()


def ones(out):
    out[:] = 0.5
    return True


def test_the_list_has_what_plays_and_the_systems_choice_first(audio):
    names = [output.full_name for output in list_outputs(audio)]
    assert names == ["ALSA/Speaker", "ALSA/Desk pair (hw:0,0)", "ALSA/Head phones", "JACK/Rack"]


@pytest.mark.parametrize(
    ("name", "channels", "rate_hz"),
    [("", 1, 48_000), ("ALSA/Desk pair (hw:0,0)", 2, 44_100), ("JACK/Rack", 2, 48_000)],
)
def test_it_opens_by_name_at_its_own_rate_with_two_channels_at_most(opened, name, channels, rate_hz):
    output, stream = opened(name)
    assert (output.channels, output.rate_hz) == (channels, rate_hz)
    assert stream.arguments["samplerate"] == rate_hz
    assert output.latency_s == pytest.approx(BUFFER_S + 0.005), "as the driver reports it"
    assert not stream.active


def test_it_plays_what_it_is_filled_with_until_nothing_follows(opened):
    output, stream = opened()
    counted = iter([True, False])

    def fill(out):
        out[:] = 0.25
        return next(counted)

    output.start(fill)
    assert np.all(stream.play(64) == 0.25)
    assert np.all(stream.play(64) == 0.25), "the last block is played"
    assert not output.finished
    assert not stream.play(64).any()
    assert output.finished


def test_a_fault_while_filling_is_silence_and_the_end(opened):
    output, stream = opened()

    def broken(out):
        raise ZeroDivisionError

    output.start(broken)
    assert not stream.play(64).any()
    assert not stream.play(64).any()
    assert output.finished


def test_stopping_drops_what_the_driver_holds_and_closes(opened, audio):
    output, stream = opened()
    output.start(ones)
    stoppers = [threading.Thread(target=output.stop) for _ in range(3)]
    for stopper in stoppers:
        stopper.start()
    for stopper in stoppers:
        stopper.join()
    assert stream.closed
    assert not stream.active
    assert output.finished
    assert audio.call(lambda _: audio.relist(older_than_s=0.0)), "no stream keeps the list as it was"


def test_all_calls_to_the_driver_come_from_one_thread(opened, audio):
    output, _ = opened()
    output.start(ones)
    output.stop()
    assert len(audio.loaded[0].threads) == 1


def test_an_output_that_is_away_or_taken_is_a_sentence(opened, audio):
    with pytest.raises(DeviceError, match="no output named Dock"):
        opened("ALSA/Dock")
    audio.loaded[0].taken = True
    with pytest.raises(DeviceError, match="Speaker cannot be opened to play: Device unavailable"):
        opened()


def test_no_output_at_all(opened, audio):
    audio.call(lambda sd: sd.devices.clear())
    audio.call(lambda _: audio.relist(older_than_s=-1.0))
    with pytest.raises(DeviceError, match="no output to play through"):
        opened()
