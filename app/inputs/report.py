"""What a helper from afar asks for: versions, devices and the last run, with nothing private in it."""

from __future__ import annotations

import getpass
import importlib.metadata
import platform
import re
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from app import __version__
from app.errors import DeviceError
from app.inputs.devices import DeviceInfo, query
from app.inputs.lastrun import recall
from app.inputs.portaudio import START_LIMIT_S, AudioControl, control

_PACKAGES = ("numpy", "scipy", "sounddevice", "rtmixer", "soundfile", "PySide6-Essentials")


@dataclass(frozen=True, slots=True)
class Report:
    """The state of the machine, as far as sound goes."""

    versions: dict[str, str]
    host_apis: tuple[str, ...] = ()
    devices: tuple[DeviceInfo, ...] = ()
    problem: str = ""
    """Why there are no devices: one sentence, and what the library said."""
    about: dict[str, str] = field(default_factory=dict)
    """The system: its name, the kind of processor."""
    last_run: dict[str, Any] = field(default_factory=dict)
    """What happened to the device that was recorded from last; empty where none was."""


def make_report(audio: AudioControl | None = None) -> Report:
    """Look at everything. Never raises for what it finds missing: that is what it is to report."""
    audio = audio or control()
    versions = {"swellmark": __version__, "Python": platform.python_version()}
    versions |= {name: _version(name) for name in _PACKAGES}
    last_run = {
        name: without_private_names(value) if isinstance(value, str) else value
        for name, value in recall().items()
    }
    about = {"system": platform.platform(), "processor": platform.machine(), "frozen": str(_is_frozen())}

    def work(sd: Any) -> tuple[str, tuple[str, ...], tuple[DeviceInfo, ...]]:
        audio.relist()
        return (
            sd.get_portaudio_version()[1],
            tuple(str(api["name"]) for api in sd.query_hostapis()),
            query(sd),
        )

    try:
        portaudio, host_apis, devices = audio.call(work, limit_s=START_LIMIT_S)
    except DeviceError as error:
        problem = without_private_names(f"{error} {error.detail}".strip())
        return Report(versions, problem=problem, about=about, last_run=last_run)
    versions["PortAudio"] = portaudio
    return Report(versions, host_apis, devices, about=about, last_run=last_run)


def without_private_names(text: str) -> str:
    """Take the user's folder and name out of a text.

    ``/home/anna/x`` becomes ``~/x``; the name alone becomes ``<user>`` where it stands as a word of its own.
    """
    text = text.replace(str(Path.home()), "~")
    try:
        user = getpass.getuser()
    except (KeyError, OSError, ImportError):  # a user without an entry in the system's list
        return text
    if len(user) < 3 or user == "root":  # too short to be told from other words; everybody's
        return text
    return re.sub(rf"(?<!\w){re.escape(user)}(?!\w)", "<user>", text)


def _version(package: str) -> str:
    try:
        return importlib.metadata.version(package)
    except importlib.metadata.PackageNotFoundError:
        return ""


def _is_frozen() -> bool:
    return bool(getattr(sys, "frozen", False))
