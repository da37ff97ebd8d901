"""A take as a small sea chart, drawn in SVG: water for the average, crests for the peaks, flags for clips."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

from app.engine.events import EventKind
from app.log.records import TakeDetail
from app.words import log as words
from app.words.numbers import clock, decibels

_LEFT, _TOP, _WIDTH, _HEIGHT = 26, 6, 694, 116
_TOP_DBFS, _BOTTOM_DBFS = 4.0, -60.0
_LINES_DBFS = (0.0, -18.0, -40.0)
_MOST_POINTS = _WIDTH

_GROUND, _CRESTS, _WATER, _INK, _FLAG = "#eef1f5", "#a9b2c3", "#3f74a8", "#1c2233", "#c42c5f"


def picture(take: TakeDetail) -> str:
    """An ``svg`` element; nothing for a take without sound."""
    duration_s = take.row.duration_s
    if not take.trace.points or not duration_s:
        return ""
    label = escape(words.picture_label(words.take_title(take.row.number, take.row.name)))
    parts = [
        f'<svg viewBox="0 0 {_LEFT + _WIDTH} {_TOP + _HEIGHT + 14}" role="img" aria-label="{label}">',
        f'<path d="M{_LEFT} {_TOP}h{_WIDTH}v{_HEIGHT}h-{_WIDTH}z" fill="{_GROUND}"/>',
        f'<path d="{_area(take.trace.peak_dbfs.tolist(), take)}" fill="{_CRESTS}"/>',
        f'<path d="{_area(take.trace.average_dbfs.tolist(), take)}" fill="{_WATER}"/>',
        *(_gap(event.frame, event.frames or 0, take) for event in take.events if event.kind == EventKind.GAP),
        *(_line(level_dbfs) for level_dbfs in _LINES_DBFS),
        *(_flag(x) for x in _clip_places(take)),
        f'<text x="{_LEFT}" y="{_TOP + _HEIGHT + 11}">0:00</text>',
        f'<text x="{_LEFT + _WIDTH}" y="{_TOP + _HEIGHT + 11}" text-anchor="end">{clock(duration_s)}</text>',
        "</svg>",
    ]
    return "".join(parts)


def _area(levels_dbfs: Sequence[float], take: TakeDetail) -> str:
    """The outline of everything under a level, a step for each stretch of time."""
    step = max(1, math.ceil(len(levels_dbfs) / _MOST_POINTS))
    heights = [max(levels_dbfs[first : first + step]) for first in range(0, len(levels_dbfs), step)]
    point_s = take.trace.point_s * step
    corners = "".join(f"V{_y(height)}H{_x((i + 1) * point_s, take)}" for i, height in enumerate(heights))
    bottom = _TOP + _HEIGHT
    return f"M{_LEFT} {bottom}{corners}V{bottom}Z"


def _line(level_dbfs: float) -> str:
    y, width = _y(level_dbfs), 1.0 if level_dbfs == 0.0 else 0.4
    return (
        f'<path d="M{_LEFT} {y}h{_WIDTH}" stroke="{_INK}" stroke-width="{width}"/>'
        f'<text x="{_LEFT - 4}" y="{float(y) + 3:.1f}" text-anchor="end">{decibels(level_dbfs, 0)}</text>'
    )


def _flag(x: float) -> str:
    return (
        f'<path d="M{x:.1f} {_TOP + _HEIGHT}V1l7 4l-7 4" stroke="{_FLAG}" stroke-width="1.5" fill="{_FLAG}"/>'
    )


def _gap(frame: int, frames: int, take: TakeDetail) -> str:
    """What was not seen is left blank between two dashed lines."""
    rate_hz = take.row.rate_hz
    left, right = float(_x(frame / rate_hz, take)), float(_x((frame + frames) / rate_hz, take))
    width = max(1.0, right - left)
    return (
        f'<path d="M{left} {_TOP}h{width:.1f}v{_HEIGHT}h-{width:.1f}z" fill="#fff" stroke="{_INK}"'
        ' stroke-width="0.8" stroke-dasharray="3 3"/>'
    )


def _clip_places(take: TakeDetail) -> list[float]:
    """Where flags stand, one for all clips that would share it."""
    rate_hz = take.row.rate_hz
    clips = (event for event in take.events if event.kind == EventKind.CLIP)
    places = {round(float(_x(event.frame / rate_hz, take))) for event in clips}
    return sorted(float(min(place, _LEFT + _WIDTH - 8)) for place in places)


def _x(t_s: float, take: TakeDetail) -> str:
    share = min(1.0, max(0.0, t_s / take.row.duration_s))
    return f"{_LEFT + _WIDTH * share:.1f}"


def _y(level_dbfs: float) -> str:
    share = min(1.0, max(0.0, (level_dbfs - _BOTTOM_DBFS) / (_TOP_DBFS - _BOTTOM_DBFS)))
    return f"{_TOP + _HEIGHT * (1.0 - share):.1f}"
