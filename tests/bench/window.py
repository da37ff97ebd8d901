"""What the window costs and how late it shows: painting, latency to the eye, memory, first picture.

    python tests/bench/window.py [--seconds 20] [--pulses 60] [--starts 7]

On a private screen without a graphics processor (Xvfb), or on the one of ``DISPLAY`` with ``--here``. Sound
comes from a source that hands out its frames by the clock, as a ring that a driver fills does. Painting is
the time that the window's thread works for a picture. The latency is the time from
the moment at which a pulse's first sample enters the ring to the moment at which a pixel of it can be read
back from the screen. The first window is compared in turn with an empty one of Qt and numpy, and with an
empty plot of pyqtgraph 0.14 where somebody has installed that; the program does not need it. Timings hold
for the machine they were taken on, and for nothing else running on it; exit status 1 only when a pulse never
showed.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the program itself does; before numpy is loaded

import numpy as np
import numpy.typing as npt
from machine import describe, memory_mb, private_mb, yardstick
from stage import private_screen

from app.inputs.pacing import Pace
from app.inputs.source import Block, SourceInfo, SourceStats, empty_block
from app.inputs.spec import open_spec

RATE_HZ = 48_000
PLAYED, NOISE = "guitar and voice", "faint white noise"
"""What is heard. Noise is the dearest: nothing in it can be told from its neighbours."""
_LOOP_S = 20
SIZES = ((1280, 800), (2560, 1440))
_EMPTY_WINDOW = """
import os, numpy
from PySide6.QtWidgets import QApplication, QWidget
class Window(QWidget):
    def paintEvent(self, event):
        print("painted", flush=True)
        os._exit(0)
app = QApplication([])
window = Window()
window.resize(1280, 800)
window.show()
app.exec()
"""
_EMPTY_PLOT = """
import os, pyqtgraph as pg
class Plot(pg.PlotWidget):
    def paintEvent(self, event):
        super().paintEvent(event)
        print("painted", flush=True)
        os._exit(0)
app = pg.mkQApp()
plot = Plot()
plot.resize(1280, 800)
plot.plot([1, 2, 3])
plot.show()
app.exec()
"""
_OURS = """
import os
from app.window import main
class Window(main.MainWindow):
    def event(self, event):
        done = super().event(event)
        if event.type() is event.Type.UpdateRequest:
            print("painted", flush=True)
            os._exit(0)
        return done
import app.window.program as program
program.MainWindow = Window
from app.cli.main import main
main(["--input", "player"])
"""


def played() -> npt.NDArray[np.float32]:
    """(_LOOP_S * RATE_HZ, 2): the built-in guitar and voice, played beforehand."""
    channels = []
    for part in ("guitar", "voice"):
        source = open_spec(f"player:{part}:-4", paced=False)
        source.start()
        blocks: list[npt.NDArray[np.float32]] = []
        while sum(map(len, blocks)) < _LOOP_S * RATE_HZ:
            blocks.append(source.read(RATE_HZ, 1.0).samples[:, 0])
        source.close()
        channels.append(np.concatenate(blocks)[: _LOOP_S * RATE_HZ])
    return np.stack(channels, axis=1)


class PulseSource:
    """Two channels by the clock, made beforehand; where it is asked for, a pulse up to its block's end."""

    def __init__(self) -> None:
        self.info = SourceInfo("player", "pulses", RATE_HZ, 2, live=True)
        self._rng = np.random.default_rng(3)
        with ProcessPoolExecutor(1) as aside:  # so that memory is that of the window alone
            music = aside.submit(played).result()
        noise = self._rng.normal(0.0, 0.002, (RATE_HZ, 2)).astype(np.float32)
        self.sounds = {PLAYED: music, NOISE: noise}
        self.sound = PLAYED
        self._wake = threading.Event()
        self._position = 0
        self._asked = False
        self.pulse_s = 0.0
        """When the first sample of the last pulse entered the ring; 0 while one is still to come."""

    def start(self) -> None:
        self._pace = Pace(RATE_HZ, paced=True)
        self._began_s = time.monotonic()

    def read(self, max_frames: int, timeout_s: float) -> Block:
        frames = self._pace.wait(self._position, max_frames, timeout_s, self._wake)
        if not frames:
            return empty_block(2)
        sound = self.sounds[self.sound]
        samples = sound[np.arange(self._position, self._position + frames) % len(sound)]
        if self._asked:
            self._asked = False
            # Anywhere in this hop: a driver's blocks know nothing of hops.
            at = int(self._rng.integers(0, frames))
            samples[at:] += 0.5
            self.pulse_s = self._began_s + (self._position + at) / RATE_HZ
        self._position += frames
        return Block(samples)

    def pulse(self) -> None:
        """Have the next hop hold one."""
        self.pulse_s = 0.0
        self._asked = True

    def stats(self) -> SourceStats:
        return SourceStats(delivered_frames=self._position)

    def close(self) -> None:
        self._wake.set()


class Bench:
    """The window with its whole program, and a stopwatch on its pictures."""

    def __init__(self) -> None:
        from PySide6.QtWidgets import QApplication

        import app.cli.window as program
        from app.window import main as window_module
        from app.window import program as runner

        self.application = QApplication(["swellmark"])
        self.source = PulseSource()
        program.open_spec = lambda *_, **__: self.source  # type: ignore[assignment]
        self._program = program
        self.pictures_s: list[float] = []
        self._looked_s = 0.0
        self.on_picture = lambda: None
        bench = self

        class Timed(window_module.MainWindow):
            """Adds up what a look and the picture that follows it take."""

            def look_at_engine(self) -> None:
                began_s = time.thread_time()
                super().look_at_engine()
                bench._looked_s = time.thread_time() - began_s

            def event(self, event: Any) -> bool:
                began_s = time.thread_time()
                done = super().event(event)
                if event.type() is event.Type.UpdateRequest:
                    bench.pictures_s.append(bench._looked_s + time.thread_time() - began_s)
                    bench._looked_s = 0.0
                    bench.on_picture()
                return bool(done)

        runner.MainWindow = Timed  # type: ignore[misc]
        self._kind = Timed

    @property
    def window(self) -> Any:
        """The window, once it is there."""
        return next(top for top in self.application.topLevelWidgets() if isinstance(top, self._kind))

    def run(self, steps: Any) -> None:
        """Open the program and go through a generator that yields the milliseconds to wait."""
        from PySide6.QtCore import QTimer

        def step() -> None:
            wait_ms = next(steps, None)
            if wait_ms is None:
                self.window.close()
            else:
                QTimer.singleShot(wait_ms, step)

        QTimer.singleShot(3000, step)
        self._program.open_window("player")


def measure(chosen: argparse.Namespace) -> int:
    """Everything that needs one running window."""
    bench = Bench()
    found: dict[str, Any] = {"latency_ms": [], "missed": 0}

    def share() -> Iterator[int]:
        """Fill ``found["share"]`` with the part of a core that the whole program takes for a while."""
        cpu_s, began_s = time.process_time(), time.monotonic()
        yield int(chosen.seconds * 1000)
        found["seconds"] = time.monotonic() - began_s
        found["share"] = (time.process_time() - cpu_s) / found["seconds"]

    def steps() -> Iterator[int]:
        for size, sound in ((SIZES[0], PLAYED), (SIZES[0], NOISE), (SIZES[1], PLAYED)):
            bench.source.sound = sound
            bench.window.resize(*size)
            yield 2000
            bench.pictures_s.clear()
            yield from share()
            pictures_ms = sorted(1000 * each for each in bench.pictures_s)
            rate = len(pictures_ms) / found["seconds"]
            got = f"{bench.window.width()}x{bench.window.height()}, {sound}"
            middle, most = statistics.median(pictures_ms), percentile(pictures_ms, 0.99)
            print(
                f"{got}: painting {middle:.2f} ms median, {most:.2f} ms at 99 %, {rate:.0f} pictures/s; "
                f"whole program {found['share']:.1%} of a core",
                flush=True,
            )
        bench.window.resize(*SIZES[0])
        bench.source.sound = NOISE
        yield 1000
        yield from pulses(bench, chosen.pulses, found)
        bench.source.sound = PLAYED
        bench.window.showMinimized()
        yield 3000
        yield from share()
        own_mb = sum(sound.nbytes for sound in bench.source.sounds.values()) / 1e6
        print(
            f"minimised, {PLAYED}: whole program {found['share']:.1%} of a core; memory "
            f"{memory_mb() - own_mb:.0f} MB, of which {private_mb() - own_mb:.0f} MB are shared with nobody "
            f"(without the bench's sounds, {own_mb:.0f} MB)",
            flush=True,
        )

    bench.run(steps())
    latency_ms = sorted(found["latency_ms"])
    if latency_ms:
        print(
            f"latency to the eye: {statistics.median(latency_ms):.1f} ms median, "
            f"{percentile(latency_ms, 0.99):.1f} ms at 99 %, {latency_ms[-1]:.1f} ms at most, "
            f"of {len(latency_ms)} pulses; {found['missed']} never seen"
        )
    return int(found["missed"] > 0 or not latency_ms)


def pulses(bench: Bench, count: int, found: dict[str, Any]) -> Any:
    """Show pulses, and look for each on the screen after every picture."""
    window, chart = bench.window, bench.window.chart
    rng = np.random.default_rng(4)
    corner = chart.mapTo(window, chart.plot.topRight())
    bottom = chart.mapTo(window, chart.plot.bottomRight())
    # A strip up to the right edge, at the height that only a pulse reaches.
    height = int((bottom.y() - corner.y()) * 0.2)
    strip = (corner.x() - 5, corner.y() + int((bottom.y() - corner.y()) * 0.2), 6, height)
    screen, calm = window.screen(), [grab(window.screen(), window, strip)]
    seen: list[float] = []

    def look() -> None:
        if bench.source.pulse_s and not seen and differs(grab(screen, window, strip), calm[0]):
            seen.append(time.monotonic())

    bench.on_picture = look
    for _ in range(count):
        yield int(rng.integers(700, 1300))
        calm[0] = grab(screen, window, strip)
        seen.clear()
        bench.source.pulse()
        yield 400
        if seen:
            found["latency_ms"].append(1000 * (seen[0] - bench.source.pulse_s))
        else:
            found["missed"] += 1
    bench.on_picture = lambda: None


def grab(screen: Any, window: Any, strip: tuple[int, int, int, int]) -> npt.NDArray[np.uint8]:
    """Read a part of the window back from the screen."""
    image = screen.grabWindow(window.winId(), *strip).toImage().convertToFormat(_rgb())
    return np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), -1, 4)[:, :, :3].copy()


def _rgb() -> Any:
    from PySide6.QtGui import QImage

    return QImage.Format.Format_RGB32


def differs(one: npt.NDArray[np.uint8], other: npt.NDArray[np.uint8]) -> bool:
    """Whether a good part of a picture has another colour."""
    return bool(np.mean(np.abs(one.astype(int) - other).max(axis=2) > 40) > 0.05)


def first_windows(times: int, folder: Path) -> None:
    """Start our window and bare ones in turn; from the start of the process to the first picture.

    All find their modules compiled, as they are wherever a program was installed or has run once: an
    environment that forbids it (``PYTHONDONTWRITEBYTECODE``) would have ours alone compiled at every start.
    """
    programs = {"ours": _OURS, "an empty window": _EMPTY_WINDOW}
    if importlib.util.find_spec("pyqtgraph") is not None:
        programs["an empty plot of pyqtgraph"] = _EMPTY_PLOT
    took: dict[str, list[tuple[float, float]]] = {name: [] for name in programs}
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    environment["PYTHONPYCACHEPREFIX"] = str(folder / "compiled")
    for number in range(times + 1):
        for name, code in programs.items():
            before_s, began_s = children_s(), time.monotonic()
            program = subprocess.Popen(
                [sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, env=environment
            )
            assert program.stdout is not None
            while program.stdout.readline().strip() not in ("painted", ""):
                pass
            wall_s = time.monotonic() - began_s
            program.kill()
            program.communicate(timeout=20)
            if number:  # the first time fills the disk's cache and compiles
                took[name].append((wall_s, children_s() - before_s))
    for column, kind in enumerate(("by the clock", "in processor time")):
        middle_s = {name: statistics.median(each[column] for each in took[name]) for name in programs}
        others = ", ".join(
            f"{name} {middle_s[name]:.2f} s (ratio {middle_s['ours'] / middle_s[name]:.2f})"
            for name in programs
            if name != "ours"
        )
        print(f"first window {kind}: ours {middle_s['ours']:.2f} s, {others}", flush=True)


def children_s() -> float:
    """Processor time of all processes that were started and have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def percentile(ordered: list[float], share: float) -> float:
    """Of values in order."""
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def main() -> int:
    """Run, print, judge."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--seconds", type=float, default=20.0)
    arguments.add_argument("--pulses", type=int, default=60)
    arguments.add_argument("--starts", type=int, default=7)
    arguments.add_argument("--here", action="store_true", help="on the screen that there is")
    chosen = arguments.parse_args()
    print(describe())
    print(f"yardstick: the chain alone takes {yardstick():.1%} of a core now")
    with tempfile.TemporaryDirectory() as folder, private_screen(None if chosen.here else (2560, 1440)):
        for name in ("HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
            os.environ[name] = str(Path(folder))
        first_windows(chosen.starts, Path(folder))
        return measure(chosen)


if __name__ == "__main__":
    sys.exit(main())
