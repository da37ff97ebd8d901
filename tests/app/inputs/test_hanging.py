"""A sound system that stops answering in the middle of a call: said in one line, and the program ends."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from app.log.records import TakeState
from app.log.store import Store

PROGRAM = """
import sys, threading
sys.path.insert(0, {here!r})
import soundless
from app.inputs import device, portaudio, returning

for_ever = threading.Event()
started = []


def hang(what):
    if what == "start":
        started.append(1)
        if len(started) > {works}:
            for_ever.wait()


def play():
    import numpy as np, time
    while not sd.streams or not sd.streams[-1].active:
        time.sleep(0.01)
    for _ in range(30):
        sd.streams[-1].deliver(np.full((480, 2), 0.1, np.float32))
        time.sleep(0.01)
    sd.streams[-1].finish()


sd = soundless.SoundDevice(devices=[soundless.Device("Desk pair")])
sd.on_call = hang
sd.get_portaudio_version = lambda: (0, "")
sys.modules["sounddevice"] = sd
sys.modules["rtmixer"] = None
portaudio.AudioControl.call.__kwdefaults__["limit_s"] = 0.5
returning.SILENT_S = 1.0
threading.Thread(target=play, daemon=True).start()
sys.argv[1:] = {arguments!r}
from app.cli import main

main.main()
"""


@pytest.fixture
def swellmark(tmp_path):
    """Run it over a PortAudio whose stream starts ``works`` times and hangs from then on."""

    def run(*arguments: str, works: int) -> tuple[subprocess.CompletedProcess[str], float]:
        program = PROGRAM.format(here=str(Path(__file__).parent), works=works, arguments=list(arguments))
        folders = {f"XDG_{kind}_HOME": str(tmp_path / kind) for kind in ("DATA", "STATE", "CONFIG", "CACHE")}
        began_s = time.monotonic()
        done = subprocess.run(
            [sys.executable, "-c", program],
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
            env=os.environ | folders,
        )
        return done, time.monotonic() - began_s

    return run


def test_an_opening_that_never_returns_ends_in_one_line(swellmark):
    done, _ = swellmark("watch", "--input", "device:desk", works=0)
    assert done.returncode == 2, done.stderr
    (line,) = done.stderr.splitlines()
    assert "has not answered for 0.5 seconds while the input was opened" in line
    assert "start the program again" in line


def test_a_return_that_never_returns_ends_the_take_that_runs(swellmark, tmp_path):
    done, took_s = swellmark("watch", "--input", "device:desk", "--take", "one", works=1)
    assert done.returncode == 2, done.stderr
    assert "has not answered" in done.stderr.splitlines()[-1]
    assert "Traceback" not in done.stderr
    assert took_s < 30
    (database,) = tmp_path.rglob("takes.sqlite")
    with Store(database) as store:
        take = store.take(1)
    assert take.row.state is TakeState.INTERRUPTED
    assert take.row.duration_s == pytest.approx(0.3, abs=0.05)
