"""The figures of one take, hop by hop. No thread, no clock, no file."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from app.coach.judgement import Verdict
from app.coach.makers import CoachMaker
from app.engine.events import Event, EventKind
from app.engine.snapshot import HopReport
from app.inputs.source import SourceInfo
from app.log.bars import Metre
from app.log.ceiling import CeilingWatch
from app.log.records import ChannelFigures, TakeEvent, TakeState, TakeUpdate
from app.log.trace import TraceBuilder
from dsp.reading import Clip, ClipKind, Reading

_HOPS_PER_JUDGEMENT = 100
"""The take's coach hears a second at once: every hop by itself would cost the analysis thread too much."""

_CLIPS = {EventKind.CLIP, EventKind.POSSIBLE_CLIP}


class Recording:
    """What a take was like so far.

    Parameters
    ----------
    first
        The report with the take's first hops; hand it to :meth:`add` too.
    make_coach
        For a coach that remembers everything: it hears this take and nothing else, which the live coach,
        with what was played before still in its memory, does not.
    uid, name, part, started_us, utc_offset_s, metre
        See :class:`app.log.records.TakeUpdate`.
    """

    def __init__(
        self,
        first: HopReport,
        make_coach: CoachMaker,
        *,
        uid: str,
        name: str,
        part: str,
        started_us: int,
        utc_offset_s: int,
        metre: Metre | None,
    ) -> None:
        self.state = TakeState.OPEN
        self.uid = uid
        self._name = name
        self._part = part
        self._started_us = started_us
        self._utc_offset_s = utc_offset_s
        self._metre = metre
        self._info = first.info
        self.start_frame = first.reading.start_frame
        """Where the take begins, in the stream."""
        self.end_frame = self.start_frame
        """Where the next hop begins, in the stream."""
        # What was lost before the first hop was lost before the take.
        self._lost_before = first.lost_frames
        self._lost_frames = 0
        channels = first.reading.channels
        self._peak = [-math.inf] * channels
        self._average_max = [-math.inf] * channels
        self._noise_floor: list[float | None] = [None] * channels
        self._clips = [0] * channels
        self._coach = make_coach(channels, first.info.rate_hz, first.reading.hop_frames)
        ceilings = [target.ceiling_dbfs for target in self._coach.targets]
        self._ceiling = CeilingWatch(channels, first.info.rate_hz, first.reading.hop_frames, ceilings)
        self._unjudged: list[Reading] = []
        self._unjudged_clips: list[Clip] = []
        self._unjudged_hops = 0
        self._verdict: Verdict | None = None
        self._trace = TraceBuilder(first.reading.hop_frames / first.info.rate_hz)
        self._events: list[TakeEvent] = []
        self._input_is_lost = False

    def continues(self, report: HopReport) -> bool:
        """Whether a report goes on where this take is: the same input, and not begun anew."""
        return _same_input(report.info, self._info) and report.reading.start_frame >= self.end_frame

    def add(self, report: HopReport) -> bool:
        """Take in the next hops; returns whether anything happened that should be written soon."""
        reading = report.reading
        first = self._duration_frames == 0
        gap_frames = reading.start_frame - self.end_frame
        if gap_frames > 0:
            self._trace.add(-math.inf, -math.inf, round(gap_frames / reading.hop_frames))
        self.end_frame = reading.start_frame + reading.frames
        self._lost_frames = report.lost_frames - self._lost_before
        events_before = len(self._events)
        for clip in reading.clips:
            if clip.kind == ClipKind.FULL_SCALE:
                self._ceiling.note_clip(clip.channel, clip.start_frame + clip.frames - self.start_frame)
        self._add_levels(reading)
        clips = self._add_clips(reading.clips)
        if reading.hops:
            self._unjudged.append(reading)
            self._unjudged_clips += clips
            self._unjudged_hops += reading.hops
            if self._unjudged_hops >= _HOPS_PER_JUDGEMENT:
                self._judge()
        self._add_events(report.events)
        return len(self._events) > events_before or first

    def end(self, state: TakeState) -> None:
        """Conclude what was still going on."""
        self.state = state
        self._events += self._ceiling.finish()
        self._judge()

    def _judge(self) -> None:
        """Have the coach hear what it has not heard yet."""
        if not self._unjudged:
            return
        last = self._unjudged[-1]
        heard = replace(
            last,
            start_frame=self._unjudged[0].start_frame,
            frames=last.start_frame + last.frames - self._unjudged[0].start_frame,
            average_dbfs=np.concatenate([reading.average_dbfs for reading in self._unjudged]),
            peak_dbfs=np.concatenate([reading.peak_dbfs for reading in self._unjudged]),
            clips=tuple(self._unjudged_clips),
        )
        self._unjudged = []
        self._unjudged_clips = []
        self._unjudged_hops = 0
        self._verdict = self._coach.process(heard).worst.verdict

    def add_late(self, report: HopReport) -> bool:
        """Take in clips that began in this take but were reported after its end."""
        self._add_clips(report.reading.clips)
        return self._add_events([event for event in report.events if event.kind in _CLIPS])

    def note_input_lost(self) -> None:
        """Write down that the input went away, or became another one, at this point."""
        if not self._input_is_lost:
            self._events.append(TakeEvent(EventKind.INPUT_LOST, self._duration_frames))
            self._input_is_lost = True

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
            # A clip found late, or a moment ago, need not wait for the coach.
            verdict=Verdict.AWASH if any(self._clips) else self._verdict,
            per_channel=tuple(
                ChannelFigures(*figures)
                for figures in zip(self._peak, self._average_max, self._noise_floor, self._clips, strict=True)
            ),
            events=tuple(self._events),
            under_way=tuple(self._ceiling.under_way()),
            trace=self._trace.view() if with_trace else None,
            final=final,
            metre=self._metre,
        )

    def take_update(self, *, with_trace: bool = False, final: bool = False) -> TakeUpdate:
        """The same, and the events count as taken."""
        update = self.update(with_trace=with_trace, final=final)
        self._events = []
        return update

    @property
    def _duration_frames(self) -> int:
        return self.end_frame - self.start_frame

    def _add_levels(self, reading: Reading) -> None:
        # Plain floats: for a handful of channels that is faster than numpy, hop by hop.
        averages = reading.average_dbfs.tolist()
        peaks = reading.peak_dbfs.tolist()
        frame = reading.start_frame - self.start_frame
        for average, peak in zip(averages, peaks, strict=True):
            self._events += self._ceiling.add(frame, peak)
            frame += reading.hop_frames
            self._average_max = list(map(max, self._average_max, average))
            self._peak = list(map(max, self._peak, peak))
            self._trace.add(max(average), max(peak))
        for channel, floor in enumerate(reading.noise_floor_dbfs.tolist()):
            if not math.isnan(floor):
                self._noise_floor[channel] = floor

    def _add_clips(self, clips: Sequence[Clip]) -> Sequence[Clip]:
        """Count the clips of this take, and return them."""
        if not clips:
            return clips
        inside = tuple(clip for clip in clips if self._inside(clip.start_frame, clip.frames) is not None)
        for clip in inside:
            if clip.kind == ClipKind.FULL_SCALE:
                self._clips[clip.channel] += 1
        return inside

    def _add_events(self, events: Sequence[Event]) -> bool:
        before = len(self._events)
        for event in events:
            if event.kind in {EventKind.INPUT_LOST, EventKind.INPUT_BACK}:
                self._input_is_lost = event.kind == EventKind.INPUT_LOST
            # A clip may reach over either end of the take; whatever else happens, happens at one place.
            inside: tuple[int, int | None] | None = None
            if event.kind in _CLIPS:
                inside = self._inside(event.frame, event.frames or 1)
            elif event.frame >= self.start_frame:
                inside = (event.frame - self.start_frame, event.frames)
            if inside is not None:
                frame, frames = inside
                self._events.append(
                    TakeEvent(
                        event.kind,
                        frame,
                        event.channel,
                        frames,
                        event.peak_dbfs,
                        event.detail,
                        over_db=_over_full_scale_db(event),
                        change_db=event.change_db,
                    )
                )
        return len(self._events) > before

    def _inside(self, frame: int, frames: int) -> tuple[int, int] | None:
        """The part of a stretch that lies in this take, counted from its start; None when none does."""
        start = max(frame, self.start_frame)
        end = min(frame + frames, self.end_frame)
        return (start - self.start_frame, end - start) if end > start else None


def _over_full_scale_db(event: Event) -> float | None:
    """How far a clip went over full scale; a converter cuts off there, and only numbers with room tell."""
    over = event.kind in _CLIPS and event.peak_dbfs is not None and event.peak_dbfs > 0.0
    return event.peak_dbfs if over else None


def _same_input(one: SourceInfo, other: SourceInfo) -> bool:
    return one is other or (
        (one.spec, one.rate_hz, one.channels) == (other.spec, other.rate_hz, other.channels)
    )
