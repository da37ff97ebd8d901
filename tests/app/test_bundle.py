"""The program for people without Python: built here and started, in a window on a screen of its own."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

RECIPE = Path(__file__).parents[2] / "assets" / "ship" / "bundle.py"


@pytest.fixture
def screen():
    """The environment of a screen that nobody sees; Qt's own way of having none where there is no Xvfb."""
    environment = {name: value for name, value in os.environ.items() if name != "QT_QPA_PLATFORM"}
    if not shutil.which("Xvfb"):
        yield {**environment, "QT_QPA_PLATFORM": "offscreen"}
        return
    ours, theirs = os.pipe()
    command = ["Xvfb", "-displayfd", str(theirs), "-screen", "0", "1280x800x24", "-nolisten", "tcp"]
    server = subprocess.Popen(command, pass_fds=[theirs], stderr=subprocess.DEVNULL)
    os.close(theirs)
    try:
        with os.fdopen(ours) as told:
            yield {**environment, "DISPLAY": f":{told.readline().strip()}"}
    finally:
        server.terminate()
        server.wait(30)


@pytest.mark.beside
@pytest.mark.skipif(
    importlib.util.find_spec("PyInstaller") is None or not shutil.which("objdump"),
    reason="PyInstaller and objdump build the bundle",
)
@pytest.mark.skipif(
    "SWELLMARK_TEST_WHEEL" not in os.environ, reason="takes more than a minute: part of start.py --test"
)
def test_the_bundle_is_built_and_works_without_python(tmp_path, screen):
    command = [sys.executable, RECIPE, tmp_path]
    run = subprocess.run(
        command,
        env=screen,
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    for works in ("--version: works", "inputs: works", "--json: works", "the window: opened"):
        assert works in run.stdout
