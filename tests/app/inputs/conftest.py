"""What the tests of the inputs share."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from app.inputs.portaudio import AudioControl


def _load(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


soundless = _load("soundless")


@pytest.fixture
def sound_device():
    """PortAudio with two host APIs, a pair of inputs, an eight-channel one, and an output."""
    Device = soundless.Device
    return lambda: soundless.SoundDevice(
        devices=[
            Device("Desk pair (hw:0,0)"),
            Device("Headphones", inputs=0),
            Device("Rack eight", inputs=8, rate_hz=96_000.0),
            Device("Rack eight", host_api="JACK", inputs=8),
            Device("hw:1,0", inputs=4, rate_hz=44_100.0, rates=(48_000.0,)),
        ],
        default="Rack eight",
    )


@pytest.fixture
def audio(sound_device) -> Iterator[AudioControl]:
    """An audio-control thread over it; ``audio.module`` is the stand-in once something was called."""
    loaded = []

    def load():
        loaded.append(sound_device())
        return loaded[-1]

    control = AudioControl(load)
    control.loaded = loaded
    yield control
    assert control.shutdown(), "the audio-control thread did not end"
