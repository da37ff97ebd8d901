"""Does every frame arrive? A numbered signal through a private sound server into the whole program.

    python tests/bench/capture.py [--minutes 60] [--block 64] [--drops 3]

A player writes frames that carry their own number into a null sink. Two programs record it at the same time,
with PortAudio asked for blocks of 64 frames: the window, through C, on a screen of its own, which is resized,
hidden, minimised and recoloured all the time; and beside it a bare reader through the plain Python callback.
In both a thread holds the interpreter's lock for 50 ms, lets go of it for 50 ms, and so on. Every frame is
compared with the number that it should carry.

At the end the programs are stopped (SIGSTOP) long enough for the sound server to throw frames away: those
gaps must be told, with their size and their place.

Exit status 1 when a frame was lost or altered without being told while nothing was stopped. Needs Debian's
pulseaudio, libportaudio2, libasound2-plugins; uses Xvfb where it is installed.
"""

from __future__ import annotations

import argparse
import ctypes
import json
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from stage import LOW, RATE_HZ, STEP, Stage

from app.inputs import capture as captures
from app.inputs.device import DeviceSource
from app.inputs.returning import ReturningSource
from app.inputs.source import Block, Source, SourceInfo, SourceStats
from app.inputs.spec import parse_spec

DEVICE = "device:pulse:1,2"
_STOPPED_S = 25.0
"""PulseAudio keeps about ten seconds for a program that does not listen."""
_HELD_S = 0.050
_MOST_TOLD = 12


@dataclass
class Break:
    """A place where numbers are missing."""

    at_frame: int
    """Frames before it by the reader's own count, what it was told to be missing included."""
    missing: int
    """By the numbers."""
    told: int
    """By the input, directly there."""


@dataclass
class Tally:
    """What came, compared with what should have come."""

    compared: int = 0
    silent: int = 0
    """Frames in which the player had nothing to say, between two numbers that follow each other."""
    altered: int = 0
    told: int = 0
    """Frames that the input said were lost."""
    untold_gaps: int = 0
    breaks: list[Break] = field(default_factory=list)
    _position: int = 0
    _next: int = -1
    _pending: int = 0

    def take(self, samples: npt.NDArray[np.float32], lost: int) -> None:
        """Compare the next frames."""
        self._position += lost
        self.told += lost
        self._pending += lost
        counts = samples.astype(np.float64) / STEP
        whole = np.rint(counts)
        self.altered += int(np.count_nonzero((whole != counts).any(axis=1)))
        numbers = (whole[:, 1] - 1) * LOW + whole[:, 0] - 1
        heard = np.flatnonzero(whole[:, 0] > 0)
        if heard.shape[0]:
            self._compare(numbers[heard].astype(np.int64), heard)
        self.silent += int(samples.shape[0] - heard.shape[0]) if self._next >= 0 else 0
        self._position += int(samples.shape[0])

    def _compare(self, numbers: npt.NDArray[np.int64], heard: npt.NDArray[np.intp]) -> None:
        expected = np.concatenate(([self._next if self._next >= 0 else numbers[0]], numbers[:-1] + 1))
        for at in np.flatnonzero(numbers != expected):
            told = self._pending if at == 0 else 0
            self.breaks.append(Break(self._position + int(heard[at]), int(numbers[at] - expected[at]), told))
        self._pending = 0
        self._next = int(numbers[-1]) + 1
        self.compared += int(numbers.shape[0])


class Checked:
    """A source that passes everything on and compares it on the way."""

    def __init__(self, source: Source) -> None:
        self._source = source
        self.tally = Tally()
        self.longest_pause_s = 0.0
        self._read_s = 0.0

    @property
    def info(self) -> SourceInfo:
        return self._source.info

    def start(self) -> None:
        self._source.start()

    def read(self, max_frames: int, timeout_s: float) -> Block:
        block = self._source.read(max_frames, timeout_s)
        now_s = time.monotonic()
        if self._read_s:
            self.longest_pause_s = max(self.longest_pause_s, now_s - self._read_s)
        self._read_s = now_s
        self.tally.take(block.samples, block.lost_frames)
        return block

    def stats(self) -> SourceStats:
        return self._source.stats()

    def close(self) -> None:
        self._source.close()


# The programs that record, each in a process of its own.


def small_blocks(frames: int) -> None:
    """Have every stream of this process ask PortAudio for blocks of so many frames."""
    usual = captures.stream_arguments
    captures.stream_arguments = lambda *given, **more: {**usual(*given, **more), "blocksize": frames}


def hold_the_lock() -> None:
    """Keep every other Python thread waiting, half of the time, at no cost for the machine."""
    library = ctypes.PyDLL(None)  # unlike CDLL, it keeps the interpreter's lock while a function runs
    while True:
        library.usleep(int(_HELD_S * 1e6))
        time.sleep(_HELD_S)


def window_program(block: int, busy: bool) -> dict[str, Any]:
    """The window, moved about until SIGTERM comes."""
    from PySide6.QtCore import QTimer
    from PySide6.QtWidgets import QApplication

    import app.cli.window as program
    from app.window import main as window_module

    small_blocks(block)
    opened: list[Checked] = []

    def open_checked(*_: object, **__: object) -> Checked:
        opened.append(Checked(ReturningSource(DeviceSource(parse_spec(DEVICE)))))
        return opened[-1]

    program.open_spec = open_checked  # type: ignore[assignment]
    application = QApplication(["swellmark"])
    rng = np.random.default_rng(5)
    moves = {"resized": 0, "hidden": 0, "minimised": 0, "recoloured": 0}
    stop: list[int] = []
    signal.signal(signal.SIGTERM, lambda *_: stop.append(1))

    def move() -> None:
        found = [top for top in QApplication.topLevelWidgets() if isinstance(top, window_module.MainWindow)]
        if not found:
            return
        window = found[0]
        if stop:
            window.showNormal()  # only a window that is seen ends the program with it
            window.close()
            return
        match int(rng.integers(0, 8)):
            case 0:
                window.hide()
                moves["hidden"] += 1
            case 1:
                window.showMinimized()
                moves["minimised"] += 1
            case 2:
                window.showNormal()
                window.looks.next_palette()
                moves["recoloured"] += 1
            case _:
                window.showNormal()
                window.resize(int(rng.integers(900, 1900)), int(rng.integers(560, 1050)))
                moves["resized"] += 1

    timer = QTimer(application)
    timer.timeout.connect(move)
    timer.start(2000)
    if busy:
        threading.Thread(target=hold_the_lock, daemon=True).start()
    began_s, cpu_s = time.monotonic(), time.process_time()
    status = program.open_window(DEVICE)
    took_s, cpu_s = time.monotonic() - began_s, time.process_time() - cpu_s
    return {"status": status, "moves": moves, **result(opened[-1], took_s, cpu_s)}


def callback_program(block: int, busy: bool) -> dict[str, Any]:
    """A bare reader through the Python callback, until SIGTERM comes."""
    small_blocks(block)
    source = Checked(ReturningSource(DeviceSource(parse_spec(DEVICE), ways=(captures.PythonCapture,))))
    stop: list[int] = []
    signal.signal(signal.SIGTERM, lambda *_: stop.append(1))
    if busy:
        threading.Thread(target=hold_the_lock, daemon=True).start()
    source.start()
    began_s, cpu_s = time.monotonic(), time.process_time()
    while not stop:
        source.read(480, 0.05)
    took_s, cpu_s = time.monotonic() - began_s, time.process_time() - cpu_s
    done = result(source, took_s, cpu_s)
    source.close()
    return done


def result(source: Checked, took_s: float, cpu_s: float) -> dict[str, Any]:
    """What a program found out, for the bench to read."""
    tally, stats = asdict(source.tally), source.stats()
    return {
        "took_s": took_s,
        "cpu_share": cpu_s / took_s,
        "longest_pause_s": source.longest_pause_s,
        "stats": {name: getattr(stats, name) for name in stats.__slots__},
        "tally": {name: value for name, value in tally.items() if not name.startswith("_")},
    }


PROGRAMS: dict[str, Callable[[int, bool], dict[str, Any]]] = {
    "window": window_program,
    "callback": callback_program,
}


# The bench.


def main() -> int:
    """Run, print, judge."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--minutes", type=float, default=60.0)
    arguments.add_argument("--block", type=int, default=64, help="frames in a block of PortAudio's")
    arguments.add_argument(
        "--drops", type=int, default=3, help="times that the programs are stopped at the end"
    )
    arguments.add_argument("--idle", action="store_true", help="no thread that holds the lock")
    arguments.add_argument("--role", choices=list(PROGRAMS), help=argparse.SUPPRESS)
    arguments.add_argument("--to", type=Path, help=argparse.SUPPRESS)
    chosen = arguments.parse_args()
    if chosen.role:
        found = PROGRAMS[chosen.role](chosen.block, not chosen.idle)
        chosen.to.write_text(json.dumps(found))
        return 0
    with tempfile.TemporaryDirectory(prefix="capture-") as folder:
        stage = Stage(Path(folder))
        try:
            found, before_drops = _record(stage, chosen, Path(folder))
        finally:
            stage.close()
    return _judge(found, before_drops)


def _start(stage: Stage, role: str, chosen: argparse.Namespace, to: Path) -> subprocess.Popen[str]:
    command = [__file__, "--role", role, "--block", str(chosen.block), "--to", str(to)]
    return stage.start(*command, *(["--idle"] if chosen.idle else []))


def _record(stage: Stage, chosen: argparse.Namespace, folder: Path) -> tuple[dict[str, Any], float]:
    began_s = time.monotonic()
    files = {role: folder / f"{role}.json" for role in PROGRAMS}
    programs = {role: _start(stage, role, chosen, to) for role, to in files.items()}
    ends_s = began_s + chosen.minutes * 60.0
    while time.monotonic() < ends_s:
        time.sleep(min(1.0, max(0.0, ends_s - time.monotonic())))
        for role, program in programs.items():
            if program.poll() is not None:
                raise SystemExit(f"{role} ended by itself with {program.returncode}")
    steady_s = time.monotonic() - began_s
    for _ in range(chosen.drops):
        for program in programs.values():
            program.send_signal(signal.SIGSTOP)
        time.sleep(_STOPPED_S)
        for program in programs.values():
            program.send_signal(signal.SIGCONT)
        time.sleep(8.0)
    for program in programs.values():
        program.terminate()
    for program in programs.values():
        program.wait(30)
    return {role: json.loads(to.read_text()) for role, to in files.items()}, steady_s


def _judge(found: dict[str, Any], steady_s: float) -> int:
    bad = 0
    for role, outcome in found.items():
        tally, stats = outcome["tally"], outcome["stats"]
        breaks = [Break(**each) for each in tally["breaks"]]
        steady = [each for each in breaks if each.at_frame < steady_s * RATE_HZ]
        later = breaks[len(steady) :]
        print(f"\n{role} ({stats['backend']}), {outcome['took_s'] / 60:.1f} minutes")
        if "moves" in outcome:
            print("  " + ", ".join(f"{what} {count} times" for what, count in outcome["moves"].items()))
        print(f"  blocks of {stats['smallest_block_frames']} to {stats['largest_block_frames']} frames")
        share, pause_s = outcome["cpu_share"], outcome["longest_pause_s"]
        print(f"  {share:.1%} of a core; longest between two reads {pause_s:.3f} s")
        print(f"  {tally['compared']:,} frames compared, {tally['altered']} altered, {tally['silent']} quiet")
        missing = sum(each.missing for each in steady)
        print(f"  while nothing was stopped: {missing} frames missing in {len(steady)} places")
        for each in (*steady[:_MOST_TOLD], *later):
            at_s = each.at_frame / RATE_HZ
            print(f"  at {at_s:9.3f} s missing {each.missing:8d} frames, told {each.told:8d} there")
        print(f"  frames told lost in all: {tally['told']}; flagged by the driver: {stats['overflows']}")
        untold = [each for each in steady if each.missing != each.told]
        if role == "window":
            bad += bool(untold or tally["altered"] or not tally["compared"])
    return int(bool(bad))


if __name__ == "__main__":
    sys.exit(main())
