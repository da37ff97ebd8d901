"""Peaks over the ceiling that did not clip: how close a take came, and where.

Whoever plays too loud does so note after note: the notes of a passage are one event with a count.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.engine.events import EventKind
from app.log.records import TakeEvent

APART_S = 0.1
"""Peaks further apart than this are counted one by one."""

JOIN_S = 2.0
"""Peaks no further apart than this are one event: a passage."""

LONGEST_S = 30.0
"""A passage that goes on for longer becomes several events, so that the places still mean something."""


@dataclass(slots=True)
class _Stretch:
    first_frame: int
    end_frame: int
    peak_dbfs: float
    count: int = 1

    def take_in(self, other: _Stretch) -> None:
        self.end_frame = other.end_frame
        self.peak_dbfs = max(self.peak_dbfs, other.peak_dbfs)
        self.count += other.count


@dataclass(slots=True)
class _Channel:
    number: int
    ceiling_dbfs: float
    peak: _Stretch | None = None
    """Hops over the ceiling, one after the other."""
    passage: _Stretch | None = None
    """Peaks that are over, and belong together."""
    clipped_until: float = -math.inf

    @property
    def idle(self) -> bool:
        return self.peak is None and self.passage is None

    @property
    def counts(self) -> bool:
        """Whether the peak under way is one to note: a clip speaks for itself."""
        return self.peak is not None and self.clipped_until <= self.peak.first_frame


class CeilingWatch:
    """Turns the peaks of hops into events, one channel each.

    Parameters
    ----------
    channels, rate_hz, hop_frames
        Of the hops to come.
    ceiling_dbfs
        A sample peak above it counts; one for all channels, or one each.
    """

    def __init__(
        self, channels: int, rate_hz: int, hop_frames: int, ceiling_dbfs: float | Sequence[float]
    ) -> None:
        each = [ceiling_dbfs] * channels if isinstance(ceiling_dbfs, int | float) else ceiling_dbfs
        self._hop_frames = hop_frames
        self._apart_frames = APART_S * rate_hz
        self._join_frames = JOIN_S * rate_hz
        self._longest_frames = LONGEST_S * rate_hz
        self._channels = [_Channel(index + 1, ceiling) for index, ceiling in enumerate(each)]

    def note_clip(self, channel: int, end_frame: int) -> None:
        """A clip speaks for itself: the peak that it is part of is not noted."""
        state = self._channels[channel]
        state.clipped_until = max(state.clipped_until, end_frame)

    def add(self, frame: int, peaks_dbfs: Sequence[float]) -> list[TakeEvent]:
        """Take in a hop that begins at ``frame``; returns the events that are over now."""
        over: list[TakeEvent] = []
        for channel, peak_dbfs in zip(self._channels, peaks_dbfs, strict=True):
            if peak_dbfs > channel.ceiling_dbfs:
                self._extend(channel, frame, peak_dbfs, over)
            elif not channel.idle:
                self._rest(channel, frame, over)
        return over

    def under_way(self) -> list[TakeEvent]:
        """The events that may still grow, as they stand."""
        found = []
        for channel in self._channels:
            parts = [channel.passage, channel.peak if channel.counts else None]
            found += [self._event(channel, part) for part in parts if part is not None]
        return found

    def finish(self) -> list[TakeEvent]:
        """End of the take: the events that were still going on."""
        over: list[TakeEvent] = []
        for channel in self._channels:
            self._end_peak(channel, over)
            self._end_passage(channel, over)
        return over

    def _extend(self, channel: _Channel, frame: int, peak_dbfs: float, over: list[TakeEvent]) -> None:
        hop = _Stretch(frame, frame + self._hop_frames, peak_dbfs, 0)
        if channel.peak is not None and frame - channel.peak.end_frame > self._apart_frames:
            self._end_peak(channel, over)
        if channel.peak is None:
            hop.count = 1
            channel.peak = hop
        else:
            channel.peak.take_in(hop)
        if channel.peak.end_frame - channel.peak.first_frame >= self._longest_frames:
            self._end_peak(channel, over)
            self._end_passage(channel, over)

    def _rest(self, channel: _Channel, frame: int, over: list[TakeEvent]) -> None:
        if channel.peak is not None:
            if frame - channel.peak.end_frame > self._apart_frames:
                self._end_peak(channel, over)
        elif channel.passage is not None and frame - channel.passage.end_frame > self._join_frames:
            self._end_passage(channel, over)

    def _end_peak(self, channel: _Channel, over: list[TakeEvent]) -> None:
        counts, peak = channel.counts, channel.peak
        channel.peak = None
        if peak is None or not counts:
            return
        passage = channel.passage
        if (
            passage is not None
            and peak.first_frame - passage.end_frame <= self._join_frames
            and peak.end_frame - passage.first_frame <= self._longest_frames
        ):
            passage.take_in(peak)
            return
        self._end_passage(channel, over)
        channel.passage = peak

    def _end_passage(self, channel: _Channel, over: list[TakeEvent]) -> None:
        if channel.passage is not None:
            over.append(self._event(channel, channel.passage))
            channel.passage = None

    def _event(self, channel: _Channel, stretch: _Stretch) -> TakeEvent:
        return TakeEvent(
            EventKind.OVER_CEILING,
            stretch.first_frame,
            channel.number,
            stretch.end_frame - stretch.first_frame,
            round(stretch.peak_dbfs, 4),
            count=stretch.count,
            over_db=round(stretch.peak_dbfs - channel.ceiling_dbfs, 4),
        )
