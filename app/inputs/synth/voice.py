"""The voice part: puffs of air from the vocal folds, each ringing in a mouth that changes its shape.

Source and filter (G. Fant, Acoustic Theory of Speech Production, 1960): the response of the vocal tract to
one closing of the folds is made once for each vowel and effort, and laid down once a period. Formant
frequencies lie near the averages of Peterson and Barney (J. Acoust. Soc. Am. 24, 1952).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from app.inputs.synth.hiss import hiss, swell
from app.inputs.synth.mix import Sound
from app.inputs.synth.pluck import midi_hz
from app.inputs.synth.score import BEATS_PER_BAR, Chord, Desk, Kind, Section, evening, luck
from app.inputs.synth.store import NoteStore
from dsp.decibels import db_to_amplitude
from dsp.types import Samples

_FULL_EFFORT = 0.111
_STORED_S = 20.0
_FORMANTS_HZ = {
    "a": (730.0, 1150.0, 2500.0),
    "e": (500.0, 1850.0, 2500.0),
    "i": (310.0, 2250.0, 3000.0),
    "o": (500.0, 850.0, 2450.0),
    "u": (340.0, 900.0, 2250.0),
}
_UPPER_HZ = (3300.0, 4200.0)
_WIDTHS_HZ = (80.0, 100.0, 140.0, 200.0, 280.0)
_TILT_HZ = (2000.0, 3500.0, 6000.0)
"""Soft, middling and full voice: above this the folds' spectrum falls faster."""
_GRAIN_S = 0.03
_STEPS = 8
"""Places between two frames where a puff can begin."""
_SCALE = (0, 2, 4, 5, 7, 9, 11)
_LOWEST, _HIGHEST = 48, 64
_RHYTHM = {
    # (beat, beats) of each syllable of a phrase of two bars; the rest is for breathing.
    Kind.VERSE: (((0.0, 1.0), (1.0, 0.5), (1.5, 0.5), (2.0, 1.5), (4.0, 1.0), (5.0, 2.0)),),
    Kind.CHORUS: (
        ((0.0, 1.5), (1.5, 0.5), (2.0, 1.0), (3.0, 1.0), (4.0, 2.9)),
        ((0.0, 0.5), (0.5, 1.0), (1.5, 0.5), (2.0, 2.0), (4.0, 0.5), (4.5, 2.4)),
    ),
}


@dataclass(frozen=True, slots=True)
class _Syllable:
    start_s: float
    seconds: float
    pitch: float
    before: float
    """Where the pitch comes from."""
    vowel: str
    ends_as: str
    level_db: float
    sibilant: bool
    luck: int


@dataclass(frozen=True, slots=True)
class _Breath:
    start_s: float
    seconds: float
    level_db: float
    luck: int


def play(seed: int, rate_hz: int) -> Iterator[Sound]:
    """Every syllable and breath of the evening, in order."""
    mouth = _Mouth(rate_hz)
    for section in evening(seed):
        for event in _phrases(section, seed):
            random = luck(seed, Desk.VOICE, 1 << 40, event.luck)
            if isinstance(event, _Breath):
                samples = _breathe(event, rate_hz, random)
                yield Sound(
                    round(event.start_s * rate_hz), samples, _FULL_EFFORT * db_to_amplitude(event.level_db)
                )
            else:
                lead_s = 0.09 if event.sibilant else 0.0
                samples = _sing(event, lead_s, mouth, rate_hz, random)
                start = round((event.start_s - lead_s) * rate_hz)
                yield Sound(start, samples, _FULL_EFFORT * db_to_amplitude(event.level_db))


def _phrases(section: Section, seed: int) -> list[_Syllable | _Breath]:
    random = luck(seed, Desk.VOICE, section.index)
    # The tune belongs to the song: it is the same in every verse.
    tune = luck(seed, Desk.VOICE, 1 << 41, list(Kind).index(section.kind))
    events: list[_Syllable | _Breath] = []
    number = section.index << 12
    pitch = float(_LOWEST + 7)
    for bar in range(0, len(section.chords), 2):
        rhythms = _RHYTHM[section.kind]
        rhythm = rhythms[bar // 2 % len(rhythms)]
        phrase_s = section.bar_start_s(bar)
        phrase_db = section.effort_db + random.uniform(-1.2, 0.0)
        inhale_s = random.uniform(0.28, 0.4)
        number += 1
        events.append(_Breath(phrase_s - inhale_s - 0.12, inhale_s, phrase_db - 28.0, number))
        for beat, beats in rhythm:
            chord = section.chords[min(bar + int(beat // BEATS_PER_BAR), len(section.chords) - 1)]
            before, pitch = pitch, _next_pitch(pitch, chord, tune, strong=beats >= 1.0)
            vowels = tune.choice(list(_FORMANTS_HZ), 2)
            number += 1
            events.append(
                _Syllable(
                    phrase_s + beat * section.beat_s + float(np.clip(random.normal(0.0, 0.012), -0.03, 0.03)),
                    beats * section.beat_s - random.uniform(0.02, 0.05),
                    pitch,
                    before,
                    str(vowels[0]),
                    str(vowels[1]) if tune.random() < 0.3 else str(vowels[0]),
                    phrase_db - (0.0 if beats >= 1.0 else 2.0) + random.triangular(-1.5, 0.0, 0.6),
                    sibilant=bool(tune.random() < 0.2),
                    luck=number,
                )
            )
    return sorted(
        events, key=lambda event: event.start_s - (0.09 if getattr(event, "sibilant", False) else 0.0)
    )


def _next_pitch(pitch: float, chord: Chord, tune: np.random.Generator, *, strong: bool) -> float:
    """A step along the scale, or to a note of the chord where the beat is strong."""
    third = 3 if chord.minor else 4
    allowed = [(chord.root + step) % 12 for step in (0, third, 7)] if strong else list(_SCALE)
    near = [p for p in range(_LOWEST, _HIGHEST + 1) if p % 12 in allowed and 0 < abs(p - pitch) <= 5]
    return float(tune.choice(near or [_LOWEST + 7]))


class _Mouth:
    """Responses of the vocal tract, kept."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._store = NoteStore(round(_STORED_S * rate_hz))

    def puffs(self, vowel: str, effort: int) -> Samples:
        """(_STEPS, frames): the answer to one closing of the folds, at each place between two frames."""
        size = 1 << int(np.ceil(np.log2(2 * _GRAIN_S * self._rate_hz)))
        flat = self._store.get((vowel, effort), lambda: self._make(vowel, effort, size))
        return flat.reshape(_STEPS, -1)

    def _make(self, vowel: str, effort: int, size: int) -> Samples:
        hz = np.fft.rfftfreq(size, 1.0 / self._rate_hz)
        tract = np.ones(hz.size, np.complex128)
        for at_hz, wide_hz in zip((*_FORMANTS_HZ[vowel], *_UPPER_HZ), _WIDTHS_HZ, strict=True):
            tract /= 1.0 - (hz / at_hz) ** 2 + 1j * hz * wide_hz / at_hz**2
        # Flow through the folds falls by 12 dB per octave, the lips give 6 back, softer voices fall further.
        folds = (1j * hz / 140.0) / (1.0 + 1j * hz / 140.0) ** 2 / (1.0 + 1j * hz / _TILT_HZ[effort])
        delays = np.arange(_STEPS)[:, np.newaxis] / _STEPS / self._rate_hz
        grains = np.fft.irfft(tract * folds * np.exp(-2j * np.pi * hz * delays), size, axis=1)
        frames = round(_GRAIN_S * self._rate_hz)
        grains = grains[:, :frames] * np.cos(np.linspace(0.0, np.pi / 2, frames)) ** 0.5
        grains -= grains.mean(axis=1, keepdims=True)
        return np.asarray(grains / np.sqrt(np.sum(grains[0] ** 2)), np.float32).reshape(-1)


def _sing(
    syllable: _Syllable, lead_s: float, mouth: _Mouth, rate_hz: int, random: np.random.Generator
) -> Samples:
    lead = round(lead_s * rate_hz)
    frames = max(1, round(syllable.seconds * rate_hz))
    t_s = np.arange(frames) / rate_hz
    # The pitch glides in; a held note begins to swing after a third of a second.
    glide = (syllable.before - syllable.pitch) * np.exp(-t_s / 0.035)
    swing = np.clip((t_s - 0.3) / 0.4, 0.0, 1.0) * np.sin(2.0 * np.pi * random.uniform(5.0, 5.8) * t_s)
    drift = 0.08 * np.sin(2.0 * np.pi * random.uniform(0.6, 1.4) * t_s + random.uniform(0.0, 6.0))
    turns = np.cumsum(midi_hz(syllable.pitch) * 2.0 ** ((glide + 0.3 * swing + drift) / 12.0)) / rate_hz
    envelope = swell(frames, round(0.05 * rate_hz), round(0.09 * rate_hz)) * (1.0 + 0.06 * swing)
    envelope *= np.exp(-0.35 * t_s / syllable.seconds)

    closings = np.flatnonzero(np.diff(np.floor(turns)) > 0)
    per_frame = turns[closings + 1] - turns[closings]
    places = closings + (np.floor(turns[closings + 1]) - turns[closings]) / per_frame
    effort = int(np.clip(round((syllable.level_db + 8.0) / 4.0), 0, 2))
    first, last = mouth.puffs(syllable.vowel, effort), mouth.puffs(syllable.ends_as, effort)
    out = np.zeros(lead + frames + first.shape[1], np.float32)
    strength = envelope[closings] * random.normal(1.0, 0.03, closings.size).astype(np.float32)
    change = np.clip((places / frames - 0.5) / 0.3, 0.0, 1.0).astype(np.float32)
    for place, much, changed in zip(places, strength, change, strict=True):
        frame = int(place)
        step = int((place - frame) * _STEPS)
        puff = first[step] if changed == 0.0 else first[step] + changed * (last[step] - first[step])
        out[lead + frame : lead + frame + puff.shape[0]] += much * puff
    # Puffs have an energy of 1: their sum has an RMS of 1 after this.
    out *= np.float32(np.sqrt(rate_hz / midi_hz(syllable.pitch)))
    out[lead : lead + frames] += 0.008 * envelope * hiss(frames, 1500.0, 5000.0, rate_hz, random)
    if lead:
        hissing = round(0.11 * rate_hz)
        out[:hissing] += (
            0.08 * hiss(hissing, 4500.0, 9000.0, rate_hz, random) * swell(hissing, hissing // 3, hissing // 3)
        )
    return out


def _breathe(breath: _Breath, rate_hz: int, random: np.random.Generator) -> Samples:
    frames = round(breath.seconds * rate_hz)
    return hiss(frames, 700.0, 5000.0, rate_hz, random) * swell(frames, frames // 2, frames // 4)
