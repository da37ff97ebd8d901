"""``swellmark takes``: what it prints, and how it fails."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
import soundfile as sf
from click.testing import CliRunner

from app.cli.main import main
from app.coach.judgement import Verdict
from app.log.records import ChannelFigures, TakeEvent, TakeState, TakeUpdate
from app.log.saving import save_events, save_take
from app.log.store import Store


@pytest.fixture
def log(tmp_path, monkeypatch):
    """The user's log, in a folder of the test's own, with one good and one hostile take."""
    monkeypatch.setattr("app.log.store.data_folder", lambda: tmp_path)
    names = ("Second verse", "[bold]=1+1\x1b[2J\n\u202e<script>" + "x" * 100)
    with Store() as store, store.writing():
        for i, name in enumerate(names):
            update = TakeUpdate(
                uid=str(i),
                name=name,
                part="bass",
                started_us=1_700_000_000_000_000,
                utc_offset_s=-9000,
                input_spec="device:Input 1",
                input_name="Input 1",
                rate_hz=44_100,
                state=(TakeState.CLOSED, TakeState.INTERRUPTED)[i],
                frames=44_100 * 64,
                lost_frames=441 * i,
                verdict=(Verdict.FAIR_WATER, Verdict.AWASH)[i],
                per_channel=(ChannelFigures(-7.25, -15.5, -68.0, i), ChannelFigures(-math.inf)),
            )
            number = save_take(store, update, None, "nobody")
            save_events(store, number, 0, [TakeEvent("clip", 44_100, 1, 7, 0.0)] * i)
    return tmp_path


def run(*arguments):
    return CliRunner().invoke(main, ["takes", *arguments])


def test_the_list_shows_the_newest_first_and_steers_no_terminal(log):
    result = run("list")
    assert result.exit_code == 0
    assert result.stdout.index("Awash") < result.stdout.index("Second verse")
    assert "Fair water" in result.stdout
    assert "[bold]=1+1" in result.stdout
    assert "\x1b" not in result.stdout
    assert "\u202e" not in result.stdout
    assert all(len(line) <= 80 for line in result.stdout.splitlines())
    assert "−7.2" in result.stdout


def test_the_list_as_json(log):
    document = json.loads(run("list", "--json").stdout)
    first, second = document["takes"]
    assert (first["take"], second["take"]) == (2, 1)
    assert second == {
        "take": 1,
        "name": "Second verse",
        "part": "bass",
        "started": "2023-11-14T19:43:20.000-02:30",
        "duration_s": 64.0,
        "state": "closed",
        "verdict": "fair_water",
        "input": "Input 1",
        "rate_hz": 44_100,
        "lost_frames": 0,
        "clips": 0,
        "peak_dbfs": -7.25,
        "session": 1,
        "kept": False,
        "notes": "",
    }


def test_the_list_can_be_shortened_and_searched(log):
    assert [take["take"] for take in json.loads(run("list", "--last", "1", "--json").stdout)["takes"]] == [2]
    found = json.loads(run("list", "--find", "VERSE", "--json").stdout)
    assert [take["take"] for take in found["takes"]] == [1]


def test_an_empty_log_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr("app.log.store.data_folder", lambda: tmp_path)
    result = run("list")
    assert (result.exit_code, result.stdout) == (0, "There are no takes in the log yet.\n")
    assert json.loads(run("list", "--json").stdout)["takes"] == []


def test_a_take_is_shown_with_what_must_be_known_about_it(log):
    text = " ".join(run("show", "2").stdout.split())
    assert "interrupted" in text
    assert "441 frames (0.010 s) of this take were lost" in text
    assert "0:01.000" in text
    assert "clip, 0.16 ms, peak 0.0 dBFS" in text
    assert "−15.5" in text
    assert "\x1b" not in text


def test_a_take_as_json_is_the_contract(log):
    document = json.loads(run("show", "2", "--json").stdout)
    assert {
        "take",
        "name",
        "started",
        "duration_s",
        "state",
        "verdict",
        "input",
        "rate_hz",
        "lost_frames",
    } <= set(document)
    assert document["name"].startswith("[bold]=1+1\x1b[2J\n\u202e<script>")
    assert document["per_channel"][1] == {
        "peak_dbfs": None,
        "average_max_dbfs": None,
        "headroom_db": None,
        "noise_floor_dbfs": None,
        "clips": 0,
    }
    assert document["events"] == [
        {
            "kind": "clip",
            "t_s": 1.0,
            "channel": 1,
            "frames": 7,
            "peak_dbfs": 0.0,
            "count": 1,
            "over_db": None,
            "change_db": None,
            "detail": "",
            "bar": None,
            "beat": None,
        }
    ]


@pytest.mark.parametrize(
    "command", [["show", "7"], ["show", "7", "--json"], ["export", "7", "--to", "t.json"]]
)
def test_a_take_that_is_not_there(log, command, monkeypatch):
    monkeypatch.chdir(log)
    result = run(*command)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr == "swellmark: There is no take 7 in the log.\n"
    assert not (log / "t.json").exists()


@pytest.mark.parametrize("ending", ["json", "csv", "html"])
def test_export(log, ending):
    path = log / f"sheet.{ending}"
    result = run("export", "2", "1", "--to", str(path))
    assert (result.exit_code, result.stdout) == (0, f"2 takes written to {path}.\n")
    text = path.read_text("utf-8-sig")
    assert text.index("script") < text.index("Second verse")
    assert str(log) not in text


def test_export_to_an_unknown_ending_opens_no_log(tmp_path, monkeypatch):
    monkeypatch.setattr("app.log.store.data_folder", lambda: tmp_path)
    result = run("export", "1", "--to", str(tmp_path / "takes.doc"))
    assert result.exit_code == 2
    assert result.stderr.startswith(
        f"swellmark: {tmp_path / 'takes.doc'}: the name must end in .json, .csv or"
    )
    assert not list(tmp_path.iterdir())


def test_a_damaged_log_is_told_on_stderr_and_stdout_stays_json(tmp_path, monkeypatch):
    monkeypatch.setattr("app.log.store.data_folder", lambda: tmp_path)
    (tmp_path / "takes.sqlite").write_bytes(b"no database " * 100)
    result = run("list", "--json")
    assert result.exit_code == 0
    assert "was damaged: it was set aside" in result.stderr
    assert json.loads(result.stdout)["takes"] == []


def test_a_log_of_another_program_is_one_line(tmp_path, monkeypatch):
    import sqlite3

    monkeypatch.setattr("app.log.store.data_folder", lambda: tmp_path)
    connection = sqlite3.connect(tmp_path / "takes.sqlite")
    connection.execute("CREATE TABLE bookmark (url TEXT)")
    connection.close()
    result = run("list")
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1
    assert "not a take log" in result.stderr


def test_clips_become_cue_points_in_a_copy_of_the_recording(log):
    sound, copy = log / "recording.wav", log / "marked.wav"
    sf.write(sound, np.zeros((44_100 * 3, 1)), 44_100)
    result = run("export", "2", "--to", str(copy), "--sound", str(sound), "--offset", "0.5")
    assert (result.exit_code, result.stdout) == (0, f"1 mark set in {copy}.\n")
    info = sf.info(copy).extra_info
    assert str(round(1.5 * 44_100)) in info
    assert "channel 1: clip, 0.16 ms, peak 0.0 dBFS" in info


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["1", "--to", "x.wav"], "name it with --sound"),
        (["1", "2", "--to", "x.wav", "--sound", "y.wav"], "give one number"),
        (["1", "--to", "x.wav", "--sound", "y.wav"], "y.wav cannot be copied"),
    ],
)
def test_marks_that_cannot_be_set(log, monkeypatch, arguments, sentence):
    monkeypatch.chdir(log)
    result = run("export", *arguments)
    assert result.exit_code == 2
    assert sentence in result.stderr
    assert not (log / "x.wav").exists()
