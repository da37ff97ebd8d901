"""The sound around clips: the right frames, whatever the blocks, and nothing at all unless asked for."""

from __future__ import annotations

import numpy as np
import pytest

from app.engine.evidence import AROUND_S, LONGEST_S, EvidenceTaker
from app.inputs.source import Block, SourceInfo
from dsp.reading import Clip, ClipKind

RATE_HZ = 1_000
INFO = SourceInfo("fake", "fake", RATE_HZ, 2, live=True)


def clip(start, frames=5, channel=0):
    return Clip(ClipKind.FULL_SCALE, channel, start, frames, 0.0)


class Input:
    """Every sample is its own place in the stream, negative in the second channel."""

    def __init__(self, *, on=True):
        self.kept = []
        self.taker = EvidenceTaker(self.kept.append, on=on)
        self.position = 0

    def run(self, frames, size=10, lost=0):
        for start in range(0, frames, size):
            count = min(size, frames - start)
            at = self.position + lost
            places = np.arange(at, at + count, dtype=np.float32)
            self.taker(INFO, Block(np.column_stack((places, -places)), lost))
            self.position, lost = at + count, 0

    def note(self, clip, uid="one", take_frame=0):
        self.taker.note(uid, RATE_HZ, take_frame, clip)


@pytest.mark.parametrize("size", [1, 10, 333])
def test_a_clip_is_kept_with_a_second_around_it(size):
    source = Input()
    source.run(5_000, size)
    source.note(clip(4_800))
    source.run(1_500, size)
    (stretch,) = source.kept
    assert (stretch.start_frame, stretch.end_frame) == (3_800, 5_805)
    sound = stretch.samples()
    assert sound.shape == (2_005, 1)
    assert sound[:, 0].tolist() == list(range(3_800, 5_805))


def test_clips_close_together_share_a_stretch_with_the_channels_of_both():
    source = Input()
    source.run(5_000)
    source.note(clip(4_800))
    source.run(500)
    source.note(clip(5_400, channel=1))
    source.run(2_000)
    (stretch,) = source.kept
    assert (stretch.start_frame, stretch.end_frame, stretch.channels) == (3_800, 6_405, (0, 1))
    assert stretch.samples()[:, 1].tolist() == [-place for place in range(3_800, 6_405)]


def test_a_flood_is_cut_into_stretches_and_nothing_grows_without_end():
    source = Input()
    for at in range(0, 60_000, 100):
        source.run(100)
        source.note(clip(at + 50))
    source.run(3_000)
    longest = LONGEST_S * RATE_HZ
    assert all(stretch.end_frame - stretch.start_frame <= longest for stretch in source.kept)
    assert 6 <= len(source.kept) <= 9
    assert len(source.taker._ring) <= 310


def test_a_take_keeps_nothing_from_before_it_began():
    source = Input()
    source.run(5_000)
    source.note(clip(4_800), take_frame=4_700)
    source.note(clip(4_500), take_frame=4_700)
    source.run(2_000)
    assert [(stretch.start_frame, stretch.take_frame) for stretch in source.kept] == [(4_700, 4_700)]


def test_lost_frames_are_silence_in_their_place():
    source = Input()
    source.run(5_000)
    source.note(clip(4_900))
    source.run(2_000, lost=300)
    (stretch,) = source.kept
    sound = stretch.samples()[:, 0]
    assert sound[1_099] == 4_999
    assert not sound[1_100:1_400].any()
    assert sound[1_400] == 5_300


def test_what_the_input_ended_in_is_kept_as_far_as_it_came():
    source = Input()
    source.run(5_000)
    source.note(clip(4_900))
    source.run(50)
    source.taker.input_gone()
    (stretch,) = source.kept
    assert stretch.end_frame == 5_050
    # The next input counts from its own beginning.
    source.position = 0
    source.run(3_000)
    source.note(clip(2_000))
    source.run(1_000)
    assert source.kept[1].samples()[0, 0] == 1_000


def test_nothing_is_gathered_unless_somebody_asked():
    source = Input(on=False)
    source.run(5_000)
    source.note(clip(4_900))
    source.run(2_000)
    source.taker.input_gone()
    assert source.kept == []
    assert not source.taker._ring


def test_places_are_right_when_it_is_turned_on_in_the_middle_and_turned_off_lets_go():
    source = Input(on=False)
    source.run(5_000)
    source.taker.on = True
    source.run(2_000)
    source.note(clip(6_500))
    source.run(1_000)
    assert source.kept[0].samples()[0, 0] == 5_500
    source.note(clip(7_900))
    source.taker.on = False
    source.run(2_000)
    assert len(source.kept) == 1
    assert not source.taker._ring


def test_the_second_before_is_as_long_as_what_was_heard():
    source = Input()
    source.run(300)
    source.note(clip(200))
    source.run(2_000)
    assert source.kept[0].start_frame == 0
    assert source.kept[0].end_frame == 205 + AROUND_S * RATE_HZ
