"""How often the window looks at the engine: at the screen's rate, or now and then while it is not seen."""

from __future__ import annotations

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

    @property
    def every_ms(self) -> int:
        """How often; 0 = not at all."""
        return self._timer.interval() if self._timer.isActive() else 0

    def go(self, *, seen: bool) -> None:
        """Go at the pace of what is seen, or not."""
        screen = self._window.screen()
        rate_hz = screen.refreshRate() if screen is not None else _USUAL_HZ
        rate_hz = rate_hz if _LEAST_HZ <= rate_hz <= _MOST_HZ else _USUAL_HZ
        self.tick_s = 1.0 / rate_hz
        self._timer.start(max(1, int(1000.0 / rate_hz)) if seen else _SLOW_MS)

    def stop(self) -> None:
        """Look no more."""
        self._timer.stop()
