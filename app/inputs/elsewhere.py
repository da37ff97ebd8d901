"""The devices as another process sees them now.

PortAudio looks for devices once, when it is initialised, and initialising it anew would close the stream
that is open. A process of its own has a PortAudio of its own, which looks afresh and disturbs nothing: the
program runs its own command ``inputs --json`` and reads what that prints. Whatever goes wrong, the older list
remains.
"""

from __future__ import annotations

import json
import logging
import subprocess
import sys
from typing import Any

from app.inputs.devices import DeviceInfo

_LIMIT_S = 15.0
_log = logging.getLogger(__name__)


def look_afresh() -> tuple[DeviceInfo, ...] | None:
    """List the devices that can record; None when the other process had no answer. Takes a second or so."""
    try:
        done = subprocess.run(  # noqa: S603 - the program itself, with words of its own
            [*_program(), "inputs", "--json"],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=_LIMIT_S,
            check=True,
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )
        document = json.loads(done.stdout)
        devices = tuple(_device(each) for each in document["devices"])
    except (OSError, subprocess.SubprocessError, ValueError, KeyError, TypeError) as error:
        _log.warning("the devices could not be listed by another process: %s", error)
        return None
    # No device at all, for a reason: then what this process knows is worth more.
    return None if document.get("problem") else devices


def _program() -> list[str]:
    """How this program is started again."""
    if getattr(sys, "frozen", False):
        return [sys.executable]
    return [sys.executable, "-P", "-m", "app.cli"]  # not what happens to lie in the present folder


def _device(entry: dict[str, Any]) -> DeviceInfo:
    return DeviceInfo(
        index=int(entry["index"]),
        name=str(entry["name"]),
        host_api=str(entry["host_api"]),
        channels=int(entry["channels"]),
        default_rate_hz=float(entry["default_rate_hz"]),
        is_default=bool(entry["is_default"]),
        via_server=bool(entry["via_server"]),
    )
