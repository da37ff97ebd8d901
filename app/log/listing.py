"""Takes and events as short texts, for the terminal and for the page to print alike."""

from __future__ import annotations

from app.engine.events import EventKind
from app.log.records import TakeDetail, TakeEvent
from app.words import advice
from app.words import log as words
from app.words.numbers import clock, decibels


def event_texts(event: TakeEvent, rate_hz: int) -> tuple[str, str, str]:
    """Place, channel and what happened."""
    seconds = None if event.frames is None or event.kind == EventKind.BAD_SAMPLES else event.frames / rate_hz
    text = words.event_text(
        event.kind,
        length_ms=None if seconds is None else f"{seconds * 1000:.2f}",
        peak=None if event.peak_dbfs is None else decibels(event.peak_dbfs),
        verdict=advice.verdict_name(event.detail) if event.kind == EventKind.VERDICT else None,
    )
    return clock(event.frame / rate_hz, 3), "" if event.channel is None else str(event.channel), text


def remarks(take: TakeDetail) -> list[str]:
    """What must be known before a take's figures are believed."""
    row = take.row
    lines = []
    if row.state == "interrupted":
        lines.append(words.interrupted_line())
    if row.lost_frames:
        lines.append(words.lost_line(row.lost_frames, decibels(row.lost_frames / row.rate_hz, 3)))
    return lines
