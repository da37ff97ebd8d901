"""A short run of ``tests/bench/restarts.py``: the whole program, opened, used and closed at random."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

BENCH = Path(__file__).parents[2] / "bench" / "restarts.py"


def test_the_whole_program_opens_and_closes_at_any_moment():
    done = subprocess.run(
        [sys.executable, "-X", "dev", str(BENCH), "--times", "10", "--seed", "7"],
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
        capture_output=True,
        text=True,
        timeout=110,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.startswith("10 rounds, 0 bad"), done.stdout
    assert done.stderr == ""
