"""The figures of one take, hop by hop. No thread, no clock, no file."""

from __future__ import annotations

import math
from collections.abc import Iterable

from app.coach.judgement import Verdict
from app.engine.events import Event, EventKind
from app.engine.snapshot import HopReport
from app.inputs.source import SourceInfo
from app.log.records import ChannelFigures, TakeEvent, TakeState, TakeUpdate
from app.log.trace import TraceBuilder
from dsp.reading import Clip, ClipKind, Reading

_HIGH_FOR_S = 1.0
"""A take is called high water when the coach said so for this long."""


class Recording:
    """What a take was like so far.

    Parameters
    ----------
    first
        The report with the take's first hops; hand it to :meth:`add` too.
    uid, name, part, started_us, utc_offset_s
        See :class:`app.log.records.TakeUpdate`.
    """

    def __init__(
        self, first: HopReport, *, uid: str, name: str, part: str, started_us: int, utc_offset_s: int
    ) -> None:
        self.state = TakeState.OPEN
        self.uid = uid
        self._name = name
        self._part = part
        self._started_us = started_us
        self._utc_offset_s = utc_offset_s
        self._info = first.info
        self._start_frame = first.reading.start_frame
        self.end_frame = self._start_frame
        """Where the next hop begins, in the stream."""
        # What was lost before the first hop was lost before the take.
        self._lost_before = first.lost_frames
        self._lost_frames = 0
        channels = first.reading.channels
        self._peak = [-math.inf] * channels
        self._average_max = [-math.inf] * channels
        self._noise_floor: list[float | None] = [None] * channels
        self._clips = [0] * channels
        self._verdict_frames = dict.fromkeys(Verdict, 0)
        self._trace = TraceBuilder(first.reading.hop_frames / first.info.rate_hz)
        self._events: list[TakeEvent] = []

    def continues(self, report: HopReport) -> bool:
        """Whether a report goes on where this take is: the same input, and not begun anew."""
        return _same_input(report.info, self._info) and report.reading.start_frame >= self.end_frame

    def add(self, report: HopReport) -> bool:
        """Take in the next hops; returns whether anything happened that should be written soon."""
        reading = report.reading
        gap_frames = reading.start_frame - self.end_frame
        if gap_frames > 0:
            self._trace.add(-math.inf, -math.inf, round(gap_frames / reading.hop_frames))
        self.end_frame = reading.start_frame + reading.frames
        self._lost_frames = report.lost_frames - self._lost_before
        self._add_levels(reading)
        self._verdict_frames[report.coach.worst.verdict] += reading.frames
        first = self._duration_frames == reading.frames
        return self._add_happenings(reading.clips, report.events) or first

    def add_late(self, report: HopReport) -> bool:
        """Take in clips that began in this take but were reported after its end."""
        clips = (event for event in report.events if event.kind in _CLIPS)
        return self._add_happenings(report.reading.clips, clips)

    def note_input_lost(self) -> None:
        """Write down that the input went away, or became another one, at this point."""
        if not any(event.kind == EventKind.INPUT_LOST for event in self._events[-1:]):
            self._events.append(TakeEvent(EventKind.INPUT_LOST, self._duration_frames))

    def update(self, *, with_trace: bool = False, final: bool = False) -> TakeUpdate:
        """The take as it stands, with the events that nobody took yet."""
        return TakeUpdate(
            uid=self.uid,
            name=self._name,
            part=self._part,
            started_us=self._started_us,
            utc_offset_s=self._utc_offset_s,
            input_spec=self._info.spec,
            input_name=self._info.name,
            rate_hz=self._info.rate_hz,
            state=self.state,
            frames=self._duration_frames,
            lost_frames=self._lost_frames,
            verdict=self._verdict(),
            per_channel=tuple(
                ChannelFigures(*figures)
                for figures in zip(self._peak, self._average_max, self._noise_floor, self._clips, strict=True)
            ),
            events=tuple(self._events),
            trace=self._trace.view() if with_trace else None,
            final=final,
        )

    def take_update(self, *, with_trace: bool = False, final: bool = False) -> TakeUpdate:
        """The same, and the events count as taken."""
        update = self.update(with_trace=with_trace, final=final)
        self._events = []
        return update

    @property
    def _duration_frames(self) -> int:
        return self.end_frame - self._start_frame

    def _add_levels(self, reading: Reading) -> None:
        # Plain floats: for a handful of channels that is faster than numpy, hop by hop.
        averages = reading.average_dbfs.tolist()
        peaks = reading.peak_dbfs.tolist()
        for average, peak in zip(averages, peaks, strict=True):
            self._average_max = list(map(max, self._average_max, average))
            self._peak = list(map(max, self._peak, peak))
            self._trace.add(max(average), max(peak))
        for channel, floor in enumerate(reading.noise_floor_dbfs.tolist()):
            if not math.isnan(floor):
                self._noise_floor[channel] = floor

    def _add_happenings(self, clips: Iterable[Clip], events: Iterable[Event]) -> bool:
        news = False
        for clip in clips:
            if clip.kind == ClipKind.FULL_SCALE and self._inside(clip.start_frame, clip.frames) is not None:
                self._clips[clip.channel] += 1
        for event in events:
            inside = self._inside(event.frame, event.frames)
            if inside is not None:
                frame, frames = inside
                self._events.append(
                    TakeEvent(event.kind, frame, event.channel, frames, event.peak_dbfs, event.detail)
                )
                news = True
        return news

    def _inside(self, frame: int, frames: int | None) -> tuple[int, int | None] | None:
        """The part of a stretch that lies in this take, counted from its start; None when none does."""
        start = max(frame, self._start_frame)
        end = min(frame + (frames or 0), self.end_frame)
        if frames:
            return (start - self._start_frame, end - start) if end > start else None
        return (start - self._start_frame, frames) if start == frame <= self.end_frame else None

    def _verdict(self) -> Verdict | None:
        """What to call the whole take: the worst of what lasted.

        Clips are the take's own; the coach's "awash" may still speak of a clip before the take.
        """
        if any(self._clips):
            return Verdict.AWASH
        lasted = self._verdict_frames
        if lasted[Verdict.HIGH_WATER] >= _HIGH_FOR_S * self._info.rate_hz:
            return Verdict.HIGH_WATER
        playing = max(Verdict.LOW_WATER, Verdict.FAIR_WATER, key=lambda verdict: lasted[verdict])
        if lasted[playing]:
            return playing
        return Verdict.SLACK if lasted[Verdict.SLACK] else None


_CLIPS = {EventKind.CLIP, EventKind.POSSIBLE_CLIP}


def _same_input(one: SourceInfo, other: SourceInfo) -> bool:
    return one is other or (
        (one.spec, one.rate_hz, one.channels) == (other.spec, other.rate_hz, other.channels)
    )
