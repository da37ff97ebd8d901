"""What the log holds, as frozen values that any thread may keep.

A level is dBFS (AES17), ``-inf`` for digital silence and None for "not known".
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta, timezone
from enum import StrEnum
from functools import cache, lru_cache

import numpy as np

from app.coach.judgement import Verdict
from app.log.bars import Metre
from dsp.types import Floats


class TakeState(StrEnum):
    """How far a take got. The values are those of the JSON contract."""

    OPEN = "open"
    CLOSED = "closed"
    INTERRUPTED = "interrupted"
    """It did not end as asked: the program was killed, or the input went away or changed."""


@dataclass(frozen=True, slots=True)
class TakeRow:
    """One line in the list of takes."""

    number: int
    """Counts up from 1; a number is never used again."""
    name: str
    part: str
    started: str
    """ISO 8601 local time with its offset from UTC."""
    duration_s: float
    """Counted in frames, so a clock that is set meanwhile changes nothing."""
    state: TakeState
    verdict: Verdict | None
    input_name: str
    rate_hz: int
    lost_frames: int
    clips: int
    """Clips at full scale in all channels."""
    peak_dbfs: float | None
    """Highest of the channels."""
    session: int | None = None
    notes: str = ""
    kept: bool = False
    """Somebody marked it as one to keep."""
    metre: Metre | None = None
    """How to count in it, where somebody said so."""


@dataclass(frozen=True, slots=True)
class SessionRow:
    """One evening, or one song: takes that belong together."""

    number: int
    name: str
    started: str
    """ISO 8601 local time with its offset from UTC."""
    takes: int
    kept: int
    """How many of them are marked."""


@dataclass(frozen=True, slots=True)
class ChannelFigures:
    """What one channel did over the take."""

    peak_dbfs: float | None = None
    average_max_dbfs: float | None = None
    noise_floor_dbfs: float | None = None
    clips: int = 0

    @property
    def headroom_db(self) -> float | None:
        """What was left between the peak and full scale; None where there was only silence."""
        if self.peak_dbfs is None or math.isinf(self.peak_dbfs):
            return None
        return -self.peak_dbfs


@dataclass(frozen=True, slots=True)
class TakeEvent:
    """Something that happened in a take."""

    kind: str
    """A value of :class:`app.engine.events.EventKind`."""
    frame: int
    """From the start of the take, lost frames included."""
    channel: int | None = None
    """As printed on the interface, from 1; None where the whole input is meant."""
    frames: int | None = None
    """How long it lasted."""
    peak_dbfs: float | None = None
    detail: str = ""
    count: int = 1
    """How many of its kind it stands for: the peaks of a passage, the clips of a line in a list."""
    over_db: float | None = None
    """How far over the ceiling it went, or of a clip over full scale; None where that cannot be known."""
    change_db: float | None = None
    """How far the gain moved, positive when it went up."""


SILENT_CDB = -32768
"""How a trace stores digital silence, and a stretch that was not seen."""


@dataclass(frozen=True, slots=True)
class LevelTrace:
    """A take's levels for drawing: how high the average and the peaks got in each stretch of time.

    The number of points is bounded whatever the length of the take.
    """

    point_s: float = 0.0
    """How much time one point covers."""
    points: bytes = b""
    """Little-endian int16 pairs, highest average and highest peak of all channels in 0.01 dB."""

    @property
    def average_dbfs(self) -> Floats:
        """(points,): the highest slow average in each stretch; -inf for silence or a gap."""
        return self._column(0)

    @property
    def peak_dbfs(self) -> Floats:
        """(points,): the highest sample peak in each stretch; -inf for silence or a gap."""
        return self._column(1)

    def _column(self, index: int) -> Floats:
        stored = np.frombuffer(self.points, dtype="<i2").reshape(-1, 2)[:, index]
        return np.where(stored == SILENT_CDB, -np.inf, stored / 100.0)


@dataclass(frozen=True, slots=True)
class EvidenceRow:
    """A sound file that holds a stretch of a take; see :func:`app.log.evidence.evidence_of`."""

    file: str
    start_frame: int
    """From the start of the take."""
    frames: int
    channels: tuple[int, ...]
    """As printed on the interface, from 1, in the order of the file's own."""

    def holds(self, frame: int) -> bool:
        """Whether a place in the take lies in it."""
        return self.start_frame <= frame < self.start_frame + self.frames


@dataclass(frozen=True, slots=True)
class TakeDetail:
    """Everything about one take."""

    row: TakeRow
    per_channel: tuple[ChannelFigures, ...] = ()
    events: tuple[TakeEvent, ...] = ()
    """In the order of their place in the take, every clip by itself: see :func:`app.log.grouping.grouped`."""
    trace: LevelTrace = field(default_factory=LevelTrace)
    evidence: tuple[EvidenceRow, ...] = ()
    """The sound around its clips, where it was kept."""


@dataclass(frozen=True, slots=True)
class TakeUpdate:
    """The state of a take as its keeper sees it: the whole row, and what happened since the last update."""

    uid: str
    """Names the take before it has a number, and makes writing it twice harmless."""
    name: str
    part: str
    started_us: int
    """Microseconds since 1970 UTC."""
    utc_offset_s: int
    input_spec: str
    input_name: str
    rate_hz: int
    state: TakeState
    frames: int
    lost_frames: int
    verdict: Verdict | None
    per_channel: tuple[ChannelFigures, ...]
    events: tuple[TakeEvent, ...] = ()
    under_way: tuple[TakeEvent, ...] = ()
    """Events that may still grow, as they stand: the next update replaces them."""
    trace: LevelTrace | None = None
    """None where it has not changed since the last update."""
    final: bool = False
    """Nothing more will come about this take."""
    metre: Metre | None = None
    """As it was when the take began; later changes are edits."""


def iso_started(started_us: int, utc_offset_s: int) -> str:
    """Write a moment as ISO 8601 local time with its offset, to the millisecond."""
    # Put together by hand: a list of ten thousand takes writes ten thousand of them.
    day, ms = divmod(started_us // 1000 + utc_offset_s * 1000, 86_400_000)
    minutes, ms = divmod(ms, 60_000)
    clock = f"{minutes // 60:02}:{minutes % 60:02}:{ms // 1000:02}.{ms % 1000:03}"
    return f"{_day(day)}T{clock}{_offset(utc_offset_s)}"


_EPOCH = date(1970, 1, 1)


@lru_cache(maxsize=4096)
def _day(day: int) -> str:
    return (_EPOCH + timedelta(days=day)).isoformat()


@cache
def _offset(utc_offset_s: int) -> str:
    return datetime.min.replace(tzinfo=timezone(timedelta(seconds=utc_offset_s))).isoformat()[19:]


def storable(text: str) -> str:
    """Replace what no text file can hold: halves of surrogate pairs, and NUL."""
    return text.encode("utf-8", "replace").decode("utf-8").replace("\0", "\N{REPLACEMENT CHARACTER}")
