"""The page to print or send: one HTML file that needs nothing else, with a picture of each take."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape
from string import Template

import app
from app.log.listing import event_texts, remarks
from app.log.records import LevelTrace, TakeDetail, TakeRow
from app.words import advice
from app.words import log as words
from app.words.numbers import clock, decibels

_MOST_EVENTS = 500

_WIDTH, _HEIGHT = 720, 120
_BOTTOM_DBFS = -60.0
_MOST_POINTS = 720

# The names and texts in it are other people's: nothing may run, and nothing may be fetched.
_PAGE = Template("""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>$title</title>
<style>
:root { color-scheme: light; }
body { font: 10.5pt/1.45 system-ui, sans-serif; color: #1c2233; background: #fff; margin: 2rem auto;
  max-width: 48rem; padding: 0 1rem; }
h1 { font-size: 1.6rem; } h2 { font-size: 1.2rem; margin: 2.2rem 0 .3rem; }
table { border-collapse: collapse; width: 100%; margin: .6rem 0; }
th, td { text-align: left; vertical-align: top; padding: .25rem .6rem .25rem 0;
  border-bottom: 1px solid #cfd2da; }
td.number, th.number { text-align: right; font-variant-numeric: tabular-nums; }
bdi { white-space: pre-wrap; overflow-wrap: anywhere; }
svg { display: block; width: 100%; height: auto; background: #eef1f5; }
p.remark { font-weight: 600; }
footer { margin-top: 2rem; color: #55596a; font-size: .85em; }
section, tr, svg { break-inside: avoid; } section.long { break-inside: auto; }
@page { margin: 16mm; }
@media print { body { margin: 0; max-width: none; padding: 0; } * { print-color-adjust: exact; } }
</style>
</head>
<body>
<h1>$title</h1>
$overview
$sections
<footer>$foot</footer>
</body>
</html>
""")


def html_text(takes: Sequence[TakeDetail]) -> str:
    """The whole page."""
    return _PAGE.substitute(
        title=_text(words.sheet_title()),
        overview=_overview([take.row for take in takes]),
        sections="\n".join(_section(take) for take in takes),
        foot=_text(words.sheet_foot(app.__version__)),
    )


def _overview(rows: Sequence[TakeRow]) -> str:
    head = (
        (words.take_heading(), True),
        (words.name_heading(), False),
        (words.part_heading(), False),
        (words.started_heading(), False),
        (words.length_heading(), True),
        (words.verdict_heading(), False),
        (words.peak_heading(), True),
        (words.clips_heading(), True),
    )
    lines = [
        (
            str(row.number),
            _own(row.name),
            _own(row.part),
            _text(row.started[:16].replace("T", " ")),
            clock(row.duration_s),
            _text(advice.verdict_name(row.verdict)) if row.verdict else "",
            decibels(row.peak_dbfs),
            str(row.clips),
        )
        for row in rows
    ]
    return _table(head, lines)


def _section(take: TakeDetail) -> str:
    row = take.row
    long = ' class="long"' if len(take.events) > 20 else ""
    parts = [
        f"<section{long}>",
        f"<h2>{_own(words.take_title(row.number, row.name))}</h2>",
        f"<p>{_own(words.input_line(row.input_name, f'{row.rate_hz / 1000:g}'))} · {_text(row.started)} · "
        f"{clock(row.duration_s)} · {_text(words.state_name(row.state))}"
        + (f" · {_text(words.kept())}" if row.kept else "")
        + (f" · <strong>{_text(advice.verdict_name(row.verdict))}</strong>" if row.verdict else "")
        + "</p>",
        *([f"<p>{_own(row.notes)}</p>"] if row.notes else []),
        *(f'<p class="remark">{_text(line)}</p>' for line in remarks(take)),
        _picture(take),
        _channels(take),
        _events(take),
        "</section>",
    ]
    return "\n".join(parts)


def _channels(take: TakeDetail) -> str:
    head = (
        (words.channel_heading(), True),
        (words.average_max_heading(), True),
        (words.peak_heading(), True),
        (words.headroom_heading(), True),
        (words.floor_heading(), True),
        (words.clips_heading(), True),
    )
    lines = [
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
    return _table(head, lines)


def _events(take: TakeDetail) -> str:
    if not take.events:
        return f"<p>{_text(words.no_events())}</p>"
    head = (
        (words.place_heading(), True),
        (words.channel_heading(), True),
        (words.event_heading(), False),
    )
    lines = [tuple(map(_text, event_texts(event, take.row))) for event in take.events[:_MOST_EVENTS]]
    more = len(take.events) - _MOST_EVENTS
    return _table(head, lines) + (f"<p>{_text(words.more_events(more))}</p>" if more > 0 else "")


def _table(head: Sequence[tuple[str, bool]], lines: Iterable[Sequence[str]]) -> str:
    """Build a table: headings with whether the column holds numbers, then cells that are HTML already."""
    kinds = [' class="number"' if is_number else "" for _, is_number in head]
    heading = "".join(f"<th{kind}>{_text(text)}</th>" for kind, (text, _) in zip(kinds, head, strict=True))
    body = "".join(
        "<tr>" + "".join(f"<td{kind}>{cell}</td>" for kind, cell in zip(kinds, line, strict=True)) + "</tr>\n"
        for line in lines
    )
    return f"<table>\n<thead><tr>{heading}</tr></thead>\n<tbody>\n{body}</tbody>\n</table>"


def _picture(take: TakeDetail) -> str:
    """The take as a small sea chart: water for the average, crests for the peaks, flags for clips."""
    trace = take.trace
    if not trace.points or not take.row.duration_s:
        return ""
    label = _text(words.picture_label(words.take_title(take.row.number, take.row.name)))
    flags = "".join(
        f'<path d="M{x:.1f} {_HEIGHT}V2l7 4l-7 4" stroke="#c42c5f" stroke-width="1.5" fill="#c42c5f"/>'
        for x in _clip_places(take)
    )
    return (
        f'<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" aria-label="{label}">'
        f'<path d="{_area(trace, trace.peak_dbfs.tolist(), take)}" fill="#a9b2c3"/>'
        f'<path d="{_area(trace, trace.average_dbfs.tolist(), take)}" fill="#3f74a8"/>'
        f'<path d="M0 {_y(0.0)}H{_WIDTH}" stroke="#1c2233" stroke-width="1"/>'
        f"{flags}</svg>"
    )


def _area(trace: LevelTrace, levels: Sequence[float], take: TakeDetail) -> str:
    step = max(1, math.ceil(len(levels) / _MOST_POINTS))
    heights = [max(levels[first : first + step]) for first in range(0, len(levels), step)]
    width = _WIDTH * trace.point_s * step / take.row.duration_s
    corners = "".join(f"V{_y(height)}H{min(_WIDTH, (i + 1) * width):.1f}" for i, height in enumerate(heights))
    return f"M0 {_HEIGHT}{corners}V{_HEIGHT}Z"


def _clip_places(take: TakeDetail) -> list[float]:
    """Where flags stand, one for clips that would share it."""
    frames = take.row.duration_s * take.row.rate_hz
    places = {round(_WIDTH * event.frame / frames) for event in take.events if event.kind == "clip"}
    return sorted(float(min(place, _WIDTH - 8)) for place in places)


def _y(level_dbfs: float) -> str:
    share = min(1.0, max(0.0, (level_dbfs - _BOTTOM_DBFS) / (6.0 - _BOTTOM_DBFS)))
    return f"{_HEIGHT * (1.0 - share):.1f}"


def _own(text: str) -> str:
    """Somebody's own words: shown as they are, whatever their direction."""
    return f"<bdi>{_text(text)}</bdi>" if text else ""


def _text(text: str) -> str:
    # A bare carriage return would be read back as a line feed.
    return escape(text).replace("\r", "&#13;")
