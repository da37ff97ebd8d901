"""What the four parts have in common, and what each plays."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise, takewhile

import numpy as np
import pytest

from app.inputs.synth import bass, drums, strum, voice
from app.inputs.synth.mix import Sound
from app.inputs.synth.score import Kind, evening

_RATE = 16_000
_UNTIL_S = 90.0
_PLAYS = {"bass": bass.play, "guitar": strum.play, "voice": voice.play, "drums": drums.play}


def _sounds(play: Callable[[int, int], Iterator[Sound]], seed: int = 1) -> list[Sound]:
    return list(takewhile(lambda sound: sound.start_frame < _UNTIL_S * _RATE, play(seed, _RATE)))


@pytest.fixture(scope="module", params=_PLAYS)
def sounds(request: pytest.FixtureRequest) -> list[Sound]:
    return _sounds(_PLAYS[request.param])


def test_sounds_come_in_the_order_of_their_start(sounds: list[Sound]) -> None:
    assert len(sounds) > 50
    for now, then in pairwise(sounds):
        assert now.start_frame <= then.start_frame


def test_sounds_are_finite_and_begin_and_end_low(sounds: list[Sound]) -> None:
    for sound in sounds:
        assert np.all(np.isfinite(sound.samples))
        loudest = np.max(np.abs(sound.samples))
        assert abs(sound.samples[0]) < 0.15 * loudest
        assert abs(sound.samples[-1]) < 0.05 * loudest


def test_nobody_plays_before_the_first_quiet_is_nearly_over(sounds: list[Sound]) -> None:
    assert sounds[0].start_frame > 3.2 * _RATE


def test_rests_end_in_silence(sounds: list[Sound]) -> None:
    """Near the end of a rest nothing sounds, save for the last 0.6 s, in which a singer breathes in."""
    for section in takewhile(lambda section: section.start_s < _UNTIL_S - 30.0, evening(1)):
        if section.kind is Kind.REST:
            end = section.start_s + section.seconds - 0.6
            for sound in sounds:
                longest = max(tap.delay_frames for tap in sound.taps) + sound.samples.shape[0]
                assert not (
                    sound.start_frame < end * _RATE and sound.start_frame + longest > (end - 0.3) * _RATE
                )


@pytest.mark.parametrize("part", _PLAYS)
def test_an_evening_follows_from_its_seed(part: str) -> None:
    one, same, other = (_sounds(_PLAYS[part], seed)[:60] for seed in (4, 4, 5))
    assert [(s.start_frame, s.gain) for s in one] == [(s.start_frame, s.gain) for s in same]
    assert all(np.array_equal(a.samples, b.samples) for a, b in zip(one, same, strict=True))
    assert [(s.start_frame, s.gain) for s in one] != [(s.start_frame, s.gain) for s in other]


@pytest.mark.parametrize("part", _PLAYS)
def test_strokes_differ_in_strength_and_timing(part: str) -> None:
    sounds = _sounds(_PLAYS[part])
    assert len({round(sound.gain, 6) for sound in sounds}) > len(sounds) // 3
    gaps = np.diff([sound.start_frame for sound in sounds])
    assert len(set(gaps.tolist())) > 20


def test_a_bass_string_is_stopped_before_the_next_note() -> None:
    for now, then in pairwise(_sounds(bass.play)):
        assert now.start_frame + now.samples.shape[0] <= then.start_frame + 1


def test_a_sung_note_is_in_tune() -> None:
    """Autocorrelation of a held syllable peaks at the period of its pitch, give or take the vibrato."""
    mouth = voice._Mouth(48_000)
    for pitch in (50.0, 57.0, 63.0):
        note = voice._Syllable(0.0, 1.0, pitch, pitch, "a", "a", 0.0, False, 1)
        sung = voice._sing(note, 0.0, mouth, 48_000, np.random.default_rng(1))[4800:24_000].astype(float)
        power = np.abs(np.fft.rfft(sung, 2**16)) ** 2
        likeness = np.fft.irfft(power)
        wanted = 48_000 / (440.0 * 2.0 ** ((pitch - 69) / 12))
        search = np.arange(round(0.7 * wanted), round(1.4 * wanted))
        assert search[np.argmax(likeness[search])] == pytest.approx(wanted, rel=0.02)


def test_every_drum_is_heard_first_and_loudest_by_its_own_microphone() -> None:
    for drum, own in ((drums._Drum.KICK, 0), (drums._Drum.SNARE, 1)):
        heard = drums._HEARD[drum]
        assert max(heard)[0] == heard[own][0]
        assert min(metres for _, metres in heard) == heard[own][1]
    assert all(len(heard) == drums.CHANNELS for heard in drums._HEARD.values())
