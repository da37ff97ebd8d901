"""Noise floor, hum and clips: figures without a standard's signals, whose truth is put in by construction."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import partial

import numpy as np

from app.conform import scenes
from app.conform.case import Blocks, Case, Measured, Trial
from app.conform.signals import quantised
from app.words import conform as words
from dsp.decibels import db_to_amplitude
from dsp.reading import Clip, ClipKind
from dsp.types import Floats

_MELODY_HZ = (220.0, 277.2, 329.6, 246.9, 196.0)
_BASS_HZ = (41.203, 55.0, 48.999)
_SHARES = (0.0, 0.5, 0.8)


def noise_trials(rate_hz: int) -> Iterator[Trial]:
    """Noise at -70 dBFS while somebody plays."""
    named = partial(words.at_rate, rate_hz=rate_hz)
    for name, low_hz, high_hz, slope, tolerance in (
        (words.white(), 0.0, math.inf, 0.0, 0.5),
        (words.pink(), 20.0, 20000.0, 1.0, 0.5),
        (words.rumble(), 10.0, 120.0, 0.0, 1.0),
    ):
        cases = [
            Case(
                named(words.noise_floor(name, round(100 * share))),
                words.known_by_construction(),
                partial(_floor_dbfs, channel),
                *(scenes.NOISE_DBFS, tolerance, tolerance),
                "dBFS",
            )
            for channel, share in enumerate(_SHARES)
        ]
        yield Trial(
            rate_hz, len(_SHARES), partial(_noise_signal, rate_hz, _SHARES, low_hz, high_hz, slope), cases
        )
    yield Trial(
        rate_hz,
        1,
        partial(_noise_signal, rate_hz, (0.95,), 0.0, math.inf, 0.0),
        [
            Case(
                named(words.noise_floor_withheld()),
                words.known_by_construction(),
                _withheld,
                *(1.0, 0.0, 0.0),
            )
        ],
    )
    yield Trial(
        rate_hz,
        1,
        partial(_noise_signal, rate_hz, (0.0,), 20.0, 20000.0, 0.0),
        # The curve takes 2.05 dB from white noise between 20 Hz and 20 kHz.
        [
            Case(
                named(words.noise_floor_a()),
                "IEC 61672-1 Annex E",
                lambda measured: float(measured.summary.noise_floor_dba[0]),
                *(scenes.NOISE_DBFS - 2.05, 0.5, 0.5),
                "dBFS A",
            )
        ],
    )


def _noise_signal(
    rate_hz: int, shares: tuple[float, ...], low_hz: float, high_hz: float, slope: float
) -> Blocks:
    seconds = 30.0
    columns = [
        scenes.noise(rate_hz, seconds, scenes.NOISE_DBFS, low_hz, high_hz, slope, seed)
        + scenes.playing(rate_hz, seconds, share, _MELODY_HZ)
        for seed, share in enumerate(shares)
    ]
    yield from scenes.in_blocks(np.stack(columns, axis=1), rate_hz)


def _floor_dbfs(channel: int, measured: Measured) -> float:
    return float(measured.summary.noise_floor_dbfs[channel])


def _withheld(measured: Measured) -> float:
    return float(np.isnan(measured.summary.noise_floor_dbfs[0]))


def hum_trials(rate_hz: int) -> Iterator[Trial]:
    """Mains hum under noise and a bass that plays 60 % of the time, and two signals without any."""
    seconds = 15.0
    named = partial(words.at_rate, rate_hz=rate_hz)
    rows = ((50.0, -70.0), (60.0, -70.0), (50.1, -70.0), (50.0, -90.0))
    # The fundamental and harmonics of 1/2, 1/3 … of it.
    total_db = 10.0 * math.log10(sum(1.0 / k**2 for k in range(1, 7)))

    def signal() -> Blocks:
        def room(seed: int) -> Floats:
            return scenes.noise(rate_hz, seconds, -75.0, 0.0, math.inf, 0.0, seed)

        bass = scenes.playing(rate_hz, seconds, 0.6, _BASS_HZ)
        columns = [
            room(seed) + bass + scenes.hum(rate_hz, seconds, f_hz, level)
            for seed, (f_hz, level) in enumerate(rows)
        ]
        columns.append(room(len(rows)) + bass)
        held = scenes.hum(rate_hz, seconds, 100.0, -20.0, harmonics=1)
        held[round(10.0 * rate_hz) :] = 0.0
        columns.append(room(len(rows) + 1) + held)
        yield from scenes.in_blocks(np.stack(columns, axis=1), rate_hz)

    cases = []
    for channel, (f_hz, level) in enumerate(rows):
        scene = words.hum_scene(f_hz, level)
        cases += [
            Case(
                named(words.hum_frequency(scene)),
                words.known_by_construction(),
                partial(_mains_hz, channel),
                *(round(f_hz), 0.0, 0.0),
                "Hz",
            ),
            Case(
                named(words.hum_level(scene)),
                words.known_by_construction(),
                partial(_hum_dbfs, channel),
                *(level + total_db, 1.0, 1.0),
                "dBFS",
            ),
        ]
    for channel, scene in enumerate((words.playing_without_hum(), words.held_bass_note()), len(rows)):
        cases.append(
            Case(
                named(words.hum_frequency(scene)),
                words.known_by_construction(),
                partial(_mains_hz, channel),
                *(0.0, 0.0, 0.0),
                "Hz",
            )
        )
    yield Trial(rate_hz, len(rows) + 2, signal, cases)


def _mains_hz(channel: int, measured: Measured) -> float:
    hum = measured.summary.hum[channel]
    return 0.0 if hum is None else float(hum.mains_hz)


def _hum_dbfs(channel: int, measured: Measured) -> float:
    hum = measured.summary.hum[channel]
    return math.nan if hum is None else hum.level_dbfs


def clip_trials(rate_hz: int) -> Iterator[Trial]:
    """Clips at full scale, to the frame, and overloads that came before the converter."""
    yield _limited_sine(rate_hz)
    yield _short_runs(rate_hz)
    yield _flat_tops(rate_hz)


def _limited_sine(rate_hz: int) -> Trial:
    f_hz, seconds = 100.0, 2.0

    def signal() -> Blocks:
        t_s = np.arange(round(seconds * rate_hz)) / rate_hz
        wave = np.clip(db_to_amplitude(3.0) * np.sin(2.0 * math.pi * f_hz * t_s), -1.0, 1.0)
        yield from scenes.in_blocks(wave[:, np.newaxis], rate_hz)

    case = Case(
        words.at_rate(words.clipped_half_cycles(), rate_hz),
        words.known_by_construction(),
        lambda measured: float(sum(clip.runs for clip in measured.clips if clip.kind is ClipKind.FULL_SCALE)),
        *(2.0 * f_hz * seconds, 1.0, 1.0),
    )
    return Trial(rate_hz, 1, signal, [case])


def _short_runs(rate_hz: int) -> Trial:
    """A quiet tone in which a few frames stand at full scale."""
    start, frames = 12345, 7
    rows = (
        (words.highest_code(16), 1.0 - 2.0**-15, frames),
        (words.highest_code(24), 1.0 - 2.0**-23, frames),
        (words.lowest_code(), -1.0, frames),
        (words.beyond_full_scale(), 1.7, 3),
        (words.frames_at_full_scale(1), 1.0, 1),
        (words.frames_at_full_scale(2), 1.0, 2),
    )

    def signal() -> Blocks:
        t_s = np.arange(rate_hz) / rate_hz
        quiet = quantised(0.1 * np.sin(2.0 * math.pi * 100.0 * t_s), 16)
        columns = np.repeat(quiet[:, np.newaxis], len(rows), axis=1)
        for channel, (_, value, length) in enumerate(rows):
            columns[start : start + length, channel] = value
        yield columns

    named = partial(words.at_rate, rate_hz=rate_hz)
    cases = []
    for channel, (what, _, length) in enumerate(rows):
        if length < 3:
            count = partial(_count, channel, ClipKind.FULL_SCALE)
            cases.append(
                Case(named(words.clips_found(what)), words.known_by_construction(), count, *(0.0, 0.0, 0.0))
            )
            continue
        first = partial(_only, channel, lambda clip: clip.start_frame)
        lasts = partial(_only, channel, lambda clip: clip.frames)
        cases.append(
            Case(
                named(words.clip_start(what)), words.known_by_construction(), first, *(float(start), 0.0, 0.0)
            )
        )
        cases.append(
            Case(
                named(words.clip_length(what)),
                words.known_by_construction(),
                lasts,
                *(float(length), 0.0, 0.0),
            )
        )
    return Trial(rate_hz, len(rows), signal, cases)


def _flat_tops(rate_hz: int) -> Trial:
    seconds, factor, ceiling = 12.0, 4, 0.5
    rows = (words.overloaded_chords(), words.clean_chords(), words.steady_sine(), words.square_wave_synth())

    def signal() -> Blocks:
        fine = scenes.chords(factor * rate_hz, seconds, seed=6)
        columns = [scenes.overloaded(fine, rate_hz, factor, excess_db, ceiling) for excess_db in (6.0, 0.0)]
        t_s = np.arange(columns[0].size) / rate_hz
        columns.append(ceiling * np.sin(2.0 * math.pi * 220.0 * t_s))
        columns.append(scenes.square_synth(rate_hz, seconds, 110.0, -6.0))
        yield from scenes.in_blocks(np.stack(columns, axis=1), rate_hz)

    cases = [
        Case(
            words.at_rate(words.overload_suspected(what), rate_hz),
            words.known_by_construction(),
            lambda measured, channel=channel: float(_count(channel, ClipKind.FLAT_TOP, measured) > 0),  # type: ignore[misc]
            *(expected, 0.0, 0.0),
        )
        for channel, (what, expected) in enumerate(zip(rows, (1.0, 0.0, 0.0, 0.0), strict=True))
    ]
    return Trial(rate_hz, len(rows), signal, cases)


def _count(channel: int, kind: ClipKind, measured: Measured) -> float:
    return float(sum(clip.channel == channel and clip.kind is kind for clip in measured.clips))


def _only(channel: int, figure: Callable[[Clip], int], measured: Measured) -> float:
    """A figure of the one full-scale clip in a channel; nan when there is not exactly one."""
    found = [clip for clip in measured.clips if clip.channel == channel and clip.kind is ClipKind.FULL_SCALE]
    return float(figure(found[0])) if len(found) == 1 else math.nan
