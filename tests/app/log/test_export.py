"""What is sent to somebody else: by the contract, safe to open, whole or not there."""

from __future__ import annotations

import csv
import io
import json
import math
import os
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.coach.judgement import Verdict
from app.errors import LogError, UsageError
from app.log.bars import Metre
from app.log.document import row_document, take_document
from app.log.export import ENDINGS, export, json_text
from app.log.records import (
    ChannelFigures,
    LevelTrace,
    TakeDetail,
    TakeEvent,
    TakeRow,
    TakeState,
)
from app.log.sheet import html_text
from app.log.table import COLUMNS, csv_text, guarded, unguarded

HOSTILE = [
    "=1+1",
    "+a",
    "-a",
    "@a",
    "\ta",
    "\ra",
    "\na",
    "＝1",
    " =1+1",
    "'=1+1",
    "'",
    '=HYPERLINK("http://x";"y")',
    "<script>alert(1)</script>",
    "</title><img src=x onerror=alert(1)>",
    "&lt;b&gt; & \"q\" 'q'",
    "two\nlines\r\nand\rmore",
    'comma, "quote"; semicolon',
    "$title ${sections} $$",
    "{name} %s",
    "ערב של שירה",
    "\u202eright-to-left override",
    "e\u0301 \U0001f3b8",
    "x" * 5000,
    "  spaces  ",
    "\ufeffbom",
    "",
]

ROW = TakeRow(
    number=3,
    name="Second verse",
    part="bass",
    started="2025-03-29T23:59:59.000+01:00",
    duration_s=180.25,
    state=TakeState.CLOSED,
    verdict=Verdict.AWASH,
    input_name="Input 1",
    rate_hz=48_000,
    lost_frames=0,
    clips=2,
    peak_dbfs=-0.004,
    session=2,
    notes="the bridge was best",
    kept=True,
)
TAKE = TakeDetail(
    ROW,
    (ChannelFigures(-0.004, -12.346, -68.127, 2), ChannelFigures(-math.inf, None, None, 0)),
    (
        TakeEvent("clip", 48_012, 1, 7, 0.0),
        TakeEvent("gap", 96_000, None, 480),
        TakeEvent("verdict", 100_000, 1, None, None, "awash"),
    ),
    LevelTrace(0.1, b"\x00\xf8\x00\xfc" * 1802),
)


def named(name):
    return replace(TAKE, row=replace(ROW, name=name, part=name, input_name=name, notes=name))


def read_csv(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


class Page(HTMLParser):
    """What a reader of the page sees, and every element that could act."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.elements = []
        self.own = []
        self._inside = False
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag == "bdi":
            self._inside = True
            self.own.append("")

    def handle_endtag(self, tag):
        if tag == "bdi":
            self._inside = False

    def handle_data(self, data):
        if self._inside:
            self.own[-1] += data


# JSON


def test_a_take_by_the_contract():
    assert take_document(TAKE) == {
        "take": 3,
        "name": "Second verse",
        "part": "bass",
        "started": "2025-03-29T23:59:59.000+01:00",
        "duration_s": 180.25,
        "state": "closed",
        "verdict": "awash",
        "input": "Input 1",
        "rate_hz": 48_000,
        "lost_frames": 0,
        "session": 2,
        "kept": True,
        "notes": "the bridge was best",
        "per_channel": [
            {
                "peak_dbfs": 0.0,
                "average_max_dbfs": -12.35,
                "headroom_db": 0.0,
                "noise_floor_dbfs": -68.13,
                "clips": 2,
            },
            {
                "peak_dbfs": None,
                "average_max_dbfs": None,
                "headroom_db": None,
                "noise_floor_dbfs": None,
                "clips": 0,
            },
        ],
        "events": [
            {
                "kind": "clip",
                "t_s": 1.00025,
                "channel": 1,
                "frames": 7,
                "peak_dbfs": 0.0,
                "count": 1,
                "over_db": None,
                "change_db": None,
                "detail": "",
                "bar": None,
                "beat": None,
            },
            {
                "kind": "gap",
                "t_s": 2.0,
                "channel": None,
                "frames": 480,
                "peak_dbfs": None,
                "count": 1,
                "over_db": None,
                "change_db": None,
                "detail": "",
                "bar": None,
                "beat": None,
            },
            {
                "kind": "verdict",
                "t_s": 2.083333,
                "channel": 1,
                "frames": None,
                "peak_dbfs": None,
                "count": 1,
                "over_db": None,
                "change_db": None,
                "detail": "awash",
                "bar": None,
                "beat": None,
            },
        ],
    }


def test_places_in_bars_where_the_tempo_is_known():
    take = replace(TAKE, row=replace(ROW, metre=Metre(120.0, 4)))
    places = [(event["bar"], event["beat"]) for event in take_document(take)["events"]]
    assert places == [(1, 3.001), (2, 1.0), (2, 1.167)]
    assert "0:02.000, bar 2, beat 1.00" in html_text([take])
    assert '"gap",2.0,2,1.0,480' in csv_text([take])


def test_a_take_without_a_verdict():
    assert row_document(replace(ROW, verdict=None, peak_dbfs=None))["verdict"] is None


@given(st.none() | st.floats())
def test_a_level_is_a_json_number_or_null(value):
    document = take_document(replace(TAKE, per_channel=(ChannelFigures(value),)))
    text = json.dumps(document["per_channel"][0]["peak_dbfs"], allow_nan=False)
    if value is None or not math.isfinite(value):
        assert text == "null"
    else:
        assert float(text) == pytest.approx(value, abs=0.005001)
        assert text != "-0.0"


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_in_json(name):
    (take,) = json.loads(json_text([named(name)]))["takes"]
    assert (take["name"], take["part"], take["input"], take["notes"]) == (name,) * 4


# CSV


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_in_csv(name):
    text = csv_text([named(name)])
    rows = read_csv(text)
    assert [row["entry"] for row in rows] == ["take", "channel", "channel", "event", "event", "event"]
    for row in rows:
        assert unguarded(row["name"]) == name
        assert not row["name"].lstrip(" \ufeff").startswith(("=", "+", "-", "@", "\t", "\r", "\n", "＝"))


def test_only_risky_text_is_guarded():
    for name in ("=1+1", "+a", "-a", "@a", "\ta", "\ra", "\na", "＝1", "＠a"):
        assert guarded(name) == "'" + name
    for name in ("ok", "Second verse", "1-2", "a=b"):
        assert guarded(name) == name


@given(st.text())
def test_a_guard_can_always_be_taken_away(text):
    assert unguarded(guarded(text)) == text


def test_numbers_stay_numbers():
    rows = read_csv(csv_text([TAKE]))
    assert float(rows[1]["noise_floor_dbfs"]) == -68.13
    assert ",-68.13," in csv_text([TAKE])
    assert rows[2]["noise_floor_dbfs"] == ""
    assert (rows[3]["kind"], float(rows[3]["t_s"]), int(rows[3]["frames"])) == ("clip", 1.00025, 7)


def test_csv_lines_after_rfc_4180():
    text = csv_text([named("two\nlines")])
    lines = text.split("\r\n")
    assert lines[-1] == ""
    assert len(lines) == 1 + 6 + 1
    assert lines[0] == ",".join(f'"{column}"' for column in COLUMNS)
    assert {len(row) for row in csv.reader(io.StringIO(text, newline=""))} == {len(COLUMNS)}


# HTML


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_in_html(name):
    page = Page(html_text([named(name)]))
    if name:
        assert page.own[0] == page.own[1] == name
        assert page.own[2] == f"Take 3: {name}"
    allowed = {
        "html", "head", "meta", "title", "style", "body", "h1", "h2", "table", "thead", "tbody", "tr", "th",
        "td", "bdi", "section", "div", "span", "p", "svg", "path", "text", "footer",
    }  # fmt: skip
    assert {tag for tag, _ in page.elements} <= allowed
    for tag, attributes in page.elements:
        assert not [key for key in attributes if key.startswith("on") or key in ("src", "href")], tag


def test_the_page_fetches_nothing():
    text = html_text([TAKE])
    assert "default-src 'none'" in text
    assert "url(" not in text
    assert "http:" not in text
    assert "https:" not in text


def test_the_page_says_what_happened():
    text = html_text([TAKE])
    for expected in ("Awash", "3:00", "clip, 0.15 ms, peak 0.0 dBFS", "the verdict became Awash", "−12.3"):
        assert expected in text
    # Ground, crests, water, a gap, three lines, a flag.
    assert text.count("<path") == 8


def test_the_page_admits_gaps_and_interruptions():
    take = replace(TAKE, row=replace(ROW, state=TakeState.INTERRUPTED, lost_frames=480))
    text = html_text([take])
    assert "480 frames (0.010 s)" in text
    assert "interrupted" in text


def test_a_take_with_very_many_clips_stays_a_page():
    events = tuple(TakeEvent("clip", i * 100_000, 1, 3, 0.0) for i in range(50_000))
    text = html_text([replace(TAKE, events=events)])
    assert len(text) < 400_000
    assert "… and 49500 more" in text


def test_a_take_without_sound_has_a_page():
    take = TakeDetail(replace(ROW, duration_s=0.0, verdict=None, peak_dbfs=None, clips=0))
    assert "Nothing was noted" in html_text([take])


# Files


@pytest.mark.parametrize("ending", [*ENDINGS, ".JSON", ".htm"])
def test_the_ending_chooses(tmp_path, ending):
    path = tmp_path / f"takes{ending}"
    export([TAKE], path)
    text = path.read_text(encoding="utf-8-sig")
    assert text.startswith({"j": "{", "c": '"entry"', "h": "<!DOCTYPE"}[ending[1].lower()])
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


def test_an_unknown_ending_gives_a_sentence(tmp_path):
    with pytest.raises(UsageError, match=r"must end in \.json, \.csv or \.html"):
        export([TAKE], tmp_path / "takes.xls")
    assert not list(tmp_path.iterdir())


def test_a_folder_that_is_not_there_gives_a_sentence(tmp_path):
    with pytest.raises(LogError, match="cannot be written: No such file"):
        export([TAKE], tmp_path / "nowhere" / "takes.json")


def test_a_failed_export_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "takes.json"
    path.write_text("old")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(LogError, match="No space left"):
        export([TAKE], path)
    assert path.read_text() == "old"
    assert [file.name for file in tmp_path.iterdir()] == [path.name]
