"""The drum part: a small kit in front of four microphones, each of which hears every drum."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import partial

import numpy as np

from app.inputs.synth.hiss import hiss
from app.inputs.synth.mix import Sound, Tap
from app.inputs.synth.score import Desk, Kind, Section, evening, luck
from app.inputs.synth.store import NoteStore
from dsp.decibels import db_to_amplitude
from dsp.types import Floats, Samples

CHANNELS = 4
"""Kick, snare, overhead left, overhead right."""
_FULL_EFFORT = 0.275
_TAKES = 4
"""Different strokes of the same drum."""
_STORED_S = 60.0
_SOUND_M_S = 343.0


class _Drum(StrEnum):
    KICK = "kick"
    SNARE = "snare"
    HAT = "hat"
    OPEN_HAT = "open_hat"
    HIGH_TOM = "high_tom"
    LOW_TOM = "low_tom"
    CRASH = "crash"


_HEARD: dict[_Drum, tuple[tuple[float, float], ...]] = {
    # (gain, distance in metres) for each microphone.
    _Drum.KICK: ((1.0, 0.1), (0.08, 0.7), (0.3, 1.6), (0.3, 1.6)),
    _Drum.SNARE: ((0.09, 0.8), (1.0, 0.1), (0.6, 1.2), (0.55, 1.4)),
    _Drum.HAT: ((0.02, 1.1), (0.1, 0.5), (0.34, 0.9), (0.14, 1.6)),
    _Drum.OPEN_HAT: ((0.02, 1.1), (0.12, 0.5), (0.42, 0.9), (0.18, 1.6)),
    _Drum.HIGH_TOM: ((0.1, 0.7), (0.16, 0.5), (0.6, 1.0), (0.45, 1.2)),
    _Drum.LOW_TOM: ((0.14, 0.7), (0.12, 0.8), (0.4, 1.5), (0.65, 1.0)),
    _Drum.CRASH: ((0.03, 1.4), (0.07, 1.1), (0.65, 0.8), (0.4, 1.5)),
}


@dataclass(frozen=True, slots=True)
class _Hit:
    start_s: float
    drum: _Drum
    level_db: float
    take: int


def play(seed: int, rate_hz: int) -> Iterator[Sound]:
    """Every stroke of the evening, in order."""
    store = NoteStore(round(_STORED_S * rate_hz))
    taps = {
        drum: tuple(
            Tap(channel, gain, round(metres / _SOUND_M_S * rate_hz))
            for channel, (gain, metres) in enumerate(mics)
        )
        for drum, mics in _HEARD.items()
    }
    for section in evening(seed):
        for hit in _hits(section, luck(seed, Desk.DRUMS, section.index)):
            make = partial(_strike, hit.drum, hit.take, seed, rate_hz)
            sound = store.get((hit.drum, hit.take), make)
            gain = _FULL_EFFORT * db_to_amplitude(hit.level_db)
            yield Sound(round(hit.start_s * rate_hz), sound, gain, taps[hit.drum])


def _hits(section: Section, random: np.random.Generator) -> list[_Hit]:
    hits = []
    for bar in range(len(section.chords)):
        last = bar == len(section.chords) - 1
        for beat, drum, level_db in _bar(section.kind, bar, fill=bar % 4 == 3):
            hits.append((section.bar_start_s(bar) + beat * section.beat_s, drum, level_db))
        if last:
            end_s = section.bar_start_s(bar + 1)
            hits += [(end_s, _Drum.KICK, 0.0), (end_s, _Drum.CRASH, -1.0)]
    return sorted(
        (
            _Hit(
                at_s + float(np.clip(random.normal(0.0, 0.005), -0.015, 0.015)),
                drum,
                section.effort_db + level_db + random.triangular(-2.0, 0.0, 0.5),
                int(random.integers(_TAKES)),
            )
            for at_s, drum, level_db in hits
        ),
        key=lambda hit: hit.start_s,
    )


def _bar(kind: Kind, bar: int, *, fill: bool) -> list[tuple[float, _Drum, float]]:
    """(beat, drum, level in dB) of every stroke of a bar."""
    chorus = kind is Kind.CHORUS
    kicks = (0.0, 0.75, 2.0, 2.5) if chorus else (0.0, 2.0, 2.75)
    strokes = [(beat, _Drum.KICK, 0.0 if beat % 1 == 0 else -2.0) for beat in kicks]
    strokes += [(1.0, _Drum.SNARE, 0.0)]
    hat = _Drum.OPEN_HAT if chorus else _Drum.HAT
    beats = np.arange(0.0, 3.0 if fill else 4.0, 0.5)
    strokes += [(float(beat), hat, 0.0 if beat % 1 == 0 else -4.0) for beat in beats]
    if fill:
        drums = (_Drum.SNARE, _Drum.HIGH_TOM, _Drum.HIGH_TOM, _Drum.LOW_TOM)
        strokes += [(3.0 + quarter / 4, drum, -1.5 + 0.5 * quarter) for quarter, drum in enumerate(drums)]
    else:
        strokes += [(3.0, _Drum.SNARE, 0.0), (2.25, _Drum.SNARE, -14.0)]
    if chorus and bar % 4 == 0:
        strokes.append((0.0, _Drum.CRASH, 0.0))
    return strokes


def _strike(drum: _Drum, take: int, seed: int, rate_hz: int) -> Samples:
    """One stroke, scaled to a peak of 1."""
    random = luck(seed, Desk.DRUMS, 1 << 40, list(_Drum).index(drum), take)
    stroke = _STROKES[drum](rate_hz, random)
    ramp = max(2, round(0.0003 * rate_hz))
    stroke[:ramp] *= np.linspace(0.0, 1.0, ramp)
    stroke *= np.linspace(1.0, 0.0, stroke.size) ** 0.25
    return np.asarray(stroke / np.max(np.abs(stroke)), np.float32)


def _kick(rate_hz: int, random: np.random.Generator) -> Floats:
    t_s = _time(0.7, rate_hz)
    skin = _sweep(t_s, 50.0 * random.uniform(0.98, 1.02), 95.0, 0.022, rate_hz) * np.exp(-t_s / 0.13)
    beater = hiss(t_s.size, 1500.0, 5000.0, rate_hz, random) * np.exp(-t_s / 0.003)
    return skin + 0.12 * beater


def _snare(rate_hz: int, random: np.random.Generator) -> Floats:
    t_s = _time(0.5, rate_hz)
    tune = random.uniform(0.98, 1.02)
    skin = _sweep(t_s, 187.0 * tune, 40.0, 0.01, rate_hz) * np.exp(-t_s / 0.07)
    second = np.sin(2.0 * np.pi * 331.0 * tune * t_s) * np.exp(-t_s / 0.04)
    wires = hiss(t_s.size, 1200.0, 9000.0, rate_hz, random) * np.exp(-t_s / 0.1)
    return skin + 0.5 * second + 0.22 * wires


def _tom(low_hz: float) -> Callable[[int, np.random.Generator], Floats]:
    def strike(rate_hz: int, random: np.random.Generator) -> Floats:
        t_s = _time(0.9, rate_hz)
        skin = _sweep(t_s, low_hz * random.uniform(0.99, 1.01), 0.5 * low_hz, 0.04, rate_hz)
        stick = hiss(t_s.size, 800.0, 5000.0, rate_hz, random) * np.exp(-t_s / 0.006)
        return skin * np.exp(-t_s / 0.2) + 0.15 * stick

    return strike


def _metal(seconds: float, low_hz: float, fall_s: float) -> Callable[[int, np.random.Generator], Floats]:
    def strike(rate_hz: int, random: np.random.Generator) -> Floats:
        t_s = _time(seconds, rate_hz)
        wash = hiss(t_s.size, low_hz, 14_000.0, rate_hz, random) * np.exp(-t_s / fall_s)
        stick = hiss(t_s.size, low_hz, 9_000.0, rate_hz, random) * np.exp(-t_s / 0.008)
        return wash + 0.8 * stick

    return strike


_STROKES: dict[_Drum, Callable[[int, np.random.Generator], Floats]] = {
    _Drum.KICK: _kick,
    _Drum.SNARE: _snare,
    _Drum.HAT: _metal(0.25, 6000.0, 0.04),
    _Drum.OPEN_HAT: _metal(0.5, 5000.0, 0.12),
    _Drum.HIGH_TOM: _tom(140.0),
    _Drum.LOW_TOM: _tom(88.0),
    _Drum.CRASH: _metal(1.8, 2800.0, 0.45),
}


def _time(seconds: float, rate_hz: int) -> Floats:
    return np.arange(round(seconds * rate_hz)) / rate_hz


def _sweep(t_s: Floats, rest_hz: float, above_hz: float, fall_s: float, rate_hz: int) -> Floats:
    """A sine that falls to its resting pitch, as a skin does after the blow."""
    turns = np.cumsum(rest_hz + above_hz * np.exp(-t_s / fall_s)) / rate_hz
    return np.asarray(np.sin(2.0 * np.pi * turns))
