"""Levels and peaks: IEC 60268-17, AES17, BS.1770-5 Annex 2 with the cases of EBU Tech 3341."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import partial

import numpy as np
import numpy.typing as npt

from app.conform.case import Blocks, Case, Measured, Trial
from app.conform.signals import (
    SILENCE,
    peaks_between_grids,
    peaks_between_samples,
    phases,
    quantised,
    tone,
)
from app.words import conform as words
from dsp.types import Floats

_IEC = "IEC 60268-17"
_AES17 = "AES17"
_TECH3341 = "EBU Tech 3341 case {}"

_TONE_DBFS, _TONE_HZ, _TONE_S = -18.0, 997, 3.0
_BURSTS_DB = {10: -24.9, 20: -18.9, 50: -11.1, 100: -5.6, 200: -1.3, 500: 0.11}
_RELEASES_MS = {50: 112.0, 10: 224.0, 5: 256.0, 1: 300.0}
_RESPONSE_DB = {
    25: 0.5,
    35: 0.2,
    100: 0.2,
    1000: 0.2,
    3000: 0.2,
    5000: 0.2,
    8000: 0.2,
    10000: 0.2,
    12000: 0.5,
    16000: 0.5,
}


def average_trials(rate_hz: int) -> Iterator[Trial]:
    """The slow average: how it moves, and how it reads steady tones at every phase."""
    yield _step(rate_hz)
    yield _bursts(rate_hz)
    yield from (_ripple(rate_hz, f_hz) for f_hz in (20, 50))
    yield from (_response(rate_hz, f_hz, tolerance) for f_hz, tolerance in _RESPONSE_DB.items())


def _step(rate_hz: int) -> Trial:
    named = partial(words.at_rate, rate_hz=rate_hz)
    cases = [
        Case(named(words.average_settled()), _AES17, _settled_dbfs, *(_TONE_DBFS, 0.05, 0.05), "dBFS"),
        Case(named(words.average_rise()), _IEC, _rise_ms, *(300.0, 3.0, 3.0), "ms"),
        Case(named(words.average_overshoot()), _IEC, _overshoot_percent, *(1.25, 0.25, 0.25), "%"),
        *(
            Case(
                named(words.average_release(percent)),
                _IEC,
                partial(_release_ms, percent),
                *(ms, 5.0, 5.0),
                "ms",
            )
            for percent, ms in _RELEASES_MS.items()
        ),
    ]
    segments = [(_TONE_S, (_TONE_DBFS,)), (1.0, (SILENCE,))]
    return Trial(rate_hz, 1, partial(tone, rate_hz, segments, _TONE_HZ), cases)


def _reading(measured: Measured, channel: int = 0) -> Floats:
    """The average as a share of the sustained reading, one value a hop, 0 before the first."""
    share: Floats = 10.0 ** ((measured.average_dbfs[:, channel] - _TONE_DBFS) / 20.0)
    return np.concatenate(([0.0], share))


def _settled_dbfs(measured: Measured) -> float:
    return float(measured.average_dbfs[measured.hop_at(_TONE_S), 0])


def _rise_ms(measured: Measured) -> float:
    reading = _reading(measured)
    level = 0.99 * reading[measured.hop_at(_TONE_S) + 1]
    return _crossing_ms(measured, reading, reading >= level, 0, level)


def _release_ms(percent: int, measured: Measured) -> float:
    reading = _reading(measured)
    first = measured.hop_at(_TONE_S) + 1
    level = percent / 100.0 * reading[first]
    return _crossing_ms(measured, reading, reading <= level, first, level)


def _crossing_ms(
    measured: Measured, reading: Floats, beyond: npt.NDArray[np.bool_], first: int, level: float
) -> float:
    """When the reading first passes a level, between two hops, counted from a hop; nan when it does not."""
    after = first + int(np.argmax(beyond[first:]))
    if not beyond[after] or after == first:
        return math.nan
    part = (level - reading[after - 1]) / (reading[after] - reading[after - 1])
    return float(after - 1 + part - first) * measured.hop_frames / measured.rate_hz * 1000.0


def _overshoot_percent(measured: Measured) -> float:
    reading = _reading(measured)
    settled = reading[measured.hop_at(_TONE_S) + 1]
    return float(reading.max() / settled - 1.0) * 100.0 if settled else math.nan


def _bursts(rate_hz: int) -> Trial:
    """One burst a channel, all beginning together."""
    lengths_ms = sorted({*_BURSTS_DB, 300})
    segments, before_ms = [], 0
    for length_ms in lengths_ms:
        levels = tuple(_TONE_DBFS if length_ms <= other else SILENCE for other in lengths_ms)
        segments.append(((length_ms - before_ms) / 1000.0, levels))
        before_ms = length_ms
    segments.append((0.5, (SILENCE,) * len(lengths_ms)))
    at = {length_ms: channel for channel, length_ms in enumerate(lengths_ms)}
    named = partial(words.at_rate, rate_hz=rate_hz)

    def highest(channel: int, measured: Measured) -> float:
        return float(measured.summary.average_max_dbfs[channel]) - _TONE_DBFS

    cases = [
        Case(named(words.average_burst(ms)), _IEC, partial(highest, at[ms]), *(expected, 0.2, 0.2), "dB")
        for ms, expected in _BURSTS_DB.items()
    ]
    cases.append(
        Case(
            named(words.average_at_300_ms()),
            _IEC,
            lambda measured: float(_reading(measured, at[300])[measured.hop_at(0.3) + 1]),
            *(0.990, 0.005, 0.005),
        )
    )
    return Trial(rate_hz, len(lengths_ms), partial(tone, rate_hz, segments, _TONE_HZ), cases)


def _steady_part(measured: Measured) -> Floats:
    """The last quarter of a second; the average has settled within 0.01 dB by then."""
    hops = round(0.25 * measured.rate_hz / measured.hop_frames)
    return measured.average_dbfs[-hops:]


def _ripple(rate_hz: int, f_hz: int) -> Trial:
    case = Case(
        words.at_rate(words.average_ripple(f_hz), rate_hz),
        _IEC,
        lambda measured: float(np.ptp(_steady_part(measured))),
        *(0.0, 0.0, 0.1),
        "dB",
    )
    return Trial(rate_hz, 1, partial(tone, rate_hz, [(1.0, (-20.0,))], f_hz), [case])


def _response(rate_hz: int, f_hz: int, tolerance: float) -> Trial:
    level_dbfs = -20.0
    cases = [
        Case(
            words.at_rate(words.average_response(f_hz, lowest), rate_hz),
            words.own_requirement(),
            lambda measured, pick=pick: float(pick(_steady_part(measured).mean(axis=0))),  # type: ignore[misc]
            *(level_dbfs, tolerance, tolerance),
            "dBFS",
        )
        for lowest, pick in ((True, np.min), (False, np.max))
    ]
    return Trial(rate_hz, 4, partial(phases, rate_hz, f_hz, level_dbfs, 1.0, 4), cases)


def aes17_trials(rate_hz: int) -> Iterator[Trial]:
    """Full scale, the largest codes, and what converters make of silence."""
    named = partial(words.at_rate, rate_hz=rate_hz)
    n = np.arange(rate_hz)
    sine = np.sin(2.0 * math.pi * 997.0 * n / rate_hz)
    square = np.where(n % (rate_hz // 100) < rate_hz // 200, 1.0, -1.0)

    def rms(channel: int) -> Callable[[Measured], float]:
        return lambda measured: float(measured.summary.rms_dbfs[channel])

    def peak(channel: int) -> Callable[[Measured], float]:
        return lambda measured: float(measured.summary.peak_dbfs[channel])

    def signal() -> Blocks:
        rng = np.random.default_rng(17)
        columns = [
            sine,
            square,
            quantised(sine * (1.0 - 2.0**-15), 16),
            quantised(sine * (1.0 - 2.0**-23), 24),
        ]
        columns += [quantised(np.zeros(n.size), bits, rng) for bits in (16, 24)]
        yield np.stack(columns, axis=1).astype(np.float32)

    cases = [
        Case(named(words.rms_of(words.full_scale_sine())), _AES17, rms(0), *(0.0, 0.01, 0.01), "dBFS"),
        Case(
            named(words.crest_of_sine()),
            _AES17,
            lambda measured: float(measured.summary.crest_db[0]),
            *(3.01, 0.01, 0.01),
            "dB",
        ),
        Case(named(words.rms_of(words.full_scale_square())), _AES17, rms(1), *(3.01, 0.01, 0.01), "dBFS"),
        Case(named(words.peak_of_largest_code(16)), _AES17, peak(2), *(-0.000265, 1e-6, 1e-6), "dBFS"),
        Case(named(words.peak_of_largest_code(24)), _AES17, peak(3), *(-0.000001, 1e-6, 1e-6), "dBFS"),
        Case(named(words.rms_of(words.dithered_silence(16))), _AES17, rms(4), *(-93.32, 0.1, 0.1), "dBFS"),
        Case(named(words.rms_of(words.dithered_silence(24))), _AES17, rms(5), *(-141.48, 0.1, 0.1), "dBFS"),
    ]
    yield Trial(rate_hz, 6, signal, cases)


def true_peak_trials(rate_hz: int) -> Iterator[Trial]:
    """Cases 15 to 23, one a channel."""
    for first, signal, levels_dbtp in (
        (15, peaks_between_samples, (-6.0, -6.0, -6.0, -6.0, 3.0)),
        (20, peaks_between_grids, (0.0, 0.0, 0.0, 0.0)),
    ):
        cases = [
            Case(
                words.at_rate(words.true_peak(), rate_hz),
                _TECH3341.format(first + channel),
                lambda measured, channel=channel: float(measured.summary.true_peak_dbtp[channel]),  # type: ignore[misc]
                *(level, 0.4, 0.2),
                "dBTP",
            )
            for channel, level in enumerate(levels_dbtp)
        ]
        yield Trial(rate_hz, len(levels_dbtp), partial(signal, rate_hz), cases)
