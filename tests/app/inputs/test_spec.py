"""The line that names an input."""

from __future__ import annotations

from pathlib import Path, PureWindowsPath

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from app.errors import SoundFileError, UsageError
from app.inputs import spec
from app.inputs.files import FileSource
from app.inputs.player import GAIN_MAX_DB, GAIN_MIN_DB, PlayerSource
from app.inputs.returning import ReturningSource
from app.inputs.spec import DeviceSpec, FileSpec, PlayerSpec, open_spec, parse_spec


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("device:pulse", [("pulse", ())]),
        ("device:3", [("3", ())]),
        ("device:3:2", [("3", (2,)), ("3:2", ())]),
        ("device:pulse:5,6", [("pulse", (5, 6)), ("pulse:5,6", ())]),
        ("device:hw:0,0", [("hw", (0, 0)), ("hw:0,0", ())]),
        ("device:hw:1,0:2", [("hw:1,0", (2,)), ("hw:1,0:2", ())]),
        ("device:Card: Analogue (hw:0,0)", [("Card: Analogue (hw:0,0)", ())]),
        ("device: ALSA/pulse ", [("ALSA/pulse", ())]),
        ("DEVICE:pulse", [("pulse", ())]),
    ],
)
def test_devices(text, readings):
    spec = parse_spec(text)
    assert isinstance(spec, DeviceSpec)
    assert [(reading.name, reading.channels) for reading in spec.readings] == readings


def test_an_index_is_a_number():
    assert parse_spec("device:12:1").readings[0].index == 12
    assert parse_spec("device:12 strings").readings[0].index is None


@pytest.mark.parametrize(
    "path",
    ["/tmp/a b/take 3.wav", "take:2:final.wav", r"C:\Takes\take 1.wav", "D:/x.flac", "~", "weiß nicht.wav"],
)
def test_files_take_all_that_follows(path):
    assert parse_spec(f"file:{path}") == FileSpec(Path(path))


def test_windows_paths_survive_as_text():
    spec = parse_spec(r"file:C:\Takes\take 1.wav")
    assert isinstance(spec, FileSpec)
    assert PureWindowsPath(str(spec.path)).drive == "C:"


@pytest.mark.parametrize(
    ("text", "spec"),
    [
        ("player", PlayerSpec()),
        ("player:", PlayerSpec()),
        ("player:bass", PlayerSpec("bass")),
        ("player:bass:6", PlayerSpec("bass", 6.0)),
        ("player:bass:+4.5", PlayerSpec("bass", 4.5)),
        ("player:bass:-12", PlayerSpec("bass", -12.0)),
        ("player:bass:−12", PlayerSpec("bass", -12.0)),
        ("player::-3", PlayerSpec("", -3.0)),
        ("player:bass:", PlayerSpec("bass")),
    ],
)
def test_player(text, spec):
    assert parse_spec(text) == spec


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "names no input"),
        ("microphone", "names no input"),
        ("net:1.2.3.4", "names no input"),
        ("device:", "Nothing follows"),
        ("device", "Nothing follows"),
        ("file:", "Nothing follows"),
        ("player:bass:loud", "no number"),
        ("player:bass:nan", "no number"),
        ("player:bass:500", "goes from −60 to \\+60 dB"),
        ("player:bass:inf", "goes from"),
        ("device:pulse:" + ",".join(["1"] * 33), "33 channels"),
    ],
)
def test_refusals_are_one_sentence(text, words):
    with pytest.raises(UsageError, match=words) as caught:
        parse_spec(text)
    assert "\n" not in str(caught.value)


def test_a_bare_path_is_helped_on(tmp_path):
    path = tmp_path / "take.wav"
    path.write_bytes(b"x")
    with pytest.raises(UsageError, match="write file:"):
        parse_spec(str(path))


@given(st.text(max_size=60))
def test_any_text_is_a_spec_or_a_usage_error(text):
    try:
        spec = parse_spec(text)
    except UsageError:
        return
    assert parse_spec(str(spec)) == spec, "what a spec prints opens the same input again"


@given(st.floats(-60, 60), st.sampled_from(["", "bass", "voice"]))
def test_player_specs_survive_their_own_text(gain_db, part):
    spec = PlayerSpec(part, float(f"{gain_db:g}"))
    assert parse_spec(str(spec)) == spec


def test_open_spec_makes_the_source():
    assert isinstance(open_spec("file:some take.wav", paced=False), FileSource)
    assert isinstance(open_spec("device:some interface:3"), ReturningSource)
    assert isinstance(open_spec("player"), PlayerSource)
    player = open_spec("player:bass:-6", paced=False)
    assert isinstance(player, PlayerSource)
    assert (player.gain_db, player.info.live) == (-6.0, False)


def test_files_at_home(tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    soundfile.write(tmp_path / "take.wav", np.zeros(100), 48_000)
    source = open_spec("file:~/take.wav", paced=False)
    source.start()
    assert source.info.spec == f"file:{tmp_path / 'take.wav'}"
    source.close()
    with pytest.raises(SoundFileError, match="no such file"):
        open_spec("file:a\0b", paced=False).start()


def test_the_range_of_the_gain_is_that_of_the_players_knob():
    assert (spec.LOWEST_GAIN_DB, spec.HIGHEST_GAIN_DB) == (GAIN_MIN_DB, GAIN_MAX_DB)
