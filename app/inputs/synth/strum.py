"""The guitar part: six strings over a wooden body, strummed in front of a microphone."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from app.inputs.synth.mix import Sound
from app.inputs.synth.pluck import StringKind, damp, midi_hz, pluck
from app.inputs.synth.score import Chord, Desk, Kind, Section, evening, luck
from app.inputs.synth.store import NoteStore
from dsp.decibels import db_to_amplitude
from dsp.types import Floats

_FULL_EFFORT = 0.06
_LONGEST_S = 2.4
_STORED_S = 180.0
_OPEN = (40, 45, 50, 55, 59, 64)
"""MIDI notes of the open strings, lowest first: E A D G B E."""
_FRETS: dict[Chord, tuple[int | None, ...]] = {
    Chord.A_MINOR: (None, 0, 2, 2, 1, 0),
    Chord.C: (None, 3, 2, 0, 1, 0),
    Chord.D_MINOR: (None, None, 0, 2, 3, 1),
    Chord.E_MINOR: (0, 2, 2, 0, 0, 0),
    Chord.F: (1, 3, 3, 2, 1, 1),
    Chord.G: (3, 2, 0, 0, 0, 3),
}


@dataclass(frozen=True, slots=True)
class _Stroke:
    beat: float
    down: bool
    level_db: float


_VERSE = (
    _Stroke(0.0, True, 0.0),
    _Stroke(1.0, True, -3.0),
    _Stroke(1.5, False, -5.0),
    _Stroke(2.0, True, -1.5),
    _Stroke(3.0, True, -3.0),
    _Stroke(3.5, False, -4.0),
)
_CHORUS = (
    _Stroke(0.0, True, 0.0),
    _Stroke(0.5, False, -2.0),
    _Stroke(1.0, True, -0.5),
    _Stroke(1.5, False, -2.0),
    _Stroke(2.0, True, 0.0),
    _Stroke(2.5, False, -2.0),
    _Stroke(3.0, True, -0.5),
    _Stroke(3.25, True, -4.0),
    _Stroke(3.5, False, -2.0),
)


@dataclass(frozen=True, slots=True)
class _Note:
    start_s: float
    stop_s: float
    pitch: int
    level_db: float


def _body(hz: Floats) -> Floats:
    """A box with an air resonance, two of the top, and less and less above."""
    modes = ((105.0, 25.0, 1.0), (205.0, 40.0, 1.2), (390.0, 90.0, 0.7))
    peaks = sum((gain / (1.0 + ((hz - at) / wide) ** 2) for at, wide, gain in modes), np.zeros_like(hz))
    return (0.5 + peaks) / np.sqrt(1.0 + (hz / 4000.0) ** 2)


_STRING = StringKind(
    pluck_at=0.26, heard_at=0.37, ring_s=6.0, ring_halves_hz=900.0, stiffness=3e-5, body=_body
)


def play(seed: int, rate_hz: int) -> Iterator[Sound]:
    """Every string of every stroke of the evening, in order."""
    store = NoteStore(round(_STORED_S * rate_hz))
    for section in evening(seed):
        for note in _notes(section, luck(seed, Desk.GUITAR, section.index)):
            yield _sound(note, store, seed, rate_hz)


def _notes(section: Section, random: np.random.Generator) -> list[_Note]:
    """Each string rings until it is struck again or the hand moves to the next chord."""
    pattern = _VERSE if section.kind is Kind.VERSE else _CHORUS
    struck: dict[int, list[_Note]] = {string: [] for string in range(len(_OPEN))}
    for bar, chord in enumerate(section.chords):
        # The hand leaves a chord a moment before the next one, and lets the last one ring.
        last = bar == len(section.chords) - 1
        leave_s = section.bar_start_s(bar + 1) + (1.2 if last else 0.0)
        for stroke in pattern:
            at_s = section.bar_start_s(bar) + stroke.beat * section.beat_s
            at_s += float(np.clip(random.normal(0.0, 0.007), -0.02, 0.02))
            level_db = section.effort_db + stroke.level_db + random.triangular(-1.2, 0.0, 0.5)
            strings = [string for string, fret in enumerate(_FRETS[chord]) if fret is not None]
            if not stroke.down:
                strings = strings[:1:-1]
            # The hand brings the same strength, however many strings it meets.
            level_db -= 7.0 * math.log10(len(strings) / 5.0)
            gap_s = random.uniform(0.005, 0.011) * (1.0 if stroke.down else 0.8)
            for order, string in enumerate(strings):
                pitch = _OPEN[string] + (_FRETS[chord][string] or 0)
                string_db = level_db + random.uniform(-1.5, 0.0) - (0.3 * order if not stroke.down else 0.0)
                start_s = at_s + order * gap_s
                struck[string].append(_Note(start_s, min(leave_s, start_s + _LONGEST_S), pitch, string_db))
    end_of_time = _Note(np.inf, np.inf, 0, 0.0)
    notes = [
        _Note(now.start_s, min(now.stop_s, then.start_s), now.pitch, now.level_db)
        for same_string in struck.values()
        for now, then in pairwise([*same_string, end_of_time])
    ]
    return sorted((note for note in notes if note.stop_s > note.start_s), key=lambda note: note.start_s)


def _sound(note: _Note, store: NoteStore, seed: int, rate_hz: int) -> Sound:
    layer = int(np.clip(round((note.level_db + 9.0) / 4.0), 0, 2))
    string = store.get(
        (note.pitch, layer),
        lambda: pluck(
            _STRING,
            midi_hz(note.pitch),
            seconds=_LONGEST_S,
            bright_hz=(800.0, 1200.0, 1700.0)[layer],
            rate_hz=rate_hz,
            random=luck(seed, Desk.GUITAR, 1 << 40, note.pitch, layer),
        ),
    )
    frames = round((note.stop_s - note.start_s) * rate_hz)
    return Sound(
        round(note.start_s * rate_hz),
        damp(string, frames, round(0.02 * rate_hz)),
        _FULL_EFFORT * db_to_amplitude(note.level_db),
    )
