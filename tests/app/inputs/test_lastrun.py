"""The figures of the last input are kept, private, and never in the way."""

from __future__ import annotations

import stat

import pytest

from app import settings
from app.inputs.lastrun import recall, remember
from app.inputs.report import make_report
from app.inputs.source import SourceInfo, SourceStats

INFO = SourceInfo("device:ALSA/anna's desk:1,2", "anna's desk", 48_000, 2, live=True)


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.setattr(settings, "state_folder", lambda: tmp_path)


def test_what_was_kept_is_recalled(tmp_path):
    assert recall() == {}
    remember(INFO, SourceStats(delivered_frames=96_000, lost_frames=12, gaps=1, backend="rtmixer"))
    run = recall()
    assert (run["delivered_frames"], run["lost_frames"], run["backend"]) == (96_000, 12, "rtmixer")
    (file,) = tmp_path.iterdir()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


@pytest.mark.parametrize("text", ["", "[1]", "{", '{"a": [1], "b": null}', "\udcff"])
def test_what_cannot_be_read_is_nothing(tmp_path, text):
    (tmp_path / "last-input.json").write_bytes(text.encode(errors="surrogateescape"))
    assert recall() == {}


def test_a_folder_that_cannot_be_written_is_no_trouble(tmp_path, monkeypatch):
    monkeypatch.setattr(settings, "state_folder", lambda: tmp_path / "nowhere")
    remember(INFO, SourceStats())
    assert recall() == {}


def test_the_report_has_it_without_private_names(audio, monkeypatch):
    monkeypatch.setattr("getpass.getuser", lambda: "anna")
    remember(INFO, SourceStats(delivered_frames=7))
    run = make_report(audio).last_run
    assert run["spec"] == "device:ALSA/<user>'s desk:1,2"
    assert run["delivered_frames"] == 7
