"""Loudness: ITU-R BS.1770-5, EBU Tech 3341 V4 Table 1, EBU Tech 3342.

Cases 7 and 8 of Tech 3341 and 5 and 6 of Tech 3342 are recordings that only the EBU may hand out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from functools import partial

import numpy as np

from app.conform.case import Case, Measured, Trial
from app.conform.signals import SILENCE, Segment, in_small_blocks, stereo, tone
from app.words import conform as words
from dsp.types import Floats

_BS1770 = "ITU-R BS.1770-5 Annex 1"
_TECH3341 = "EBU Tech 3341 case {}"
_TECH3342 = "EBU Tech 3342 case {}"
_LUFS, _LU = "LUFS", "LU"

_DRIVER_BLOCK_FRAMES = 512

_INTEGRATED: dict[int, list[Segment]] = {
    3: stereo((10, -36), (60, -23), (10, -36)),
    4: stereo((10, -72), (10, -36), (60, -23), (10, -36), (10, -72)),
    5: stereo((20, -26), (20.1, -20), (20, -26)),
    6: [(20, (-28, -28, -24, -30, -30))],
}

_RANGES: dict[int, tuple[list[Segment], float]] = {
    1: (stereo((20, -20), (20, -30)), 10.0),
    2: (stereo((20, -20), (20, -15)), 5.0),
    3: (stereo((20, -40), (20, -20)), 20.0),
    4: (stereo((20, -50), (20, -35), (20, -20), (20, -35), (20, -50)), 15.0),
}

_K_RESPONSE_DB = {
    20: -13.28,
    38: -6.00,
    60: -2.90,
    100: -1.13,
    200: -0.27,
    500: 0.04,
    997: 0.691,
    2000: 3.07,
    5000: 4.01,
    10000: 4.04,
}
"""Computed from the coefficients that the standard tabulates for 48 kHz."""

_BURSTS = range(20)
_FEWER_BURSTS = (0, 3, 7, 13, 19)
"""Of the twenty bursts that differ only in place and level: the ends, and three between."""


def loudness_trials(rate_hz: int, *, every_burst: bool = True) -> Iterator[Trial]:
    """Every loudness signal at one rate; of twenty like bursts, five unless ``every_burst``."""
    places = _BURSTS if every_burst else _FEWER_BURSTS
    yield _one_channel(rate_hz)
    yield from (_weighting(rate_hz, f_hz, gain_db) for f_hz, gain_db in _K_RESPONSE_DB.items())
    yield from (_steady(rate_hz, number, level) for number, level in ((1, -23.0), (2, -33.0)))
    for number, segments in _INTEGRATED.items():
        case = Case(
            words.at_rate(words.integrated(), rate_hz),
            _TECH3341.format(number),
            lambda measured: measured.summary.integrated_lufs,
            *(-23.0, 0.1, 0.1),
            _LUFS,
        )
        yield _toned(rate_hz, segments, [case])
    yield _constant(
        rate_hz, 9, [(1.34, -20), (1.66, -30)] * 5, _short_term_from(3.0), words.short_term_all_along
    )
    yield _constant(
        rate_hz, 12, [(0.18, -20), (0.22, -30)] * 25, _momentary_from(1.0), words.momentary_all_along
    )
    yield from (_short_term_file(rate_hz, i) for i in places)
    yield _short_term_live(rate_hz, places)
    yield from (_momentary_file(rate_hz, i) for i in places)
    yield _momentary_live(rate_hz, places)


def range_trials(rate_hz: int) -> Iterator[Trial]:
    """The loudness range signals that can be synthesised."""
    for number, (segments, expected_lu) in _RANGES.items():
        case = Case(
            words.at_rate(words.loudness_range(), rate_hz),
            _TECH3342.format(number),
            lambda measured: measured.summary.range_lu,
            *(expected_lu, 1.0, 1.0),
            _LU,
        )
        yield _toned(rate_hz, segments, [case])


def _toned(rate_hz: int, segments: Sequence[Segment], cases: Sequence[Case], f_hz: int = 1000) -> Trial:
    return Trial(rate_hz, len(segments[0][1]), partial(tone, rate_hz, segments, f_hz), cases)


def _one_channel(rate_hz: int) -> Trial:
    # The standard's own figure is for 48 kHz; elsewhere the filter only has to match its response.
    tolerance = 0.01 if rate_hz == 48000 else 0.05
    case = Case(
        words.at_rate(words.one_channel_full_scale(), rate_hz),
        _BS1770,
        lambda measured: measured.summary.integrated_lufs,
        *(-3.01, tolerance, tolerance),
        _LUFS,
    )
    return _toned(rate_hz, [(20, (0.0,))], [case], 997)


def _weighting(rate_hz: int, f_hz: int, gain_db: float) -> Trial:
    level_dbfs = -20.0
    tolerance = 0.02 if rate_hz == 48000 else 0.05

    def gain(measured: Measured) -> float:
        mean_square_db = level_dbfs - 10.0 * math.log10(2.0)
        return float(measured.short_term_lufs[-1]) + 0.691 - mean_square_db

    case = Case(
        words.at_rate(words.weighting_at(f_hz), rate_hz),
        _BS1770,
        gain,
        *(gain_db, tolerance, tolerance),
        "dB",
    )
    return _toned(rate_hz, [(3.5, (level_dbfs,))], [case], f_hz)


def _steady(rate_hz: int, number: int, level: float) -> Trial:
    source = _TECH3341.format(number)
    integrated = Case(
        words.at_rate(words.integrated(), rate_hz),
        source,
        lambda measured: measured.summary.integrated_lufs,
        *(level, 0.1, 0.1),
        _LUFS,
    )
    cases = [
        *_extremes(rate_hz, source, _momentary_from(1.0), words.momentary_all_along, level),
        *_extremes(rate_hz, source, _short_term_from(3.0), words.short_term_all_along, level),
        integrated,
    ]
    return _toned(rate_hz, stereo((20, level)), cases)


def _constant(
    rate_hz: int,
    number: int,
    segments: Sequence[tuple[float, float]],
    series: Callable[[Measured], Floats],
    name: Callable[[bool], str],
) -> Trial:
    """A level that changes while the loudness of one window stays."""
    cases = list(_extremes(rate_hz, _TECH3341.format(number), series, name, -23.0))
    return Trial(
        rate_hz,
        2,
        lambda: in_small_blocks(tone(rate_hz, stereo(*segments)), _DRIVER_BLOCK_FRAMES),
        cases,
    )


def _extremes(
    rate_hz: int,
    source: str,
    series: Callable[[Measured], Floats],
    name: Callable[[bool], str],
    level: float,
) -> Iterator[Case]:
    """A reading that must not leave its tolerance in either direction."""
    for lowest, pick in ((True, np.min), (False, np.max)):
        yield Case(
            words.at_rate(name(lowest), rate_hz),
            source,
            lambda measured, pick=pick: float(pick(series(measured))),  # type: ignore[misc]
            *(level, 0.1, 0.1),
            _LUFS,
        )


def _momentary_from(t_s: float) -> Callable[[Measured], Floats]:
    return lambda measured: measured.momentary_lufs[measured.hop_at(t_s) :]


def _short_term_from(t_s: float) -> Callable[[Measured], Floats]:
    return lambda measured: measured.short_term_lufs[measured.hop_at(t_s) :]


def _short_term_file(rate_hz: int, i: int) -> Trial:
    case = Case(
        words.at_rate(words.short_term_maximum(i + 1), rate_hz),
        _TECH3341.format(10),
        lambda measured: measured.summary.short_term_max_lufs,
        *(-23.0, 0.1, 0.1),
        _LUFS,
    )
    return _toned(rate_hz, stereo((i * 0.15, SILENCE), (3, -23), (1, SILENCE)), [case])


def _momentary_file(rate_hz: int, i: int) -> Trial:
    case = Case(
        words.at_rate(words.momentary_maximum(i + 1), rate_hz),
        _TECH3341.format(13),
        lambda measured: measured.summary.momentary_max_lufs,
        *(-23.0, 0.1, 0.1),
        _LUFS,
    )
    return _toned(rate_hz, stereo((i * 0.02, SILENCE), (0.4, -23), (1, SILENCE)), [case])


def _short_term_live(rate_hz: int, places: Sequence[int]) -> Trial:
    return _live(
        rate_hz, 11, places, (3.0, 0.15), words.short_term_maximum, lambda measured: measured.short_term_lufs
    )


def _momentary_live(rate_hz: int, places: Sequence[int]) -> Trial:
    return _live(
        rate_hz, 14, places, (0.4, 0.02), words.momentary_maximum, lambda measured: measured.momentary_lufs
    )


def _live(
    rate_hz: int,
    number: int,
    places: Sequence[int],
    window_and_shift_s: tuple[float, float],
    name: Callable[[int], str],
    series: Callable[[Measured], Floats],
) -> Trial:
    """Bursts one after the other: each a window long, later within its two windows, louder than the last."""
    window_s, shift_s = window_and_shift_s
    segments = [
        segment
        for i in places
        for segment in ((i * shift_s, SILENCE), (window_s, -38.0 + i), (window_s - i * shift_s, SILENCE))
    ]

    def highest_so_far(bursts: int, measured: Measured) -> float:
        return float(np.nanmax(series(measured)[: measured.hop_at(2.0 * window_s * bursts) + 1]))

    cases = [
        Case(
            words.at_rate(name(i + 1), rate_hz),
            _TECH3341.format(number),
            partial(highest_so_far, bursts),
            *(-38.0 + i, 0.1, 0.1),
            _LUFS,
        )
        for bursts, i in enumerate(places, 1)
    ]
    return _toned(rate_hz, stereo(*segments), cases)
