"""Eight hours in the window with fifty takes, as fast as the machine can: does memory stay where it is?

    python tests/bench/evening.py [--hours 8] [--takes 50] [--part drums]

The whole program runs on a private screen; two minutes of the built-in player, again and again, are handed
out without waiting for the clock. Takes begin and end all the time; the window paints what there is. Printed
each tenth of the way, without the sound itself, and judged at the end: exit status 1 when memory grew by more
than 10 MB after the first tenth, a take is missing from the log, or a thread was left. The live path runs hop
by hop instead of a hundred at a time; ``soak.py`` has that, for shorter.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

from machine import describe, memory_mb, private_mb
from stage import private_screen

from app.inputs.player import PARTS, PlayerSource
from app.inputs.source import Block, SourceStats

_MOST_GROWTH_MB = 10.0
_LOOK_MS = 20
_LOOP_S = 120
_PATIENCE_S = 10.0


class Loop:
    """Sound that was made before, again and again: making it anew would take most of the time."""

    def __init__(self, part: str) -> None:
        self._player = PlayerSource(part, paced=False)
        self._player.start()
        self.info = self._player.info
        self._sound = self._player.read(_LOOP_S * self.info.rate_hz, 60.0).samples
        self._at = 0
        self.size_mb = self._sound.nbytes / 1e6

    def start(self) -> None:
        self._at = 0

    def read(self, max_frames: int, timeout_s: float) -> Block:
        del timeout_s
        begin = self._at % self._sound.shape[0]
        samples = self._sound[begin : begin + max_frames].copy()
        self._at += samples.shape[0]
        return Block(samples)

    def stats(self) -> SourceStats:
        return SourceStats(delivered_frames=self._at)

    def close(self) -> None:
        self._player.close()


def main() -> int:
    """Run, print, judge."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--hours", type=float, default=8.0)
    arguments.add_argument("--takes", type=int, default=50)
    arguments.add_argument("--part", choices=PARTS, default="drums")
    arguments.add_argument("--growth-mb", type=float, default=_MOST_GROWTH_MB, help="more fails it")
    chosen = arguments.parse_args()
    print(describe())
    with tempfile.TemporaryDirectory() as folder, private_screen((1920, 1080)):
        for name in ("HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
            os.environ[name] = str(Path(folder))
        return _run(chosen)


def _run(chosen: argparse.Namespace) -> int:
    from PySide6.QtCore import QTimer
    from PySide6.QtWidgets import QApplication

    import app.cli.window as program
    from app.log.store import Store
    from app.window.main import MainWindow

    sound = Loop(chosen.part)
    sound_mb = sound.size_mb
    program.open_spec = lambda *_, **__: sound  # type: ignore[assignment]
    application = QApplication(["swellmark"])
    threads = threading.active_count()
    memory: list[float] = []
    toggles, done = 0, False
    began_s = time.monotonic()
    span_s = 3600.0 * chosen.hours
    engines: list[Any] = []
    kept = program.Engine

    def engine(*given: Any, **more: Any) -> Any:
        engines.append(kept(*given, **more))
        return engines[-1]

    program.Engine = engine  # type: ignore[assignment,misc]

    def look() -> None:
        nonlocal toggles, done
        window = next((top for top in application.topLevelWidgets() if isinstance(top, MainWindow)), None)
        if window is None or done:
            return
        t_s = engines[-1].snapshot.t_s
        if toggles < 2 * chosen.takes and t_s >= span_s * (toggles + 0.5) / (2 * chosen.takes):
            window.toggle_take()
            toggles += 1
        while len(memory) < 10 and t_s >= span_s * (len(memory) + 1) / 10:
            memory.append(memory_mb() - sound_mb)
            took_s = time.monotonic() - began_s
            print(f"{t_s / 3600:5.2f} h heard in {took_s:4.0f} s: {memory[-1]:6.1f} MB", flush=True)
        if len(memory) == 10:
            done = True
            window.close()

    timer = QTimer(application)
    timer.timeout.connect(look)
    timer.start(_LOOK_MS)
    program.open_window("player")
    with Store() as store:
        takes = store.count()
    left = _left(threads)
    growth_mb = max(memory) - memory[0]
    print(
        f"{takes} of {toggles // 2} takes in the log; memory at most {max(memory):.0f} MB, grew by "
        f"{growth_mb:.1f} MB after the first tenth; {private_mb() - sound_mb:.0f} MB shared with nobody; "
        f"{len(left)} threads left {' '.join(left)}".rstrip()
    )
    return int(takes != chosen.takes or growth_mb > chosen.growth_mb or bool(left))


def _left(before: int) -> list[str]:
    """Names of the threads that do not end: a list of inputs that was asked for last may take a moment."""
    give_up_s = time.monotonic() + _PATIENCE_S
    while True:
        # The audio-control thread lives as long as the process.
        left = [each.name for each in threading.enumerate() if each.name != "audio-control"][before:]
        if not left or time.monotonic() > give_up_s:
            return left
        time.sleep(0.05)


if __name__ == "__main__":
    sys.exit(main())
