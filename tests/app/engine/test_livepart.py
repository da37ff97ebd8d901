"""The part as it is played: what is measured live is what a file with the same samples measures."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest

from app.coach.verdict import Coach
from app.engine.livepart import ENOUGH_S, MEMORY_S, LivePart
from app.engine.loop import Engine
from app.engine.snapshot import InputState
from app.inputs.fake import FakeSource
from app.inputs.source import Block, SourceInfo
from dsp.track import TrackMeter

RATE_HZ = 16_000
INFO = SourceInfo("fake", "fake", RATE_HZ, 2, live=True)


def playing(seconds, rms=0.05, channels=2, seed=1):
    return np.random.default_rng(seed).normal(0, rms, (round(seconds * RATE_HZ), channels)).astype(np.float32)


def hand(part, samples, info=INFO, frames=160):
    for start in range(0, samples.shape[0], frames):
        part(info, Block(samples[start : start + frames]))


def test_through_the_engine_it_measures_what_a_file_would():
    samples = playing(5.0)
    part = LivePart(channel=1)
    engine = Engine(Coach)
    engine.add_listener(part)
    engine.open(FakeSource(samples, rate_hz=RATE_HZ))
    deadline_s = time.monotonic() + 10
    while engine.snapshot.state is not InputState.ENDED:
        assert time.monotonic() < deadline_s
        time.sleep(0.005)
    assert engine.stop()
    played = part.measure(math.nan)
    meter = TrackMeter(RATE_HZ, 1)
    meter.process(samples[:, 1:])
    expected = meter.so_far()
    np.testing.assert_allclose(played.track.excitation, expected.excitation, rtol=1e-4)
    np.testing.assert_allclose(played.track.short_term_lufs, expected.short_term_lufs, atol=1e-6)
    assert played.playing_s == pytest.approx(2.1), "readings from 3.0 s on, every 0.1 s"


def test_nothing_is_known_before_anything_came():
    assert LivePart().measure(-60.0) is None


def test_noise_alone_is_no_part_however_long_it_lasts():
    part = LivePart()
    hand(part, playing(20.0, rms=0.001))  # -60 dBFS RMS
    floor_dbfs = -57.0
    assert not part.measure(floor_dbfs).enough
    hand(part, playing(ENOUGH_S + 3.0, rms=0.02))
    assert part.measure(floor_dbfs).enough


def test_the_memory_follows_the_newest_playing():
    part = LivePart()
    hand(part, playing(30.0, rms=0.2), frames=RATE_HZ)
    part.measure(math.nan)
    hand(part, playing(MEMORY_S + 5.0, rms=0.02), frames=RATE_HZ)
    played = part.measure(math.nan)
    assert played.track.duration_s == MEMORY_S
    assert played.track.excitation.shape[0] == MEMORY_S * 20
    quiet = TrackMeter(RATE_HZ, 1)
    quiet.process(playing(10.0, rms=0.02, channels=1))
    assert played.track.short_term_p50_lufs == pytest.approx(quiet.finish().short_term_p50_lufs, abs=0.3)


def test_another_input_or_channel_begins_afresh():
    part = LivePart()
    hand(part, playing(10.0, rms=0.2))
    other = SourceInfo("fake", "other", 44_100, 1, live=True)
    hand(part, playing(4.0, channels=1), info=other, frames=441)
    assert part.measure(math.nan).track.duration_s == pytest.approx(4.0 * RATE_HZ / 44_100)
    part.channel = 5  # of an input with one channel the last
    hand(part, playing(4.0, channels=1), info=other, frames=441)
    assert part.measure(math.nan).track.duration_s == pytest.approx(8.0 * RATE_HZ / 44_100)
    part.forget()
    assert part.measure(math.nan) is None


def test_what_nobody_measures_does_not_grow_without_end():
    part = LivePart()
    hand(part, playing(100.0, channels=2))
    assert part.measure(math.nan).track.duration_s == pytest.approx(60.0)
