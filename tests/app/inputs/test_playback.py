"""Playing along: what the output gets, frame by frame, and above all never too loud."""

from __future__ import annotations

import threading
import time

import numpy as np
import pytest
import soundfile

from app.errors import DeviceError, SoundFileError
from app.inputs.outputs import FakeOutput
from app.inputs.playback import RAMP_DB, RAMP_S, Headphones, Playback, Turned, to_ears

RATE_HZ = 48_000


def tone(seconds, amplitude=0.5, hz=1000.0, rate_hz=RATE_HZ, channels=2):
    t_s = np.arange(round(seconds * rate_hz)) / rate_hz
    wave = amplitude * np.sin(2 * np.pi * hz * t_s)
    return np.repeat(wave[:, np.newaxis], channels, axis=1).astype(np.float32)


@pytest.fixture
def write(tmp_path):
    def write(samples, name="song.wav", rate_hz=RATE_HZ):
        soundfile.write(tmp_path / name, samples, rate_hz, "FLOAT")
        return tmp_path / name

    return write


def pump_to_end(playback, block=480):
    """As a driver would, but as fast as the feeder can follow."""
    deadline_s = time.monotonic() + 20
    while not playback.output.finished:
        assert time.monotonic() < deadline_s, "it does not end"
        if playback._written - playback.played_frames >= block or playback._all_written:
            playback.output.pump(block)
        else:
            time.sleep(0.0005)
    playback.stop()
    return playback.output.heard


def test_it_rises_from_forty_below_to_the_advised_level_and_never_over_it(write):
    samples = tone(4.0, amplitude=1.0)
    samples[:] = 1.0  # the envelope itself
    playback = Playback([Turned(write(samples), 12)], FakeOutput())
    playback.start()
    heard = pump_to_end(playback)
    level = 10 ** (-12 / 20)
    t_s = np.arange(4 * RATE_HZ) / RATE_HZ
    rising = level * 10 ** (-RAMP_DB * np.clip(1 - t_s / RAMP_S, 0, 1) / 20)
    np.testing.assert_allclose(heard[: t_s.size, 0], rising, rtol=1e-5)
    assert heard.max() <= np.float32(level)
    assert not heard[t_s.size :].any()
    assert playback.underruns == 0
    assert playback.position_s == pytest.approx(4.0)


def test_stems_add_up_each_at_its_own_level_and_full_scale_is_the_end(write):
    one, other = np.full((RATE_HZ, 2), 0.25, np.float32), np.full((RATE_HZ // 2, 1), 0.5, np.float32)
    files = [Turned(write(one), 6), Turned(write(other, "other.wav"), 20)]
    playback = Playback(files, FakeOutput(), ramp_s=0.0)
    playback.start()
    heard = pump_to_end(playback)
    both = 0.25 * 10 ** (-6 / 20) + 0.5 * 10 ** (-20 / 20)
    np.testing.assert_allclose(heard[: RATE_HZ // 2], both, rtol=1e-5)
    np.testing.assert_allclose(heard[RATE_HZ // 2 : RATE_HZ], 0.25 * 10 ** (-6 / 20), rtol=1e-5)

    too_much = np.full((RATE_HZ // 10, 2), 0.9, np.float32)
    twice = [Turned(write(too_much, "a.wav")), Turned(write(too_much, "b.wav"))]
    playback = Playback(twice, FakeOutput(), ramp_s=0.0)
    playback.start()
    assert pump_to_end(playback).max() == 1.0


@pytest.mark.parametrize("rate_hz", [44_100, 96_000, 22_050])
def test_another_rate_keeps_pitch_length_and_level(write, rate_hz):
    playback = Playback(
        [Turned(write(tone(1.0, hz=997.0, rate_hz=rate_hz), rate_hz=rate_hz))], FakeOutput(), ramp_s=0.0
    )
    playback.start()
    heard = pump_to_end(playback)[:RATE_HZ, 0]
    inner = slice(RATE_HZ // 10, -RATE_HZ // 10)
    np.testing.assert_allclose(heard[inner], tone(1.0, hz=997.0)[inner, 0], atol=1e-3)
    assert playback.played_frames == pytest.approx(RATE_HZ, abs=2)


def test_a_level_that_is_changed_drops_fast_and_rises_slowly(write):
    output = FakeOutput()
    playback = Playback([Turned(write(np.ones((8 * RATE_HZ, 2), np.float32)), 20)], output, ramp_s=0.0)
    playback.start()

    def pump(seconds):
        for _ in range(round(seconds * 100)):
            deadline_s = time.monotonic() + 5
            while playback._written - playback.played_frames < 480:
                assert time.monotonic() < deadline_s
                time.sleep(0.0005)
            output.pump(480)
        return 20 * np.log10(output.heard[:, 0])

    pump(0.1)
    playback.set_pull_down([10])
    levels_db = pump(2.0)
    assert levels_db.max() == pytest.approx(-10.0, abs=1e-4)
    assert np.diff(levels_db).max() * RATE_HZ < 10.1, "no faster than 10 dB a second"
    playback.set_pull_down([30])
    levels_db = pump(1.0)
    assert levels_db[-1] == pytest.approx(-30.0, abs=1e-4)
    dropping = np.flatnonzero(np.diff(levels_db) < -1e-5)
    assert dropping.size / RATE_HZ < 0.15
    playback.stop()


def test_stopping_is_silent_at_once_and_may_be_repeated(write):
    output = FakeOutput()
    playback = Playback([Turned(write(np.ones((5 * RATE_HZ, 2), np.float32)))], output, ramp_s=0.0)
    playback.start()
    assert output.pump(4800).min() == 1.0
    assert playback.playing
    playback.stop()
    assert not playback.playing
    assert not output.pump(4800).any()
    playback.stop()
    assert not [t for t in threading.enumerate() if t.name == "swellmark-playback"]


def test_a_driver_that_is_slow_to_stop_gets_a_fade_and_then_silence(write):
    class Slow(FakeOutput):
        def stop(self):
            self.last = self.pump(4800)
            super().stop()

    output = Slow()
    playback = Playback([Turned(write(np.ones((5 * RATE_HZ, 2), np.float32)))], output, ramp_s=0.0)
    playback.start()
    playback.stop()
    assert not output.last[200:].any()
    assert np.abs(np.diff(output.last[:, 0])).max() < 0.02, "no step that clicks"


def test_what_cannot_be_played_says_so_and_leaves_nothing_open(write, tmp_path):
    good = write(tone(1.0))
    with pytest.raises(SoundFileError, match=r"missing\.wav"):
        Playback([Turned(good), Turned(tmp_path / "missing.wav")], FakeOutput()).start()
    refusing = FakeOutput(refuse=DeviceError("The headphones say no."))
    with pytest.raises(DeviceError, match="say no"):
        Playback([Turned(good)], refusing).start()
    assert refusing.stopped
    for wrong in ([], [Turned(good, -3.0)]):
        with pytest.raises(ValueError, match="none turned up"):
            Playback(wrong, FakeOutput())
    playback = Playback([Turned(good)], FakeOutput())
    with pytest.raises(ValueError, match="amounts of 0 or more"):
        playback.set_pull_down([-1.0])


def test_an_output_that_ends_by_itself_is_a_sentence(write):
    output = FakeOutput()
    playback = Playback([Turned(write(tone(5.0)))], output)
    playback.start()
    output.pump(480)
    output.finished = True
    deadline_s = time.monotonic() + 5
    while playback.problem is None:
        assert time.monotonic() < deadline_s
        time.sleep(0.005)
    assert "has gone" in playback.problem.sentence
    playback.stop()


def test_a_damaged_file_ends_with_its_sentence(write, tmp_path):
    whole = tmp_path / "whole.flac"
    soundfile.write(whole, np.random.default_rng(1).normal(0, 0.1, (20 * RATE_HZ, 2)), RATE_HZ)
    cut = tmp_path / "cut.flac"
    data = bytearray(whole.read_bytes())
    data[len(data) // 4 :] = bytes(len(data) - len(data) // 4)
    cut.write_bytes(data)
    output = FakeOutput()
    playback = Playback([Turned(cut)], output)
    playback.start()
    pump_to_end(playback)
    assert "cut.flac" in playback.problem.sentence


def test_the_reference_is_what_went_out(write):
    output = FakeOutput(channels=1)
    samples = np.random.default_rng(3).normal(0, 0.1, (RATE_HZ, 2)).astype(np.float32)
    playback = Playback([Turned(write(samples), 6)], output, ramp_s=0.0)
    playback.start()
    for _ in range(3):
        output.pump(4800)
    first, reference = playback.take_reference()
    assert first == 0
    assert 0 <= playback.played_frames - reference.size < 960, "whole chunks that were played"
    np.testing.assert_allclose(reference, output.heard[: reference.size, 0], atol=1e-7)
    output.pump(4800)
    again, more = playback.take_reference()
    assert again == reference.size
    assert more.size
    playback.stop()


def test_bad_samples_are_silence(write):
    samples = np.full((RATE_HZ, 2), 0.5, np.float32)
    samples[100:200] = np.nan
    samples[300:400] = np.inf
    playback = Playback([Turned(write(samples))], FakeOutput(), ramp_s=0.0)
    playback.start()
    heard = pump_to_end(playback)
    assert np.isfinite(heard).all()
    assert heard.max() == 0.5


def test_channels_are_mixed_to_two_ears():
    frame = np.arange(1.0, 7.0, dtype=np.float32)[np.newaxis]
    half = np.sqrt(0.5)
    np.testing.assert_allclose(
        to_ears(frame), [[1 + 3 * half + 5 * half, 2 + 3 * half + 6 * half]], rtol=1e-6
    )
    np.testing.assert_allclose(
        to_ears(frame[:, :5]), [[1 + 3 * half + 4 * half, 2 + 3 * half + 5 * half]], rtol=1e-6
    )
    np.testing.assert_array_equal(to_ears(frame[:, :1]), [[1, 1]])
    np.testing.assert_allclose(to_ears(frame[:, :4]), [[5.0, 5.0]])


def test_whatever_begins_to_play_ends_what_played_before(write):
    outputs = []

    def make(name):
        outputs.append(FakeOutput())
        return outputs[-1]

    heads = Headphones(make)
    first = heads.play_along([Turned(write(tone(5.0)), 12)])
    second = heads.play(write(np.ones((RATE_HZ, 2), np.float32), "clip.wav"))
    assert not first.playing
    assert outputs[0].stopped
    assert heads.current is second
    outputs[1].pump(4800)
    assert outputs[1].heard.max() <= 0.2512, "an excerpt is 12 dB down"
    heads.stop()
    assert not second.playing
    heads.stop()
