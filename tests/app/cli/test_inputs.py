"""``swellmark inputs``: what can be opened, on paper and as JSON."""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner

from app.cli import inputs as module
from app.cli.main import main
from app.errors import DeviceError
from app.inputs.devices import DeviceInfo
from app.inputs.player import PARTS
from app.inputs.report import Report
from app.inputs.spec import parse_spec

DEVICES = (
    DeviceInfo(0, "Desk pair [USB] (hw:0,0)", "ALSA", 2, 48_000.0, is_default=False),
    DeviceInfo(3, "Rack eight", "JACK", 8, 44_100.0, is_default=True),
    DeviceInfo(4, "One", "JACK", 1, 96_000.0, is_default=False),
)


@pytest.fixture
def run(monkeypatch):
    monkeypatch.setattr(module, "list_devices", lambda: DEVICES)
    return lambda *arguments: CliRunner(env={"COLUMNS": "120"}).invoke(main, ["inputs", *arguments])


def test_the_table_gives_the_line_to_paste(run):
    result = run()
    assert result.exit_code == 0
    for line in (
        "device:ALSA/Desk pair [USB] (hw:0,0):1,2",
        "device:JACK/Rack eight:1,2",
        "device:JACK/One:1",
    ):
        assert line in result.stdout
    assert re.search(r"3 \(default\) +JACK +8 +44\.1 kHz", result.stdout)
    for part in PARTS:
        assert f"player:{part}" in result.stdout


def test_json_is_one_document_and_nothing_else(run):
    result = run("--json")
    assert result.exit_code == 0
    document = json.loads(result.stdout)
    assert [device["spec"] for device in document["devices"]] == [device.spec() for device in DEVICES]
    assert document["devices"][1]["default_rate_hz"] == 44_100.0
    assert document["devices"][1]["is_default"] is True
    assert [each["part"] for each in document["player"]] == list(PARTS)
    assert document["problem"] is None
    for each in document["devices"] + document["player"]:
        assert str(parse_spec(each["spec"])) == each["spec"]


def test_without_portaudio_the_player_is_still_there(run, monkeypatch):
    def missing():
        raise DeviceError("Sound devices cannot be opened because the PortAudio library is missing.")

    monkeypatch.setattr(module, "list_devices", missing)
    result = run()
    assert result.exit_code == 0
    assert "PortAudio library is missing" in result.stdout
    assert "player:bass" in result.stdout
    document = json.loads(run("--json").stdout)
    assert document["devices"] == []
    assert "missing" in document["problem"]


def test_no_devices_is_said_in_words(run, monkeypatch):
    monkeypatch.setattr(module, "list_devices", tuple)
    lines = run().stdout.splitlines()
    assert "no sound input" in lines[0]
    # One to a line, to be copied as it stands.
    assert [line for line in lines if line.startswith("  ")] == [
        *(f"  player:{part}" for part in PARTS),
        "  file:PATH",
    ]
    assert all(line == line.rstrip() for line in lines)


def test_the_report_has_versions_and_devices_and_no_private_name(run, monkeypatch):
    devices = (DeviceInfo(0, "anna's headset", "ALSA", 1, 48_000.0, is_default=True),)
    monkeypatch.setattr(
        module, "make_report", lambda: Report({"swellmark": "0.1.0", "rtmixer": ""}, ("ALSA",), devices)
    )
    monkeypatch.setattr("getpass.getuser", lambda: "anna")
    text = run("--report").stdout
    assert "rtmixer: not installed" in text
    assert "Input 0: ALSA/<user>'s headset, 1 channel, 48 kHz (default)" in text
    document = json.loads(run("--report", "--json").stdout)
    assert document["devices"][0]["name"] == "<user>'s headset"
    assert "anna" not in json.dumps(document)
