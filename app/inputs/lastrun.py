"""What happened to the last device that was recorded from, kept for whoever asks for help.

Figures only: when, which device, how many frames came and were lost, through which way. It is written when an
input is closed and read by ``swellmark inputs --report``. Neither may fail: a report that lacks it is still
one.
"""

from __future__ import annotations

import json
import logging
import os
import tempfile
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from app import settings
from app.inputs.source import SourceInfo, SourceStats

_FILE = "last-input.json"
_log = logging.getLogger(__name__)


def remember(info: SourceInfo, stats: SourceStats) -> None:
    """Keep what happened on an input that is closed now."""
    run = {
        "closed": datetime.now(UTC).isoformat(timespec="seconds"),
        "spec": info.spec,
        "rate_hz": info.rate_hz,
        "channels": info.channels,
        "note": info.note,
        **asdict(stats),
    }
    try:
        path = settings.state_folder() / _FILE
        # Whole or not at all, and readable by the user alone.
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=path.name)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump(run, file)
        Path(name).replace(path)
    except OSError as error:
        _log.warning("the statistics of the input could not be kept: %s", error)


def recall() -> dict[str, Any]:
    """What :func:`remember` kept last; empty when there is nothing, or nothing that can be read."""
    try:
        run = json.loads((settings.state_folder() / _FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    if not isinstance(run, dict):
        return {}
    return {str(name): value for name, value in run.items() if isinstance(value, str | int)}
