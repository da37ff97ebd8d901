"""Rows of the database as records.

SQLite lets any value stand in any column, and a bit that flipped on a disk may leave a file that is sound to
it. A cell that makes no sense is unknown, or as little as it can be: it must not hide the rest of the log.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from app.coach.judgement import Verdict
from app.log.bars import Metre
from app.log.records import (
    ChannelFigures,
    EvidenceRow,
    LevelTrace,
    SessionRow,
    TakeEvent,
    TakeRow,
    TakeState,
    iso_started,
)

_STATES = {state.value: state for state in TakeState}
_VERDICTS = {verdict.value: verdict for verdict in Verdict}
_MOST = 2**53
"""Whole numbers beyond it count nothing that we wrote."""
_YEARS_US = (-62_000_000_000_000_000, 253_000_000_000_000_000)
"""The years 6 to 9987."""
_DAY_S = 86_400


def take_row(row: Sequence[Any]) -> TakeRow:
    """A take from the columns that the store reads of it, in their order."""
    number, name, part, started_us, utc_offset_s, frames, rate_hz, state, verdict, input_name, *rest = row
    lost_frames, clips, peak_dbfs, session, notes, kept, tempo_bpm, beats_per_bar, count_in_s = rest
    rate = _whole(rate_hz, lowest=1)
    return TakeRow(
        number,
        _text(name),
        _text(part),
        _moment(started_us, utc_offset_s),
        _whole(frames) / rate,
        _STATES.get(state, TakeState.INTERRUPTED),
        _VERDICTS.get(verdict),
        _text(input_name),
        rate,
        _whole(lost_frames),
        _whole(clips),
        _real(peak_dbfs),
        session if isinstance(session, int) else None,
        _text(notes),
        kept == 1,
        _metre(tempo_bpm, beats_per_bar, count_in_s),
    )


def session_row(row: Sequence[Any]) -> SessionRow:
    """A session: number, name, start in microseconds and its offset in seconds, takes, takes to keep."""
    number, name, started_us, utc_offset_s, takes, kept = row
    return SessionRow(number, _text(name), _moment(started_us, utc_offset_s), _whole(takes), _whole(kept))


def channel_figures(row: Sequence[Any]) -> ChannelFigures:
    """Highest peak, highest average and noise floor in dBFS, and clips."""
    peak_dbfs, average_max_dbfs, noise_floor_dbfs, clips = row
    return ChannelFigures(_real(peak_dbfs), _real(average_max_dbfs), _real(noise_floor_dbfs), _whole(clips))


def take_event(row: Sequence[Any]) -> TakeEvent:
    """Kind, frame, channel, frames, peak, detail, count, and two changes in decibels."""
    kind, frame, channel, frames, peak_dbfs, detail, count, over_db, change_db = row
    return TakeEvent(
        _text(kind),
        _whole(frame),
        None if channel is None else _whole(channel, lowest=1),
        None if frames is None else _whole(frames),
        _real(peak_dbfs),
        _text(detail),
        _whole(count, lowest=1),
        _real(over_db),
        _real(change_db),
    )


def level_trace(row: Sequence[Any]) -> LevelTrace:
    """What a point covers, and the points; no trace at all where it was cut."""
    point_s, points = row
    covers_s = _real(point_s) or 0.0
    if not isinstance(points, bytes) or len(points) % 4 or not 0.0 < covers_s <= _DAY_S:
        return LevelTrace()
    return LevelTrace(covers_s, points)


def evidence_rows(rows: Sequence[Sequence[Any]]) -> tuple[EvidenceRow, ...]:
    """File, first frame, frames, and channels as numbers between commas; without those that make no sense."""
    found = []
    for file, start_frame, frames, channels in rows:
        numbers = channels.split(",") if isinstance(channels, str) else [""]
        if isinstance(file, str) and all(len(each) < 4 and each.isdecimal() for each in numbers):
            found.append(EvidenceRow(file, _whole(start_frame), _whole(frames), tuple(map(int, numbers))))
    return tuple(found)


def _text(value: Any) -> str:
    return value if isinstance(value, str) else ""


def _whole(value: Any, lowest: int = 0) -> int:
    return value if isinstance(value, int) and lowest <= value <= _MOST else lowest


def _real(value: Any) -> float | None:
    """A number; minus infinity is one, for it is how digital silence is written."""
    if not isinstance(value, int | float) or math.isnan(value) or value == math.inf:
        return None
    return float(value)


def _moment(started_us: Any, utc_offset_s: Any) -> str:
    first_us, last_us = _YEARS_US
    sane = isinstance(started_us, int) and first_us < started_us < last_us
    offset_sane = isinstance(utc_offset_s, int) and abs(utc_offset_s) < _DAY_S
    return iso_started(started_us if sane else 0, utc_offset_s if offset_sane else 0)


def _metre(tempo_bpm: Any, beats_per_bar: Any, count_in_s: Any) -> Metre | None:
    if tempo_bpm is None or beats_per_bar is None or count_in_s is None:
        return None
    try:
        return Metre(tempo_bpm, beats_per_bar, count_in_s)
    except (ValueError, TypeError):
        return None
