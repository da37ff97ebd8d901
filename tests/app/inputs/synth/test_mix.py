"""Adding up sounds."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.inputs.synth.mix import Mix, Sound, Tap


def _without_end(sounds: list[Sound]) -> Iterator[Sound]:
    yield from sorted(sounds, key=lambda sound: sound.start_frame)
    for index in count():
        yield Sound(10**9 + index, np.zeros(1, np.float32))


def _ones(frames: int) -> np.ndarray:
    return np.arange(1, frames + 1, dtype=np.float32)


_LISTS = st.lists(
    st.builds(
        lambda start, frames, gain, taps: Sound(start, _ones(frames), gain, tuple(taps)),
        st.integers(0, 300),
        st.integers(1, 90),
        st.sampled_from((0.5, 1.0, 2.0)),
        st.lists(
            st.builds(Tap, st.integers(0, 1), st.sampled_from((0.25, 1.0)), st.integers(0, 40)),
            min_size=1,
            max_size=3,
        ),
    ),
    max_size=12,
)


@given(_LISTS, st.lists(st.integers(1, 120), min_size=1, max_size=30), st.integers(0, 200))
def test_the_sum_is_that_of_the_sounds_however_it_is_cut(
    sounds: list[Sound], cuts: list[int], ahead: int
) -> None:
    frames = sum(cuts)
    expected = np.zeros((1000, 2))
    for sound in sounds:
        for tap in sound.taps:
            at = sound.start_frame + tap.delay_frames
            expected[at : at + sound.samples.shape[0], tap.channel] += sound.gain * tap.gain * sound.samples
    mix = Mix(_without_end(sounds), 2, ahead_frames=ahead)
    got = np.concatenate([mix.render(cut) for cut in cuts])
    # Small whole numbers and powers of two: exact in float32.
    np.testing.assert_array_equal(got[:1000], expected[: min(frames, 1000)])


def test_a_sound_is_fetched_ahead_only_one_at_a_time() -> None:
    made = []

    def sounds() -> Iterator[Sound]:
        for index in count():
            made.append(index)
            yield Sound(100 + index, np.ones(4, np.float32))

    mix = Mix(sounds(), 1, ahead_frames=1000)
    mix.render(10)
    assert made == [0]
    mix.render(10)
    assert made == [0, 1]


def test_a_sound_that_has_faded_is_let_go() -> None:
    mix = Mix(_without_end([Sound(0, np.ones(50, np.float32))]), 1)
    mix.render(60)
    assert mix.render(60) == pytest.approx(np.zeros((60, 1)))
    assert not mix._ringing
