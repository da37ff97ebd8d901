"""Lets samples that already exist arrive as if they were being played now."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable


class Pace:
    """Tells how many frames may have arrived by now, and waits for more.

    Parameters
    ----------
    rate_hz
        Frames a second.
    paced
        False lets every frame through at once.
    clock
        Seconds that never run backwards; a test brings its own.
    """

    def __init__(self, rate_hz: int, *, paced: bool, clock: Callable[[], float] = time.monotonic) -> None:
        self._rate_hz = rate_hz
        self._paced = paced
        self._clock = clock
        self._began_s = clock()

    def restart(self) -> None:
        """Frame 0 arrives now."""
        self._began_s = self._clock()

    def wait(self, position: int, frames: int, timeout_s: float, wake: threading.Event) -> int:
        """Wait until ``frames`` more frames have arrived, the time is over, or ``wake`` is set.

        Parameters
        ----------
        position
            Frames taken so far.

        Returns
        -------
        int
            How many of them there are now, 0 to ``frames``.
        """
        if not self._paced:
            return frames
        deadline_s = self._clock() + timeout_s
        while True:
            now_s = self._clock()
            arrived = int((now_s - self._began_s) * self._rate_hz) - position
            if arrived >= frames or now_s >= deadline_s or wake.is_set():
                return max(0, min(frames, arrived))
            # A frame more than asked for, because int() above rounds down.
            complete_s = self._began_s + (position + frames + 1) / self._rate_hz
            wake.wait(min(complete_s, deadline_s) - now_s)
