"""One input being listened to: its chain, its coach, its history and its counts.

Everything here runs on the analysis thread.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeAlias

from app.coach.forecast import SteadyForecast
from app.coach.judgement import CoachReport
from app.coach.makers import CoachMaker
from app.coach.session import GuidedSession, SessionState
from app.coach.verdict import TAKE_S
from app.engine.events import Event, EventKind
from app.engine.history import History
from app.engine.snapshot import HopReport, InputState, Snapshot
from app.errors import SwellmarkError
from app.inputs.source import Block, Source
from app.words.harbour import channel_name
from dsp.chain import Chain
from dsp.reading import ClipKind, Reading

SessionMaker: TypeAlias = Callable[[float], GuidedSession]
"""Makes a guided session for a hop length in seconds."""

_FORECAST_EVERY_S = 2.0
STALL_S = 0.5
"""A live input that is silent for this long has stalled; hosts deliver every few milliseconds."""
_HOLD_UNTIL_RESET = None
_MOST_MARKS = 200
"""Hops that one clip may mark on the chart."""
_CLIP_EVENTS = {ClipKind.FULL_SCALE: EventKind.CLIP, ClipKind.FLAT_TOP: EventKind.POSSIBLE_CLIP}


class Listening:
    """What is known about the input that is open now.

    Parameters
    ----------
    source
        Started already.
    make_coach
        Makes the coach for (channels, rate_hz, hop_frames).
    """

    def __init__(self, source: Source, make_coach: CoachMaker) -> None:
        info = source.info
        self.source = source
        self.problem: SwellmarkError | None = None
        self._info = info
        self._chain = Chain(info.rate_hz, info.channels, hold_s=_HOLD_UNTIL_RESET)
        self._coach = make_coach(info.channels, info.rate_hz, self.hop_frames)
        self.history = History(info.channels, self.hop_frames / info.rate_hz)
        self._snapshot = Snapshot(
            state=InputState.RUNNING, info=info, clips=(0,) * info.channels, published_s=time.monotonic()
        )
        self._report: CoachReport | None = None
        self._forecast = SteadyForecast()
        self._forecast_channel = 0
        self._next_forecast_s = 0.0
        self._taking = False
        self._session: GuidedSession | None = None
        self._session_state: SessionState | None = None
        self._session_channel = 0
        self._clips = [0] * info.channels
        self._next_hop = 0
        self._lost_frames = 0
        self._heard_s = time.monotonic()
        self._state = InputState.RUNNING

    @property
    def hop_frames(self) -> int:
        """Frames in a hop of this input."""
        return self._chain.hop_frames

    def take(self, block: Block) -> list[HopReport]:
        """Measure what came, and tell everything that happened in between, in order."""
        reports = []
        if block.lost_frames:
            reports.append(self._take_gap(block.lost_frames))
        if block.samples.shape[0]:
            reading = self._chain.process(block.samples)
            if reading is not None:
                reports.append(self._conclude(reading))
        event = self._watch_delivery(block)
        if event is not None:
            reports.append(self._conclude(self._chain.gap(0), event))
        return reports

    def finish(self) -> HopReport:
        """End of the input: measure the rest."""
        return self._conclude(self._chain.finish())

    def reset(self) -> None:
        """Let go of the held peaks, the clip counts, the noise floor and the coach's evidence."""
        self._chain.reset_hold()
        self._chain.forget_noise()
        self._coach.reset()
        self._forecast.forget()
        self._clips = [0] * self._info.channels

    def set_taking(self, taking: bool) -> None:
        """Tell the coach whether a take runs."""
        self._taking = taking
        self._coach.set_taking(taking)

    def begin_session(self, make_session: SessionMaker, channel: int) -> None:
        """Guide one channel (column index, from 0) to its gain; a session that runs is left."""
        self._session = make_session(self.hop_frames / self._info.rate_hz)
        self._session_channel = min(channel, self._info.channels - 1)

    def skip_step(self) -> None:
        """Go on with the next step of the session."""
        if self._session is not None:
            self._session_state = self._session.skip()

    def end_session(self) -> None:
        """Leave the session."""
        self._session = self._session_state = None

    def name_channels(self, names: Sequence[str]) -> None:
        """Call channels by these names, in order; an empty one leaves a channel the name it came with."""
        given = self.source.info.channel_names
        own = [*names, *[""] * self._info.channels][: self._info.channels]
        if any(own):
            known = [*given, *map(channel_name, range(len(given) + 1, self._info.channels + 1))]
            given = tuple(name or known[channel] for channel, name in enumerate(own))
        self._info = replace(self._info, channel_names=given)
        self._snapshot = replace(self._snapshot, info=self._info)

    def set_coach(self, make_coach: CoachMaker) -> None:
        """Judge afresh, by another part or target."""
        self._coach = make_coach(self._info.channels, self._info.rate_hz, self.hop_frames)
        self._coach.set_taking(self._taking)
        self._forecast.forget()

    def snapshot(self, state: InputState | None = None) -> Snapshot:
        """The newest state, with ``state`` in place of the one that the delivery shows."""
        return replace(
            self._snapshot,
            state=state or self._state,
            published_s=time.monotonic(),
            problem=self.problem,
        )

    def _take_gap(self, lost_frames: int) -> HopReport:
        reading = self._chain.gap(lost_frames)
        self._lost_frames += lost_frames
        gap = self._event(EventKind.GAP, reading.start_frame + reading.frames, frames=lost_frames)
        report = self._conclude(reading, gap)
        hops = round(lost_frames / self.hop_frames)
        self.history.append_gap(hops)
        self._next_hop += hops
        return report

    def _watch_delivery(self, block: Block) -> Event | None:
        """Notice by the clock that a live input went quiet or came back: no driver can be relied on."""
        now_s = time.monotonic()
        if block.samples.shape[0]:
            self._heard_s = now_s
        if not block.active:
            state = InputState.LOST
        elif self._info.live and now_s - self._heard_s > STALL_S:
            state = InputState.STALLED
        elif block.samples.shape[0]:
            state = InputState.RUNNING
        else:
            return None
        before, self._state = self._state, state
        if (state is InputState.RUNNING) == (before is InputState.RUNNING):
            return None
        # What is open now may be another device behind the same name.
        self._info = replace(self._info, doubt=self.source.info.doubt)
        kind = EventKind.INPUT_BACK if state is InputState.RUNNING else EventKind.INPUT_LOST
        return self._event(kind, self._chain.position_frames)

    def _conclude(self, reading: Reading, *more: Event) -> HopReport:
        """Let the coach judge, gather the events, remember for the chart, renew the snapshot."""
        events = [*self._clip_events(reading), *more]
        if reading.bad_samples:
            events.append(self._event(EventKind.BAD_SAMPLES, reading.start_frame, frames=reading.bad_samples))
        before = self._report
        if reading.hops or reading.clips or before is None:
            self._report = self._coach.process(reading)
        report = self._report
        assert report is not None  # noqa: S101 - for the type checker: set above when it was None
        if before is not None and report.worst.verdict is not before.worst.verdict:
            events.append(
                self._event(
                    EventKind.VERDICT,
                    reading.start_frame + reading.frames,
                    channel=report.worst_channel + 1,
                    detail=report.worst.verdict.value,
                )
            )
        events += self._gain_events(reading, report)
        self._guide(reading)
        self._look_ahead(report)
        self._remember(reading)
        self._renew_snapshot(reading, report)
        return HopReport(self._info, reading, report, tuple(events), self._lost_frames)

    def _guide(self, reading: Reading) -> None:
        if self._session is None or not reading.hops:
            return
        channel = self._session_channel
        hum = reading.hum[channel] if reading.hum else None
        self._session_state = self._session.process(
            reading.average_dbfs[:, channel],
            reading.peak_dbfs[:, channel],
            float(reading.noise_floor_dbfs[channel]),
            [clip for clip in reading.clips if clip.channel == channel],
            math.nan if hum is None else hum.level_dbfs,
        )

    def _look_ahead(self, report: CoachReport) -> None:
        """Forecast a take now and then: it costs milliseconds, and changes slowly."""
        t_s = self._chain.position_frames / self._info.rate_hz
        if not self._info.live or t_s < self._next_forecast_s:
            return
        self._next_forecast_s = t_s + _FORECAST_EVERY_S
        if report.worst_channel != self._forecast_channel:
            self._forecast.forget()
            self._forecast_channel = report.worst_channel
        coming = None if self._taking else self._coach.forecasts(TAKE_S)[report.worst_channel]
        self._forecast.consider(coming)

    def _clip_events(self, reading: Reading) -> list[Event]:
        events = []
        for clip in reading.clips:
            if clip.kind is ClipKind.FULL_SCALE:
                self._clips[clip.channel] += 1
            events.append(
                self._event(
                    _CLIP_EVENTS[clip.kind],
                    clip.start_frame,
                    channel=clip.channel + 1,
                    frames=clip.frames,
                    peak_dbfs=clip.peak_dbfs,
                )
            )
        return events

    def _gain_events(self, reading: Reading, report: CoachReport) -> list[Event]:
        # A report that was only carried on, because nothing came, tells nothing new.
        if not reading.hops:
            return []
        end_frame = reading.start_frame + reading.frames
        return [
            self._event(
                EventKind.GAIN_MOVED, end_frame, channel=channel + 1, change_db=judgement.gain_moved_db
            )
            for channel, judgement in enumerate(report.channels)
            if judgement.gain_moved_db is not None
        ]

    def _remember(self, reading: Reading) -> None:
        first_hop = self._next_hop
        self.history.append(reading.average_dbfs, reading.peak_dbfs)
        self._next_hop += reading.hops
        for clip in reading.clips:
            first = first_hop + (clip.start_frame - reading.start_frame) // self.hop_frames
            last = first + clip.frames // self.hop_frames
            for hop in range(first, min(last, first + _MOST_MARKS) + 1):
                self.history.mark_clip(hop, clip.channel)

    def _renew_snapshot(self, reading: Reading, report: CoachReport) -> None:
        self._snapshot = Snapshot(
            state=self._state,
            info=self._info,
            t_s=self._chain.position_frames / self._info.rate_hz,
            average_dbfs=(
                tuple(reading.average_dbfs[-1].tolist()) if reading.hops else self._snapshot.average_dbfs
            ),
            peak_hold_dbfs=tuple(reading.peak_hold_dbfs.tolist()),
            true_peak_dbtp=tuple(reading.true_peak_dbtp.tolist()),
            noise_floor_dbfs=tuple(reading.noise_floor_dbfs.tolist()),
            noise_floor_dba=tuple(reading.noise_floor_dba.tolist()),
            momentary_lufs=(
                float(reading.momentary_lufs[-1]) if reading.hops else self._snapshot.momentary_lufs
            ),
            short_term_lufs=(
                float(reading.short_term_lufs[-1]) if reading.hops else self._snapshot.short_term_lufs
            ),
            clips=tuple(self._clips),
            hum=reading.hum,
            faults=reading.faults,
            coach=report,
            forecast=self._forecast.shown,
            session=self._session_state,
            session_channel=self._session_channel,
            lost_frames=self._lost_frames,
        )

    def _event(
        self,
        kind: EventKind,
        frame: int,
        *,
        channel: int | None = None,
        frames: int | None = None,
        peak_dbfs: float | None = None,
        detail: str = "",
        change_db: float | None = None,
    ) -> Event:
        return Event(kind, frame, frame / self._info.rate_hz, channel, frames, peak_dbfs, detail, change_db)
