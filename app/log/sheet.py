"""The page to print or send: one HTML file that needs nothing else, with a picture of each take."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from string import Template

import app
from app.log.listing import event_texts, remarks
from app.log.picture import picture
from app.log.records import TakeDetail, TakeRow
from app.words import advice
from app.words import log as words
from app.words.numbers import clock, decibels

_MOST_EVENTS = 500

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
td.short { white-space: nowrap; }
svg { display: block; width: 100%; height: auto; }
svg text { font: 9px system-ui, sans-serif; fill: #55596a; }
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
        (words.take_heading(), "number"),
        (words.name_heading(), ""),
        (words.part_heading(), ""),
        (words.started_heading(), "short"),
        (words.length_heading(), "number"),
        (words.verdict_heading(), "short"),
        (words.peak_heading(), "number"),
        (words.clips_heading(), "number"),
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
        picture(take),
        _channels(take),
        _events(take),
        "</section>",
    ]
    return "\n".join(parts)


def _channels(take: TakeDetail) -> str:
    head = (
        (words.channel_heading(), "number"),
        (words.average_max_heading(), "number"),
        (words.peak_heading(), "number"),
        (words.headroom_heading(), "number"),
        (words.floor_heading(), "number"),
        (words.clips_heading(), "number"),
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
        (words.place_heading(), "number"),
        (words.channel_heading(), "number"),
        (words.event_heading(), ""),
    )
    lines = [tuple(map(_text, event_texts(event, take.row))) for event in take.events[:_MOST_EVENTS]]
    more = len(take.events) - _MOST_EVENTS
    return _table(head, lines) + (f"<p>{_text(words.more_events(more))}</p>" if more > 0 else "")


def _table(head: Sequence[tuple[str, str]], lines: Iterable[Sequence[str]]) -> str:
    """Build a table: headings with the kind of their column, then cells that are HTML already."""
    kinds = [f' class="{kind}"' if kind else "" for _, kind in head]
    heading = "".join(f"<th{kind}>{_text(text)}</th>" for kind, (text, _) in zip(kinds, head, strict=True))
    body = "".join(
        "<tr>" + "".join(f"<td{kind}>{cell}</td>" for kind, cell in zip(kinds, line, strict=True)) + "</tr>\n"
        for line in lines
    )
    return f"<table>\n<thead><tr>{heading}</tr></thead>\n<tbody>\n{body}</tbody>\n</table>"


def _own(text: str) -> str:
    """Somebody's own words: shown as they are, whatever their direction."""
    return f"<bdi>{_text(text)}</bdi>" if text else ""


def _text(text: str) -> str:
    # A bare carriage return would be read back as a line feed.
    return escape(text).replace("\r", "&#13;")
