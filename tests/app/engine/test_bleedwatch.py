"""Input and playback laid side by side, with rates of their own, lost frames and gaps."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from app.engine.bleedwatch import BleedWatch
from app.inputs.outputs import FakeOutput
from app.inputs.playback import Playback, Turned
from app.inputs.source import Block, SourceInfo

SONG_S = 30
BLOCK_S = 0.05


@pytest.fixture
def backing(tmp_path):
    mono = np.random.default_rng(1).normal(0, 0.1, (SONG_S * 16_000, 1)).astype(np.float32)
    samples = np.repeat(mono, 2, axis=1)
    soundfile.write(tmp_path / "song.wav", samples, 16_000, "FLOAT")
    return tmp_path / "song.wav"


class Evening:
    """A backing that plays, and a microphone that hears it through the air, on clocks that agree."""

    def __init__(self, backing, *, leak=0.1, output_hz=16_000, input_hz=16_000, behind_s=0.1):
        self.output = FakeOutput(output_hz)
        self.playback = Playback([Turned(backing)], self.output, ramp_s=0.0)
        self.playback.start()
        self.info = SourceInfo("fake", "fake", input_hz, 2, live=True)
        self.watch = BleedWatch(self.playback, channel=1)
        self._leak, self._behind_s = leak, behind_s
        self._rng = np.random.default_rng(2)
        self.view = None

    def go_on(self, seconds, *, lose=False, info=None, look=True):
        info = info or self.info
        for _ in range(round(seconds / BLOCK_S)):
            while self.playback._written - self.playback.played_frames < BLOCK_S * self.output.rate_hz:
                pass  # the feeder is fast
            self.output.pump(round(BLOCK_S * self.output.rate_hz))
            self._hear(info, lose)
            if look:
                self.view = self.watch.look()
        return self.view

    def _hear(self, info, lose):
        heard = np.concatenate([block[:, 0] for block in self.output.blocks[-8:]])
        frames = round(BLOCK_S * info.rate_hz)
        # Where in what was played the microphone is: a moment behind it.
        t_s = heard.size / self.output.rate_hz - BLOCK_S - self._behind_s + np.arange(frames) / info.rate_hz
        air = np.interp(t_s * self.output.rate_hz, np.arange(heard.size), heard, left=0.0)
        samples = np.zeros((frames, 2), np.float32)
        samples[:, 1] = self._leak * air + self._rng.normal(0, 0.003, frames)
        lost = frames // 2 if lose else 0
        self.watch(info, Block(samples[lost:], lost))


@pytest.mark.parametrize(("output_hz", "input_hz"), [(16_000, 16_000), (48_000, 16_000), (16_000, 44_100)])
def test_the_backing_is_found_at_its_delay_and_level(backing, output_hz, input_hz):
    evening = Evening(backing, output_hz=output_hz, input_hz=input_hz)
    assert not evening.go_on(5.0).knows
    view = evening.go_on(13.0)
    assert view.knows
    # Side by side with the end of the block it came with: a block of 50 ms lies between.
    assert view.bleed.delay_s == pytest.approx(0.1 + BLOCK_S, abs=0.005)
    # Played at 0.1 RMS, leaked at -20 dB, below 3.5 of 8 kHz: 0.1 · 0.1 · √(3.4 / 8) · √2.
    assert view.bleed.level_dbfs == pytest.approx(-40.7, abs=2.0)
    evening.playback.stop()


def test_a_closed_headphone_is_not_accused(backing):
    evening = Evening(backing, leak=0.0)
    view = evening.go_on(18.0)
    assert view.knows
    assert view.bleed is None
    evening.playback.stop()


def test_lost_frames_keep_their_place(backing):
    evening = Evening(backing)
    evening.go_on(6.0)
    evening.go_on(2.0, lose=True)
    view = evening.go_on(10.0)
    assert view.bleed is not None
    evening.playback.stop()


def test_a_gap_in_the_headphones_or_another_input_begins_afresh(backing):
    evening = Evening(backing)
    assert evening.go_on(17.0).knows
    evening.playback.underruns += 1
    assert not evening.go_on(0.2).knows
    evening.playback.stop()
    evening = Evening(backing)
    assert evening.go_on(17.0).knows
    other = SourceInfo("fake", "other", 16_000, 2, live=True)
    assert not evening.go_on(0.2, info=other).knows
    evening.playback.stop()


def test_whoever_looks_rarely_misses_nothing(backing):
    evening = Evening(backing)
    evening.go_on(9.0, look=False)
    evening.watch.look()
    evening.go_on(9.0, look=False)
    assert evening.watch.look().bleed is not None
    evening.playback.stop()
