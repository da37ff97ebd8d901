"""What ``tests/bench/guided.py`` and its kin found, each so that it stays mended."""

from __future__ import annotations

import csv
import io
import sqlite3
import struct
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from app.cli import channeldesk
from app.coach.parts import load_parts
from app.errors import DeviceError, SettingsError, UsageError
from app.inputs.devices import DeviceInfo, resolve
from app.inputs.spec import parse_spec
from app.log import edit, export, saving
from app.log.bars import Metre
from app.log.marks import Mark, marked_copy
from app.log.parcel import read_parcel
from app.log.records import ChannelFigures, LevelTrace, TakeDetail, TakeEvent, TakeState, TakeUpdate
from app.log.sheet import DATA_ID
from app.log.store import Store
from app.settings import Memory

DEEP = "[" * 100_000
DIGITS = "1" * 5000


@pytest.mark.parametrize("text", [DEEP, f'{{"input": {DIGITS}}}', '{"input": ' + DEEP])
def test_settings_that_cannot_be_read_are_forgotten(tmp_path: Path, text: str) -> None:
    file = tmp_path / "settings.json"
    file.write_text(text)
    memory = Memory(file)
    assert memory.get("input") is None
    memory.put("input", "player")
    assert Memory(file).get("input") == "player"


@pytest.mark.parametrize("text", [DEEP, f'{{"{DIGITS}": {{"name": "left"}}}}', f'{{"1": {DIGITS}}}'])
def test_seats_that_cannot_be_read_are_forgotten(text: str) -> None:
    assert channeldesk._read(text) == {}


@pytest.mark.parametrize("value", [DIGITS, "1" + "0" * 400, "nan", "inf", DEEP, DEEP + "]" * len(DEEP)])
def test_parts_that_cannot_be_read_are_refused(tmp_path: Path, value: str) -> None:
    file = tmp_path / "parts.toml"
    file.write_text(
        f'[banjo]\nname = "Banjo"\nrules = "peaks"\ngrowth_db = 2.0\ngrowth_sd_db = 1.5\ncrest_db = {value}\n'
    )
    with pytest.raises(SettingsError, match=r"parts\.toml"):
        load_parts(file)


def test_numbers_of_thousands_of_digits_name_no_input() -> None:
    desk = DeviceInfo(0, "Desk", "ALSA", 2, 48_000.0, is_default=True)
    for text in (f"device:Desk:{DIGITS}", f"device:{DIGITS}", f"device:{DIGITS}:1"):
        with pytest.raises((DeviceError, UsageError)):
            resolve(parse_spec(text), [desk])


def test_a_recording_whose_marks_use_the_highest_name(tmp_path: Path) -> None:
    sound = tmp_path / "sound.wav"
    soundfile.write(sound, np.zeros(480), 48_000, subtype="PCM_16")
    point = struct.pack("<II4sIII", 2**32 - 1, 7, b"data", 0, 0, 7)
    cue = struct.pack("<4sII", b"cue ", 4 + len(point), 1) + point
    sound.write_bytes(sound.read_bytes() + cue)
    copy = tmp_path / "copy.wav"
    assert marked_copy(sound, copy, [Mark(0.0, "here"), Mark(0.001, "there")]) == 2
    data = copy.read_bytes()
    at = data.index(b"cue ") + 12
    points = list(struct.iter_unpack("<II4sIII", data[at : at + 3 * 24]))
    assert [name for name, *_ in points] == [2**32 - 1, 1, 2]


@pytest.mark.parametrize(
    "page", ["<![\0\0\0", f'<script id="{DATA_ID}">{DEEP}</script>', f'<script id="{DATA_ID}">7</script>']
)
def test_a_broken_page_holds_no_takes(page: str) -> None:
    assert read_parcel(page) is None


def test_nothing_is_counted_faster_than_numbers_tell_places_apart() -> None:
    for tempo, count_in_s in ((1e308, 0.0), (120.0, 1e308), (float("nan"), 0.0), (120.0, float("nan"))):
        with pytest.raises(ValueError, match="nothing can be counted"):
            Metre(tempo, 4, count_in_s)


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "takes.db"
    with Store(path) as store, store.writing():
        for number in (1, 2):
            update = TakeUpdate(
                uid=str(number),
                name=f"Verse {number}",
                part="bass",
                started_us=1_700_000_000_000_000,
                utc_offset_s=3600,
                input_spec="player",
                input_name="Player",
                rate_hz=48_000,
                state=TakeState.CLOSED,
                frames=480_000,
                lost_frames=0,
                verdict=None,
                per_channel=(ChannelFigures(-9.0, -16.0, -70.0, 0),),
                trace=LevelTrace(0.1, bytes(400)),
            )
            saving.save_take(store, update, None, "nobody")
            saving.save_events(store, number, 0, [TakeEvent("verdict", 480, 1, 7, 0.0, "fair_water")])
            edit.set_metre(number, Metre(120.0, 4))(store)
    return path


VALUES: tuple[Any, ...] = (
    -1,
    0,
    2**63 - 1,
    -(2**63),
    1e308,
    -1e308,
    float("inf"),
    "",
    "x",
    "7",
    b"\0\1\2",
    None,
)


@pytest.mark.parametrize("table", ["take", "channel", "event", "trace", "session"])
def test_one_cell_that_makes_no_sense_hides_nothing_else(log: Path, table: str) -> None:
    good = log.read_bytes()
    key = {"take": "number", "session": "number"}.get(table, "take")
    with closing(sqlite3.connect(log)) as database:
        columns = [row[1] for row in database.execute(f"PRAGMA table_info({table})")]
    tried = 0
    for column in columns:
        for value in VALUES:
            log.write_bytes(good)
            with closing(sqlite3.connect(log)) as database:
                database.execute("PRAGMA ignore_check_constraints = on")
                try:
                    database.execute(f"UPDATE {table} SET {column} = ? WHERE {key} = 1", (value,))
                except sqlite3.Error:  # a key, or NOT NULL
                    continue
                database.commit()
            tried += 1
            with Store(log) as store:
                assert not store.notice
                store.sessions()
                takes = [store.take(row.number) for row in store.list_takes()]
            assert "Verse 2" in [take.row.name for take in takes]
            export_all(takes)
    assert tried > 20


def export_all(takes: list[TakeDetail]) -> None:
    assert len(list(csv.reader(io.StringIO(export.csv_text(takes), newline="")))) > len(takes)
    export.json_text(takes)
    export.html_text(takes)
