"""Nothing leaves the machine, and nothing that is kept can be read by others."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from app import settings
from app.log.writer import LogWriter

_WATCHED = """
import atexit, os, socket, sys
seen = []
def hook(event, details):
    # AF_UNIX reaches only this machine: multiprocessing talks to its own children so.
    if event == "socket.__new__":
        if details[1] != socket.AF_UNIX:
            seen.append((event, details[1:]))
    elif event.startswith(("socket.", "urllib.", "http.", "ftplib.", "smtplib.")) and not (
        details and getattr(details[0], "family", None) == socket.AF_UNIX
    ):
        seen.append((event, details[1:]))
sys.addaudithook(hook)
# Last of all, whatever the program ends with.
atexit.register(lambda: seen and (print("NETWORK", seen, file=sys.stderr, flush=True), os._exit(99)))
"""
_COMMAND = """
import sys
from app.cli.main import main
sys.argv[0] = "swellmark"
main()
"""
_WINDOW = (
    """
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
application = QApplication(["swellmark"])
QTimer.singleShot(2500, lambda: [top.close() for top in QApplication.topLevelWidgets() if top.isVisible()])
"""
    + _COMMAND
)
_GUILTY = "import socket; socket.socket(socket.AF_INET, socket.SOCK_DGRAM).close()"


def watched(code: str, folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run Python code under the eyes of an audit hook, in folders of its own."""
    names = ("HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME")
    return subprocess.run(
        [sys.executable, "-c", _WATCHED + code, *arguments],
        env={**os.environ, **dict.fromkeys(names, str(folder)), "QT_QPA_PLATFORM": "offscreen"},
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=90,
        check=False,
    )


def test_the_hook_notices(tmp_path: Path) -> None:
    assert watched(_GUILTY, tmp_path).returncode == 99


def test_the_window_opens_no_network_socket(tmp_path: Path) -> None:
    done = watched(_WINDOW, tmp_path, "--input", "player")
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    "line",
    [
        "inputs --json",
        "inputs --report",
        "check take.wav --json",
        "watch --input player --take T --seconds 0.5 --json",
        "takes export 1 --to takes.html",
        "balance --part take.wav --backing take.wav --json",
    ],
)
def test_no_command_opens_a_network_socket(tmp_path: Path, line: str) -> None:
    tone = 0.1 * np.sin(2 * np.pi * 440 * np.arange(24_000) / 48_000)
    soundfile.write(tmp_path / "take.wav", tone, 48_000)
    done = watched(_COMMAND, tmp_path, *line.split())
    assert done.returncode in (0, 1, 2), done.stderr
    assert "NETWORK" not in done.stderr


@pytest.mark.skipif(os.name != "posix", reason="other systems keep these folders apart by themselves")
def test_what_is_kept_is_readable_by_the_user_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(tmp_path / name))
    before = os.umask(0o000)
    try:
        settings.Memory().put("theme", "night")
        log = LogWriter()
        assert log.flush()
        found = list(tmp_path.rglob("swellmark/**/*"))
        modes = {path: stat.S_IMODE(path.stat().st_mode) for path in found if path.is_file()}
        folders = {path: stat.S_IMODE(path.stat().st_mode) for path in tmp_path.rglob("swellmark")}
        assert log.close()
    finally:
        os.umask(before)
    assert {path.name for path in modes} >= {"settings.json", "takes.sqlite"}
    assert set(folders.values()) == {0o700}
    assert [path.name for path, mode in modes.items() if mode != 0o600] == []
