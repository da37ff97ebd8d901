"""Short runs of the long benches, as checks of behaviour: ``soak.py`` and ``evening.py``."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

BENCHES = Path(__file__).parents[2] / "bench"


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads its memory from /proc")
@pytest.mark.parametrize(
    ("bench", "arguments", "ending"),
    [
        ("soak.py", ("--minutes", "0.05", "--steps", "4"), "0 frames lost, 12 of 12 takes in the log"),
        ("evening.py", ("--hours", "0.03", "--takes", "2", "--part", "bass"), "2 of 2 takes in the log"),
    ],
)
def test_a_short_one_ends_well(bench: str, arguments: tuple[str, ...], ending: str) -> None:
    # In so short a time memory still grows by what is loaded when it is first needed.
    done = subprocess.run(
        [sys.executable, str(BENCHES / bench), *arguments, "--growth-mb", "100"],
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen", "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        timeout=110,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert ending in done.stdout.splitlines()[-1]
    assert done.stdout.splitlines()[-1].endswith("0 threads left")
    assert "Traceback" not in done.stderr
