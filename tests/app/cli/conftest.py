"""What the tests of the commands share: a home of their own, sounds to measure, ways to run a command."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner, Result

from app.cli import main

RATE_HZ = 48_000


@pytest.fixture
def home(tmp_path, monkeypatch):
    """A home of the test's own: no command finds or changes what belongs to the user."""
    folder = tmp_path / "home"
    folder.mkdir()
    for name in [name for name in os.environ if name.startswith(("XDG_", "SWELLMARK_"))]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("HOME", str(folder))
    return folder


@pytest.fixture
def run(home):
    """Run a command within this process; it must not end by an error of its own."""

    def run(*arguments: object) -> Result:
        result = CliRunner().invoke(main, [str(argument) for argument in arguments])
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
        assert "Traceback" not in result.stderr
        return result

    return run


@pytest.fixture
def start(home):
    """Start a command as a process of its own, which is gone when the test is over."""
    started: list[subprocess.Popen[bytes]] = []

    def start(*arguments: object, env: dict[str, str] | None = None, **options: Any):
        process = subprocess.Popen(
            [sys.executable, "-m", "app.cli", *map(os.fsencode, map(str, arguments))],
            env=os.environ | (env or {}),
            **({"stdout": subprocess.PIPE, "stderr": subprocess.PIPE} | options),
        )
        started.append(process)
        return process

    yield start
    for process in started:
        if process.poll() is None:
            process.kill()
        process.communicate(timeout=10)


@pytest.fixture
def strict_json():
    """Read one JSON document, with nothing but numbers that JSON knows."""

    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is no JSON")

    return lambda text: json.loads(text, parse_constant=refuse)


@pytest.fixture
def phrases():
    """Make something to play."""
    return _phrases


def _phrases(level_dbfs: float, seconds: float = 8.0, channels: int = 1, rate_hz: int = RATE_HZ):
    """(frames, channels): half a second of a tone at this level, half a second of faint noise, and again."""
    random = np.random.default_rng(4)
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    played = (t % 1.0 < 0.5)[:, np.newaxis]
    tone = 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * 220 * t)[:, np.newaxis]
    hiss = 10 ** (-75 / 20) * random.standard_normal((t.size, channels))
    return (tone * played + hiss).astype(np.float32)


@pytest.fixture
def sound(tmp_path):
    """Write a sound file; returns its path."""

    def write(name: str, samples, rate_hz: int = RATE_HZ, **options: Any) -> Path:
        path = tmp_path / name
        soundfile.write(path, samples, rate_hz, **options)
        return path

    return write
