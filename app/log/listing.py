"""Takes and events as short texts, for the terminal and for the page to print alike."""

from __future__ import annotations

import math

from app.engine.events import EventKind
from app.log.bars import bar_and_beat
from app.log.marks import Mark
from app.log.records import TakeDetail, TakeEvent, TakeRow
from app.words import advice
from app.words import log as words
from app.words.numbers import MINUS, clock, decibels

_MARKED = {EventKind.CLIP, EventKind.POSSIBLE_CLIP, EventKind.GAP}


def event_texts(event: TakeEvent, row: TakeRow) -> tuple[str, str, str]:
    """Place, channel and what happened."""
    # Of bad samples, the number is a count and not a length.
    frames = None if event.kind == EventKind.BAD_SAMPLES else event.frames
    text = words.event_text(
        event.kind,
        length_ms=None if frames is None else f"{frames / row.rate_hz * 1000:.2f}",
        peak=None if event.peak_dbfs is None else decibels(event.peak_dbfs),
        verdict=advice.verdict_name(event.detail) if event.kind == EventKind.VERDICT else None,
        count=event.count,
        length_s=None if frames is None else decibels(frames / row.rate_hz),
        over=None if event.over_db is None else decibels(event.over_db),
        change=None if event.change_db is None else decibels(abs(event.change_db), 0),
        upward=(event.change_db or 0.0) > 0.0,
    )
    t_s = event.frame / row.rate_hz
    place = clock(t_s, 3)
    if row.metre is not None:
        bar, beat = bar_and_beat(t_s, row.metre)
        place = words.place_in_bars(place, bar, f"{math.floor(beat * 100) / 100:.2f}")
    return place, "" if event.channel is None else str(event.channel), text


def channel_headings() -> tuple[str, ...]:
    """Over :func:`channel_texts`; all of them are numbers."""
    return (
        words.channel_heading(),
        words.average_max_heading(),
        words.peak_heading(),
        words.headroom_heading(),
        words.floor_heading(),
        words.clips_heading(),
    )


def channel_texts(take: TakeDetail) -> list[tuple[str, ...]]:
    """What each channel did over the take."""
    return [
        (
            str(position),
            decibels(channel.average_max_dbfs),
            decibels(channel.peak_dbfs),
            decibels(channel.headroom_db),
            decibels(channel.noise_floor_dbfs),
            str(channel.clips),
        )
        for position, channel in enumerate(take.per_channel, 1)
    ]


def marks_of(take: TakeDetail, offset_s: float = 0.0) -> list[Mark]:
    """Cue points for the clips and gaps of a take, in a recording in which it begins at ``offset_s``."""
    marks = []
    for event in take.events:
        if event.kind in _MARKED:
            _, channel, text = event_texts(event, take.row)
            # Few readers of these chunks know more than ASCII.
            label = words.mark_label(text, channel).replace(MINUS, "-")
            marks.append(Mark(offset_s + event.frame / take.row.rate_hz, label))
    return marks


def remarks(take: TakeDetail) -> list[str]:
    """What must be known before a take's figures are believed."""
    row = take.row
    lines = []
    if row.state == "interrupted":
        lines.append(words.interrupted_line())
    if row.lost_frames:
        lines.append(words.lost_line(row.lost_frames, decibels(row.lost_frames / row.rate_hz, 3)))
    return lines
