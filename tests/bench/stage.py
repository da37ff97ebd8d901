"""What the live benches play on: a private sound server, a player of numbered frames, a screen of its own.

Run as a program, it is the player's source: numbered frames on stdout.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "live"))

from conftest import RATE_HZ, SINK, SoundServer  # the server that the live tests start

STEP = 2.0**-23
LOW = 2**20
"""What the left channel counts; the right one counts how often it began anew. Both stay exact in float32."""


def numbered(first: int, frames: int) -> npt.NDArray[np.float32]:
    """(frames, 2) float32 that carry the numbers from ``first`` on."""
    number = np.arange(first, first + frames, dtype=np.int64)
    return (np.stack((number % LOW + 1, number // LOW + 1), axis=1) * STEP).astype(np.float32)


class Stage:
    """The private sound server, the player, and a screen."""

    def __init__(self, folder: Path, *, plays: bool = True) -> None:
        if missing := [tool for tool in ("pulseaudio", "pactl", "pacat") if not shutil.which(tool)]:
            sys.exit(f"needs Debian's pulseaudio and pulseaudio-utils; missing: {', '.join(missing)}")
        self.server = SoundServer(folder)
        self.server.launch()
        self._running: list[subprocess.Popen[Any]] = []
        if plays:
            self._play()
        self.environment = {**self.server.environment, "PYTHONWARNINGS": "default"}
        screen = start_screen((1920, 1080))
        if screen is None:
            self.environment["QT_QPA_PLATFORM"] = "offscreen"
        else:
            self._running.append(screen[0])
            self.environment |= {"DISPLAY": screen[1], "QT_QPA_PLATFORM": "xcb"}

    def _play(self) -> None:
        source = subprocess.Popen([sys.executable, __file__], stdout=subprocess.PIPE)
        self._running.append(source)
        pacat = ["pacat", f"--device={SINK}", "--raw", "--format=float32le", f"--rate={RATE_HZ}"]
        self._running.append(
            subprocess.Popen(
                [*pacat, "--channels=2", "--latency-msec=1500"],
                env=self.server.environment,
                stdin=source.stdout,
            )
        )

    def start(self, *command: str, **more: Any) -> subprocess.Popen[str]:
        """Start a program of Python's here; it is killed when the stage is closed."""
        program = subprocess.Popen([sys.executable, *command], env=self.environment, text=True, **more)
        self._running.append(program)
        return program

    def close(self) -> None:
        """End everything that was started here."""
        for program in reversed(self._running):
            program.kill()
            program.wait(10)
        self.server.close()


def start_screen(size: tuple[int, int]) -> tuple[subprocess.Popen[Any], str] | None:
    """Start a screen in memory; the process and its address, or None where there is no Xvfb."""
    if not shutil.which("Xvfb"):
        return None
    reading, writing = os.pipe()
    process = subprocess.Popen(
        ["Xvfb", "-displayfd", str(writing), "-screen", "0", f"{size[0]}x{size[1]}x24", "-nolisten", "tcp"],
        pass_fds=[writing],
        stderr=subprocess.DEVNULL,
    )
    os.close(writing)
    with os.fdopen(reading) as answer:
        return process, ":" + answer.readline().strip()


@contextmanager
def private_screen(size: tuple[int, int] | None) -> Iterator[None]:
    """Have this process and those that it starts use a screen in memory; None leaves all as it is."""
    screen = start_screen(size) if size is not None else None
    if screen is None:
        yield
        return
    os.environ |= {"DISPLAY": screen[1], "QT_QPA_PLATFORM": "xcb"}
    try:
        yield
    finally:
        screen[0].kill()
        screen[0].wait(10)


def play() -> None:
    """Write numbered frames to stdout for as long as somebody takes them."""
    first = 0
    while True:
        try:
            sys.stdout.buffer.write(numbered(first, 4800).tobytes())
        except BrokenPipeError:
            os._exit(0)
        first += 4800


if __name__ == "__main__":
    play()
