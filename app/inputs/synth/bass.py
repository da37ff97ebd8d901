"""The bass part: one finger after the other, by cable."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from app.inputs.synth.mix import Sound
from app.inputs.synth.pluck import StringKind, damp, midi_hz, pluck
from app.inputs.synth.score import Chord, Desk, Kind, Section, evening, luck
from app.inputs.synth.store import NoteStore
from dsp.decibels import db_to_amplitude

_STRING = StringKind(pluck_at=0.22, heard_at=0.2, ring_s=8.0, ring_halves_hz=400.0, stiffness=6e-5)
_LOWEST = 28
"""E1, the lowest open string."""
_LONGEST_S = 2.2
_STORED_S = 150.0
_TAKES = 3
"""Different plucks of the same note."""
_FULL_EFFORT = 0.179
_VERSE = ((0.0, 0, 0.0), (1.5, 0, -3.0), (2.0, 7, -1.5), (3.5, 12, -4.0))
_CHORUS = (
    (0.0, 0, 0.0),
    (0.5, 0, -2.0),
    (1.0, 0, 0.0),
    (1.5, 0, -2.0),
    (2.0, 0, 0.0),
    (2.5, 0, -2.0),
    (3.0, 12, -0.5),
    (3.5, 7, -2.0),
)


@dataclass(frozen=True, slots=True)
class _Note:
    start_s: float
    stop_s: float
    pitch: int
    level_db: float
    take: int


def play(seed: int, rate_hz: int) -> Iterator[Sound]:
    """Every note of the evening, in order."""
    store = NoteStore(round(_STORED_S * rate_hz))
    for section in evening(seed):
        for note in _notes(section, luck(seed, Desk.BASS, section.index)):
            yield _sound(note, store, seed, rate_hz)


def _notes(section: Section, random: np.random.Generator) -> list[_Note]:
    pattern = _VERSE if section.kind is Kind.VERSE else _CHORUS
    beats = [
        (section.bar_start_s(bar) + beat * section.beat_s, _root(chord) + step, level_db)
        for bar, chord in enumerate(section.chords)
        for beat, step, level_db in pattern
    ]
    starts = [start_s + float(np.clip(random.normal(0.0, 0.008), -0.02, 0.02)) for start_s, _, _ in beats]
    ends = [*starts[1:], section.start_s + section.seconds + 0.6]
    return [
        _Note(
            starts[i],
            min(ends[i] - (0.0 if random.random() < 0.7 else 0.08), starts[i] + _LONGEST_S),
            pitch,
            section.effort_db + level_db + random.triangular(-1.2, 0.0, 0.5),
            int(random.integers(_TAKES)),
        )
        for i, (_, pitch, level_db) in enumerate(beats)
    ]


def _root(chord: Chord) -> int:
    return _LOWEST + (chord.root - _LOWEST) % 12


def _sound(note: _Note, store: NoteStore, seed: int, rate_hz: int) -> Sound:
    # A harder pluck is a brighter one.
    layer = int(np.clip(round((note.level_db + 9.0) / 3.0), 0, 3))
    string = store.get(
        (note.pitch, layer, note.take),
        lambda: pluck(
            _STRING,
            midi_hz(note.pitch),
            seconds=_LONGEST_S,
            bright_hz=(350.0, 480.0, 650.0, 900.0)[layer],
            rate_hz=rate_hz,
            random=luck(seed, Desk.BASS, 1 << 40, note.pitch, layer, note.take),
        ),
    )
    frames = round((note.stop_s - note.start_s) * rate_hz)
    return Sound(
        round(note.start_s * rate_hz),
        damp(string, frames, round(0.03 * rate_hz)),
        _FULL_EFFORT * db_to_amplitude(note.level_db),
    )
