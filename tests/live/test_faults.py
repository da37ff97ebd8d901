"""A short run of ``tests/bench/faults.py``: a take goes on while its input goes and comes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.live

BENCH = Path(__file__).parents[1] / "bench" / "faults.py"


def test_a_take_survives_what_happens_to_its_input(sound_server):
    """Its own server is started by the bench; the fixture is here to skip where there is none."""
    done = subprocess.run(
        [sys.executable, str(BENCH), "--times", "1", "--only", "replug", "server", "--back-s", "10"],
        capture_output=True,
        text=True,
        timeout=110,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.splitlines()[-1] == "all as it should be"
