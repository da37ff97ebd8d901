"""How often the window looks at the engine: as often as there is something new to be seen, and no oftener.

While it is not seen, that is now and then; else it is in step with the screen, every few of its pictures.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import QWidget

_SLOW_MS = 250
"""While the window is not seen."""
_USUAL_HZ = 60.0
_LEAST_HZ, _MOST_HZ = 20.0, 240.0
"""What a screen says beyond these is made up."""


class Pace:
    """A timer that follows the screen.

    Parameters
    ----------
    window
        Whose screen it is.
    look
        What is to be done so often.
    """

    def __init__(self, window: QWidget, look: Callable[[], None]) -> None:
        self._window = window
        self._timer = QTimer(window)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(look)
        self.tick_s = 1.0 / _USUAL_HZ
        """From one picture of the screen to the next."""
        self._seen = False
        self._need_s = 0.0

    @property
    def every_ms(self) -> int:
        """How often; 0 = not at all."""
        return self._timer.interval() if self._timer.isActive() else 0

    def go(self, *, seen: bool) -> None:
        """Go at the pace of what is seen, or not."""
        self._seen = seen
        screen = self._window.screen()
        rate_hz = screen.refreshRate() if screen is not None else _USUAL_HZ
        rate_hz = rate_hz if _LEAST_HZ <= rate_hz <= _MOST_HZ else _USUAL_HZ
        self.tick_s = 1.0 / rate_hz
        self._timer.start(self._interval_ms())

    def follow(self, need_s: float) -> None:
        """Look every so often from now on, while the window is seen: how long a picture is good for."""
        if need_s != self._need_s:
            self._need_s = need_s
            if self._timer.isActive():
                self._timer.start(self._interval_ms())

    def _interval_ms(self) -> int:
        if not self._seen:
            return _SLOW_MS
        ticks = max(1, math.ceil(self._need_s / self.tick_s - 0.5))
        return ticks * max(1, int(1000.0 * self.tick_s))

    def lasts_s(self, frame_s: float) -> float:
        """How long a picture that is good for ``frame_s`` stays, in whole ticks: see :meth:`is_due`."""
        interval_s = max(1, self._timer.interval()) / 1000.0
        return interval_s * max(1, math.ceil((frame_s - 0.5 * self.tick_s) / interval_s))

    def next_in_s(self, frame_s: float) -> float:
        """From now to the next such picture, asked while looking: the timer waits for nobody who is late."""
        interval_s = max(1, self._timer.interval()) / 1000.0
        to_look_s = max(0, self._timer.remainingTime()) / 1000.0
        return to_look_s + self.lasts_s(frame_s) - interval_s

    def is_due(self, age_s: float, frame_s: float) -> bool:
        """Whether a picture of this age is to be replaced.

        Half a tick of tolerance, so that the timer's jitter does not skip a frame.
        """
        return age_s > frame_s - 0.5 * self.tick_s

    def stop(self) -> None:
        """Look no more."""
        self._timer.stop()
