"""Reports as the engine gives them, and a log in a folder of its own."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np
import pytest

from app.coach.judgement import CoachReport, Judgement, Reason, Verdict
from app.engine.events import Event, EventKind
from app.engine.snapshot import HopReport
from app.inputs.source import SourceInfo
from app.log.records import ChannelFigures, TakeEvent, TakeState, TakeUpdate
from app.log.writer import LogWriter
from dsp.reading import Clip, ClipKind, Reading

RATE_HZ = 48_000
HOP = 480


class Reports:
    """An input whose levels the test chooses: each call gives the report of the next hops."""

    def __init__(self, channels: int = 2, spec: str = "player", rate_hz: int = RATE_HZ) -> None:
        self.info = SourceInfo(spec, "Player", rate_hz, channels, live=True)
        self.hop_frames = rate_hz // 100
        self.position = 0
        self.lost_frames = 0

    def __call__(
        self,
        hops: int = 1,
        *,
        average_dbfs: float | Sequence[float] = -18.0,
        peak_dbfs: float | Sequence[float] = -9.0,
        noise_floor_dbfs: float = math.nan,
        clips: Sequence[Clip] = (),
        events: Sequence[Event] = (),
    ) -> HopReport:
        channels = self.info.channels
        shape = (hops, channels)
        floor = np.full(channels, noise_floor_dbfs)
        reading = Reading(
            rate_hz=self.info.rate_hz,
            start_frame=self.position,
            frames=hops * self.hop_frames,
            hop_frames=self.hop_frames,
            average_dbfs=np.broadcast_to(np.asarray(average_dbfs, float), shape),
            peak_dbfs=np.broadcast_to(np.asarray(peak_dbfs, float), shape),
            momentary_lufs=np.full(hops, -20.0),
            short_term_lufs=np.full(hops, -20.0),
            peak_hold_dbfs=np.full(channels, -9.0),
            true_peak_dbtp=np.full(channels, -9.0),
            noise_floor_dbfs=floor,
            noise_floor_dba=floor,
            clips=tuple(clips),
        )
        self.position += reading.frames
        coach = CoachReport((Judgement(Verdict.SLACK, 0, Reason.NOTHING_HEARD),) * channels, 0)
        return HopReport(self.info, reading, coach, tuple(events), self.lost_frames)

    def with_clips(self, *places: tuple[int, int, int], hops: int = 1) -> HopReport:
        """The next hops, in which clips (start frame, frames, channel from 0) became known."""
        clips = [Clip(ClipKind.FULL_SCALE, channel, start, frames, 0.0) for start, frames, channel in places]
        events = [
            Event(EventKind.CLIP, start, start / self.info.rate_hz, channel + 1, frames, 0.0)
            for start, frames, channel in places
        ]
        clipped = {channel for _, _, channel in places}
        peaks = [0.0 if channel in clipped else -9.0 for channel in range(self.info.channels)]
        return self(hops, peak_dbfs=peaks, clips=clips, events=events)

    def gap(self, frames: int) -> HopReport:
        """What the engine says when frames were lost; the next hop lies behind the gap."""
        self.lost_frames += frames
        report = self(0, events=[self.event(EventKind.GAP, frames=frames)])
        self.position += frames
        return report

    def event(self, kind: EventKind, *, frames: int | None = None, detail: str = "") -> Event:
        """Something that happens at the present place."""
        return Event(kind, self.position, self.position / self.info.rate_hz, None, frames, None, detail)


@pytest.fixture
def make_reports() -> Callable[..., Reports]:
    return Reports


@pytest.fixture
def reports() -> Reports:
    return Reports()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "takes.sqlite"


@pytest.fixture
def writer(path: Path) -> Iterator[LogWriter]:
    log = LogWriter(path)
    yield log
    assert log.close()


@pytest.fixture
def make_update() -> Callable[..., TakeUpdate]:
    def make(
        uid: str = "one", events: int | tuple[TakeEvent, ...] = 0, first: int = 0, **changes: object
    ) -> TakeUpdate:
        if isinstance(events, int):
            events = tuple(TakeEvent("clip", 100 * (first + i), 1, 7, 0.0) for i in range(events))
        values: dict[str, object] = {
            "uid": uid,
            "name": "Second verse",
            "part": "bass",
            "started_us": 1_700_000_000_000_000,
            "utc_offset_s": 3600,
            "input_spec": "player",
            "input_name": "Player",
            "rate_hz": RATE_HZ,
            "state": TakeState.OPEN,
            "frames": RATE_HZ,
            "lost_frames": 0,
            "verdict": Verdict.FAIR_WATER,
            "per_channel": (ChannelFigures(-7.25, -15.5, -68.0, len(events)), ChannelFigures(-math.inf)),
            "events": events,
        }
        return TakeUpdate(**(values | changes))  # type: ignore[arg-type]

    return make
