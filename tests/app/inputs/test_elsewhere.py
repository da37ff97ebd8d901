"""Another process looks for devices while this one has a stream open."""

from __future__ import annotations

import json
import subprocess
from types import SimpleNamespace

import pytest

from app.inputs import elsewhere
from app.inputs.devices import DeviceInfo, list_devices

PLUGGED_IN = DeviceInfo(7, "Newcomer", "ALSA", 2, 48_000.0, is_default=False, via_server=False)


def answer(monkeypatch, text: str) -> list[list[str]]:
    asked: list[list[str]] = []

    def run(command, **_):
        asked.append(command)
        return SimpleNamespace(stdout=text.encode())

    monkeypatch.setattr(subprocess, "run", run)
    return asked


def document(problem: str | None = None) -> str:
    device = {name: getattr(PLUGGED_IN, name) for name in PLUGGED_IN.__slots__}
    return json.dumps({"devices": [device | {"spec": "x"}], "problem": problem})


def test_what_was_plugged_in_meanwhile_is_listed_and_the_stream_stays(audio, monkeypatch):
    known = list_devices(audio)
    asked = answer(monkeypatch, document())
    monkeypatch.setattr("app.inputs.portaudio._RELIST_AGE_S", -1.0)
    stream = object()
    audio.call(lambda sd: audio.stream_opened(stream))
    audio.call(lambda sd: audio.distrust_list())
    assert list_devices(audio) == (PLUGGED_IN,)
    assert asked[0][-2:] == ["inputs", "--json"]
    answer(monkeypatch, "no JSON at all")
    assert list_devices(audio) == known


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", '{"devices": [{}]}', '{"devices": 3}', document("no driver")]
)
def test_an_answer_that_is_none(monkeypatch, text):
    answer(monkeypatch, text)
    assert elsewhere.look_afresh() is None


def test_a_process_that_hangs_or_fails(monkeypatch):
    def run(*_, **__):
        raise subprocess.TimeoutExpired("swellmark", 15.0)

    monkeypatch.setattr(subprocess, "run", run)
    assert elsewhere.look_afresh() is None


def test_the_process_really_answers():
    assert elsewhere.look_afresh() is not None
