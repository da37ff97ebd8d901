"""The page to print or send: one HTML file that needs nothing else, with a picture of each take."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

import app
from app.log.grouping import grouped
from app.log.listing import channel_headings, channel_texts, event_texts, remarks
from app.log.picture import picture
from app.log.records import TakeDetail, TakeRow
from app.words import advice
from app.words import log as words
from app.words._catalogue import spoken
from app.words.numbers import clock, decibels

if TYPE_CHECKING:
    from jinja2 import Template

DATA_ID = "swellmark-takes"
"""Names the element that holds the takes as JSON, in a page that is sent."""

_MOST_EVENTS = 500


def html_text(takes: Sequence[TakeDetail], *, letter: str = "", data: Mapping[str, Any] | None = None) -> str:
    """The whole page.

    Parameters
    ----------
    letter
        What the sender has to say, above everything else.
    data
        A document for a program to read, put into the page as JSON.
    """
    return _template().render(
        language=spoken() or "en",
        title=words.sheet_title(),
        letter=[letter] if letter else [],
        overview=_overview([take.row for take in takes]),
        takes=[_take(take) for take in takes],
        nothing_noted=words.no_events(),
        foot=words.sheet_foot(app.__version__),
        data=None if data is None else _embedded(data),
        data_id=DATA_ID,
    )


@cache
def _template() -> Template:
    # Late: it takes a third of a second, and few commands want a page.
    from jinja2 import Environment, StrictUndefined

    environment = Environment(
        autoescape=True, finalize=_text, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string((resources.files("assets") / "sheet.html").read_text(encoding="utf-8"))


def _text(value: Any) -> Any:
    """Escape a value as the template engine does, and a bare carriage return, which HTML would change."""
    from markupsafe import Markup, escape

    if isinstance(value, Markup) or not isinstance(value, str):
        return value
    return Markup(escape(value).replace("\r", Markup("&#13;")))  # noqa: S704 - escaped before


def _html(text: str) -> Any:
    """Say that a text is HTML of our own making already."""
    from markupsafe import Markup

    return Markup(text)  # noqa: S704 - see above


def _embedded(data: Mapping[str, Any]) -> Any:
    """JSON that cannot end the element it stands in."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False)
    return _html(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def _table(head: Sequence[tuple[str, str]], lines: Sequence[Sequence[str]]) -> dict[str, Any]:
    """Headings with the kind of their column, and the cells: ``own`` marks a person's own words."""
    return {"head": head, "lines": lines}


def _overview(rows: Sequence[TakeRow]) -> dict[str, Any]:
    head = (
        (words.take_heading(), "number"),
        (words.name_heading(), "own name"),
        (words.part_heading(), "own part"),
        (words.started_heading(), "short"),
        (words.length_heading(), "number"),
        (words.verdict_heading(), "short"),
        (words.peak_heading(), "number"),
        (words.clips_heading(), "number"),
    )
    return _table(
        head,
        [
            (
                str(row.number),
                row.name,
                row.part,
                row.started[:16].replace("T", " "),
                clock(row.duration_s),
                _verdict(row),
                decibels(row.peak_dbfs),
                str(row.clips),
            )
            for row in rows
        ],
    )


def _verdict(row: TakeRow) -> str:
    return advice.verdict_name(row.verdict) if row.verdict else ""


def _take(take: TakeDetail) -> dict[str, Any]:
    row = take.row
    events = grouped(take.events, row.rate_hz)
    more = len(events) - _MOST_EVENTS
    return {
        "title": words.take_title(row.number, row.name),
        "verdict": _verdict(row),
        "facts": [
            clock(row.duration_s),
            words.state_name(row.state),
            *([words.kept()] if row.kept else []),
            row.started[:16].replace("T", " "),
        ],
        "input": words.input_line(row.input_name, f"{row.rate_hz / 1000:g}"),
        "notes": row.notes,
        "remarks": remarks(take),
        "picture": _html(picture(take)),
        "channels": _table([(heading, "number") for heading in channel_headings()], channel_texts(take)),
        "events": _table(
            (
                (words.place_heading(), "number"),
                (words.channel_heading(), "number"),
                (words.event_heading(), ""),
            ),
            [event_texts(event, row) for event in events[:_MOST_EVENTS]],
        ),
        "more": words.more_events(more) if more > 0 else "",
    }
