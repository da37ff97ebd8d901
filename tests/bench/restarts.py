"""The whole program, started, used and closed again and again, in random order.

    python -X dev tests/bench/restarts.py [--times 1000] [--seed 1]

Each round opens the window as the command does, with engine, coach and log, in one process, on no screen.
Then inputs are changed (to the player, to files, to faulty fakes, to specs that make no sense), takes begin
and end, sessions and pages open and close, the window is hidden and shown, all at random moments, and it is
closed at one, by its button or by Ctrl-C. Exit status 1 when a thread was left, Qt or Python warned, an
exception was not caught, a round did not end with 0, or memory kept growing. A round that hangs for a minute
prints every thread and ends the bench.
"""

from __future__ import annotations

import argparse
import faulthandler
import gc
import os
import signal
import statistics
import sys
import tempfile
import threading
import time
import warnings
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
import soundfile
from machine import memory_mb
from PySide6.QtWidgets import QApplication, QWidget

_HANGS_S = 60.0
_LATE_THREAD_S = 10.0
_MOST_GROWTH_MB_A_ROUND = 0.05
_ENOUGH_ROUNDS = 400
"""Fewer tell what is loaded when it is first needed from a leak no better than by chance."""
_WARM_ROUNDS = 20


class Trouble:
    """Whatever was said that should not have been."""

    def __init__(self) -> None:
        self.found: list[str] = []

    def __enter__(self) -> Trouble:
        from PySide6.QtCore import qInstallMessageHandler

        qInstallMessageHandler(self._from_qt)
        self._hooks = sys.excepthook, threading.excepthook, sys.unraisablehook
        sys.excepthook = lambda kind, error, trace: self.found.append(f"uncaught: {error!r}")
        threading.excepthook = lambda args: self.found.append(f"in {args.thread}: {args.exc_value!r}")
        sys.unraisablehook = lambda args: self.found.append(f"unraisable: {args.exc_value!r}")
        warnings.simplefilter("error")
        return self

    def __exit__(self, *_: object) -> None:
        sys.excepthook, threading.excepthook, sys.unraisablehook = self._hooks

    def _from_qt(self, _kind: object, _context: object, text: str) -> None:
        if "This plugin does not support" not in text:  # the offscreen platform says so of every window
            self.found.append(f"Qt: {text}")


class Round:
    """One life of the program: what is done to its window, step by step."""

    def __init__(self, rng: np.random.Generator, inputs: list[str]) -> None:
        self._rng = rng
        self._inputs = inputs
        self._left = int(rng.integers(0, 12))
        self.did: list[str] = []

    def begin(self) -> None:
        """Act from the event loop, once the window is there."""
        from PySide6.QtCore import QTimer

        QTimer.singleShot(int(self._rng.integers(0, 40)), self._step)

    def _step(self) -> None:
        from app.window.main import MainWindow

        window = next((top for top in QApplication.topLevelWidgets() if isinstance(top, MainWindow)), None)
        if window is None:
            self.begin()
            return
        if self._left <= 0:
            self._close(window)
            return
        self._left -= 1
        acts: dict[str, Callable[[], object]] = {
            "input": lambda: window.picker.input_chosen.emit(str(self._rng.choice(self._inputs))),
            "part": lambda: window.picker.part_chosen.emit(str(self._rng.choice(["drums", "other", "bass"]))),
            "hide": window.hide,
            "minimise": window.showMinimized,
            "show": window.showNormal,
            "size": lambda: window.resize(*(int(n) for n in self._rng.integers(600, 1600, 2))),
        }
        # Half of the time one of these, otherwise whatever a key can do.
        acts |= {action.name: action.run for action in window.keys} if self._rng.random() < 0.5 else {}
        name = str(self._rng.choice(list(acts)))
        self.did.append(name)
        try:
            acts[name]()
        finally:
            self.begin()

    def _close(self, window: QWidget) -> None:
        window.showNormal()  # nobody can close one that is hidden
        if self._rng.random() < 0.5:
            window.close()
        else:
            signal.raise_signal(signal.SIGINT)


def faulty_inputs() -> Callable[..., object]:
    """Stand in for ``open_spec``: of files that do not exist, make inputs that stall or are unplugged."""
    from app.inputs import spec as specs
    from app.inputs.fake import FakeSource

    real = specs.open_spec

    def opened(spec: object, **more: object) -> object:
        kind = str(spec).rpartition("/fake-")[2]
        if kind not in ("plays", "stalls", "goes"):
            return real(spec, **more)  # type: ignore[arg-type]
        blocks = [np.full((480, 2), 0.1, np.float32)] * 500
        fake = FakeSource(blocks, paced=True)
        match kind:
            case "stalls":
                fake.stall()
            case "goes":
                fake.unplug()
        return fake

    return opened


def main() -> int:
    """Run, print, judge."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--times", type=int, default=1000)
    arguments.add_argument("--seed", type=int, default=1)
    chosen = arguments.parse_args()
    faulthandler.enable()
    with tempfile.TemporaryDirectory() as folder, Trouble() as trouble:
        for name in ("HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
            os.environ[name] = folder
        return _run(Path(folder), chosen, trouble)


def _run(folder: Path, chosen: argparse.Namespace, trouble: Trouble) -> int:
    import app.cli.window as program

    take = folder / "take.wav"
    soundfile.write(take, np.random.default_rng(2).uniform(-0.1, 0.1, (24_000, 2)), 48_000)
    nonsense = ["file:/nowhere.wav", "device:harmonium", "spoon", "player:kazoo"]
    fakes = [f"file:{folder}/fake-{kind}" for kind in ("plays", "stalls", "goes")]
    inputs = ["player", "player:drums", f"file:{take}", *fakes, *nonsense]
    program.open_spec = faulty_inputs()  # type: ignore[assignment]
    application = QApplication(["swellmark"])
    rng = np.random.default_rng(chosen.seed)
    threads = {thread.name for thread in threading.enumerate()} | {"audio-control"}
    rounds_s, memory, bad = [], [], 0
    for number in range(chosen.times):
        faulthandler.dump_traceback_later(_HANGS_S, exit=True)
        life = Round(rng, inputs)
        life.begin()
        began_s = time.monotonic()
        status = program.open_window("player")
        rounds_s.append(time.monotonic() - began_s)
        left = _left(threads)
        if status or left or trouble.found:
            bad += 1
            print(f"round {number} ({' '.join(life.did)}): status {status}, threads left {left}")
            print("  " + "\n  ".join(trouble.found), flush=True)
            trouble.found.clear()
        gc.collect()
        memory.append(memory_mb())
        if number % 100 == 99:
            print(f"{number + 1} rounds, {bad} bad, {memory[-1]:.0f} MB", flush=True)
    faulthandler.cancel_dump_traceback_later()
    del application
    growth = _slope(memory)
    print(
        f"{chosen.times} rounds, {bad} bad; "
        f"{statistics.median(rounds_s):.2f} s each, at most {max(rounds_s):.2f} s; "
        f"memory {memory[0]:.0f} to {memory[-1]:.0f} MB, {1000 * growth:.1f} kB a round once warm"
    )
    return int(bool(bad) or (chosen.times >= _ENOUGH_ROUNDS and growth > _MOST_GROWTH_MB_A_ROUND))


def _left(usual: set[str]) -> list[str]:
    """Threads that did not end. Looking for devices takes its time, and is not waited for by a window."""
    deadline_s = time.monotonic() + _LATE_THREAD_S
    while True:
        left = [thread.name for thread in threading.enumerate() if thread.name not in usual]
        if not left or time.monotonic() > deadline_s:
            return left
        time.sleep(0.01)


def _slope(memory: list[float]) -> float:
    """MB a round, of the second half: the first fills caches."""
    later = memory[max(_WARM_ROUNDS, len(memory) // 2) :]
    return float(np.polyfit(np.arange(len(later)), later, 1)[0]) if len(later) > _WARM_ROUNDS else 0.0


if __name__ == "__main__":
    sys.exit(main())
