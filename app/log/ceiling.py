"""Peaks over the ceiling that did not clip: how close a take came, and where."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.engine.events import EventKind
from app.log.records import TakeEvent

JOIN_S = 0.5
"""Peaks no further apart than this are one event: the notes of a loud bar."""

LONGEST_S = 5.0
"""What goes on for longer becomes several events, so that a program that is killed loses little."""


@dataclass(slots=True)
class _Run:
    first_frame: int
    last_frame: int
    peak_dbfs: float


class CeilingWatch:
    """Turns the peaks of hops into events, one channel each.

    Parameters
    ----------
    channels, rate_hz, hop_frames
        Of the hops to come.
    ceiling_dbfs
        A sample peak above it counts.
    """

    def __init__(self, channels: int, rate_hz: int, hop_frames: int, ceiling_dbfs: float) -> None:
        self._ceiling_dbfs = ceiling_dbfs
        self._hop_frames = hop_frames
        self._join_frames = JOIN_S * rate_hz
        self._longest_frames = LONGEST_S * rate_hz
        self._runs: list[_Run | None] = [None] * channels
        self._clipped_until = [-math.inf] * channels

    def note_clip(self, channel: int, end_frame: int) -> None:
        """A clip speaks for itself: no event is made of the peaks around it."""
        self._clipped_until[channel] = max(self._clipped_until[channel], end_frame)

    def add(self, frame: int, peaks_dbfs: Sequence[float]) -> list[TakeEvent]:
        """Take in a hop that begins at ``frame``; returns the events that are over now."""
        over: list[TakeEvent] = []
        for channel, peak_dbfs in enumerate(peaks_dbfs):
            run = self._runs[channel]
            if peak_dbfs > self._ceiling_dbfs:
                if run is None:
                    self._runs[channel] = _Run(frame, frame + self._hop_frames, peak_dbfs)
                else:
                    run.last_frame = frame + self._hop_frames
                    run.peak_dbfs = max(run.peak_dbfs, peak_dbfs)
                    if run.last_frame - run.first_frame >= self._longest_frames:
                        over += self._finish(channel, run)
            elif run is not None and frame - run.last_frame > self._join_frames:
                over += self._finish(channel, run)
        return over

    def finish(self) -> list[TakeEvent]:
        """End of the take: the events that were still going on."""
        return [
            event
            for channel, run in enumerate(self._runs)
            if run is not None
            for event in self._finish(channel, run)
        ]

    def _finish(self, channel: int, run: _Run) -> list[TakeEvent]:
        self._runs[channel] = None
        if self._clipped_until[channel] > run.first_frame:
            return []
        frames = run.last_frame - run.first_frame
        return [
            TakeEvent(EventKind.OVER_CEILING, run.first_frame, channel + 1, frames, round(run.peak_dbfs, 4))
        ]
