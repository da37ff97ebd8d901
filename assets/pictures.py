"""Take the pictures of the README, and of every screen for whoever wants to look at them one by one.

    python assets/pictures.py               the README's pictures, into assets/pictures
    python assets/pictures.py --all FOLDER  every screen in each theme and several sizes, into FOLDER

Opens the real program on the built-in player, with settings and a log of its own, works its keys and takes
what the window then shows; without a screen, on an unseen one. Needs the environment that the program runs
from; the moving picture needs Pillow, which the ``bundle`` extra brings.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

PICTURES = Path(__file__).resolve().parent / "pictures"
SIZES = ((1024, 600), (1280, 800), (2560, 1440))
THEMES = ("dark", "light", "contrast")
GAIN_MOST_DB = 30.0
"""The right end of the player's knob."""
_POLL_MS = 50
_PATIENCE_S = 120.0

Step = float | Callable[[], bool]
"""Seconds to wait, or what to wait for."""


def main(arguments: list[str]) -> int:
    """Open the window, play the scenes, close it."""
    with tempfile.TemporaryDirectory() as home:
        live_apart(Path(home))
        from PySide6.QtCore import QTimer
        from PySide6.QtWidgets import QApplication

        from app.cli.window import open_window

        application = QApplication(["swellmark"])
        folder = Path(arguments[1]).resolve() if arguments[:1] == ["--all"] else None
        scenes = readme if folder is None else partial(every_screen, folder)
        stage = Stage(scenes)
        QTimer.singleShot(0, stage.begin)
        status = open_window("player:bass:-16")
        del application
    return stage.failed or status


def live_apart(home: Path) -> None:
    """Settings, log and language of nobody, so that the pictures do not depend on who takes them."""
    for name in ("CONFIG", "DATA", "STATE", "CACHE"):
        os.environ[f"XDG_{name}_HOME"] = str(home / name.lower())
    os.environ["LANGUAGE"] = "en"
    if sys.platform.startswith("linux") and not os.environ.get("DISPLAY"):
        os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")


class Stage:
    """Runs scenes beside the window's own event loop."""

    def __init__(self, scenes: Callable[[Stage], Iterator[Step]]) -> None:
        self._scenes = scenes
        self.failed = 0

    def begin(self) -> None:
        """Find the window and begin."""
        from PySide6.QtCore import QElapsedTimer, QTimer
        from PySide6.QtWidgets import QApplication

        from app.window.main import MainWindow

        self.window = next(w for w in QApplication.topLevelWidgets() if isinstance(w, MainWindow))
        self._steps = self._scenes(self)
        self._clock = QElapsedTimer()
        self._clock.start()
        self._wanted: Step = 0.0
        self._timer = QTimer()
        self._timer.timeout.connect(self._go_on)
        self._timer.start(_POLL_MS)

    def _go_on(self) -> None:
        waited_s = self._clock.elapsed() / 1000
        if callable(self._wanted):
            if not self._wanted():
                if waited_s > _PATIENCE_S:
                    self._end("waited too long for what a scene expects")
                return
        elif waited_s < self._wanted:
            return
        try:
            self._wanted = next(self._steps)
        except StopIteration:
            self._end("")
        except Exception as error:
            self._end(f"{type(error).__name__}: {error}")
        self._clock.restart()

    def _end(self, complaint: str) -> None:
        if complaint:
            print(complaint, file=sys.stderr)
            self.failed = 1
        self._timer.stop()
        self.window.close()

    def look(self, theme: str) -> None:
        """Have the window in this theme."""
        while self.window.theme.name != theme:
            self.window.keys.run("look")

    def show(self, place: str) -> None:
        """Have this page, or this part of the board, in view: the name of its action; empty for the board."""
        for _ in range(3):
            self.window.keys.run("back")
        if place:
            self.window.keys.run(place)

    def turn_gain(self, gain_db: float) -> None:
        """Turn the player's knob, as a hand on its slider would."""
        slider = self.window.picker.gain
        slider.setValue(round(gain_db * slider.maximum() / GAIN_MOST_DB))

    def take(self, file: Path) -> None:
        """Take the picture."""
        file.parent.mkdir(parents=True, exist_ok=True)
        self.window.grab().save(str(file))


def readme(stage: Stage) -> Iterator[Step]:
    """The pictures of the README."""
    window = stage.window
    window.resize(1280, 800)
    stage.turn_gain(0.0)
    yield from log_two_takes(stage)
    for theme in ("dark", "light"):
        stage.look(theme)
        yield 3.0
        stage.take(PICTURES / f"window-{theme}.png")
    stage.look("dark")
    stage.show("log")
    yield 1.5
    stage.take(PICTURES / "takes.png")
    stage.show("afar")
    yield 1.5
    stage.take(PICTURES / "afar.png")
    stage.show("")
    yield from guide(stage, PICTURES / "guide.webp")


def log_two_takes(stage: Stage) -> Iterator[Step]:
    """A take that is well, and one that clips in its middle."""
    window = stage.window
    for name, gains_db in (("First verse", (0.0, 0.0)), ("Second verse", (14.0, 0.0))):
        window.takes.name_field.setText(name)
        window.takes.name_field.setCursorPosition(0)
        window.keys.run("take")
        for gain_db in gains_db:
            yield 6.0
            stage.turn_gain(gain_db)
        yield 8.0
        window.keys.run("take")
        yield 1.0
    window.keys.run("afresh")
    yield 28.0


def guide(stage: Stage, file: Path) -> Iterator[Step]:
    """A gain session, from a gain that is far too low, as a moving picture of about twenty seconds."""
    import io

    from PIL import Image
    from PySide6.QtCore import QBuffer

    window = stage.window
    window.resize(1024, 640)
    stage.turn_gain(-20.0)
    yield 1.0
    window.keys.run("afresh")
    window.keys.run("guide")
    frames: list[Image.Image] = []

    def shoot() -> None:
        buffer = QBuffer()
        buffer.open(QBuffer.OpenModeFlag.WriteOnly)
        window.grab().scaledToWidth(820).save(buffer, "PNG")
        frames.append(Image.open(io.BytesIO(buffer.data().data())).convert("RGB"))

    engine = window._services.engine
    gain_db = -20.0
    for _ in range(240):
        shoot()
        state = engine.snapshot.session
        step = "" if state is None else str(state.step)
        if step == "quiet" and len(frames) > 6:  # the player does not stop for us
            window.keys.run("skip")
        if step == "turn" and abs(state.remaining_db) >= 1.0:
            gain_db += 1.0 if state.remaining_db > 0 else -1.0
            stage.turn_gain(gain_db)
        if step == "done":
            break
        yield 0.5
    for _ in range(6):
        yield 0.5
        shoot()
    frames[0].save(file, save_all=True, append_images=frames[1:], duration=250, loop=0, quality=70, method=4)


def every_screen(folder: Path, stage: Stage) -> Iterator[Step]:
    """Every page and every part of the board, in each theme, at each size, and once with texts of 200 %."""
    window = stage.window
    stage.turn_gain(0.0)
    yield from log_two_takes(stage)
    places = ["", "guide", "why", "proof", "afar", *(spec.name for spec in window.pages.specs)]
    for theme in THEMES:
        stage.look(theme)
        for width, height in SIZES:
            window.resize(width, height)
            for place in places:
                stage.show(place)
                yield 0.7
                stage.take(folder / f"{theme}-{width}x{height}-{place or 'board'}.png")
    stage.look("dark")
    for _ in range(12):
        window.keys.run("larger")
    window.resize(1280, 800)
    for place in places:
        stage.show(place)
        yield 0.7
        stage.take(folder / f"dark-200-percent-{place or 'board'}.png")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
