"""What the engine publishes: the newest state for the window, and every hop for whoever keeps watch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from app.coach.forecast import Forecast
from app.coach.judgement import CoachReport
from app.coach.session import SessionState
from app.engine.events import Event
from app.errors import SwellmarkError
from app.inputs.source import SourceInfo
from dsp.reading import Fault, Hum, Reading


class InputState(StrEnum):
    """How the input is doing."""

    CLOSED = "closed"
    OPENING = "opening"
    RUNNING = "running"
    STALLED = "stalled"
    """Nothing came for half a second, and nobody says why."""
    LOST = "lost"
    """The input says that it is gone."""
    ENDED = "ended"
    """The file is over."""
    FAILED = "failed"
    """It could not be opened, or the analysis broke; ``problem`` says why."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The latest state of everything. A new one replaces the old about a hundred times a second.

    Figures are tuples with one entry a channel; ``-inf`` is silence and ``nan`` is not known yet.
    """

    state: InputState = InputState.CLOSED
    info: SourceInfo | None = None
    t_s: float = 0.0
    """Position in the stream, lost frames included."""
    published_s: float = 0.0
    """``time.monotonic()`` when this was made: an old snapshot must be shown as old."""
    average_dbfs: tuple[float, ...] = ()
    peak_hold_dbfs: tuple[float, ...] = ()
    true_peak_dbtp: tuple[float, ...] = ()
    noise_floor_dbfs: tuple[float, ...] = ()
    noise_floor_dba: tuple[float, ...] = ()
    momentary_lufs: float = float("nan")
    short_term_lufs: float = float("nan")
    clips: tuple[int, ...] = ()
    """Clipping events of each channel since the input was opened or reset."""
    hum: Sequence[Hum | None] = ()
    faults: Sequence[Fault] = ()
    coach: CoachReport | None = None
    forecast: Forecast | None = None
    """Of a take to come, for the worst channel; None with too little heard, and while a take runs."""
    session: SessionState | None = None
    """Of the guided gain session; None while there is none."""
    session_channel: int = 0
    """Column index, from 0, of the channel that the session is about."""
    lost_frames: int = 0
    problem: SwellmarkError | None = field(default=None, compare=False)

    @property
    def headroom_db(self) -> tuple[float, ...]:
        """What is left between the held peak and full scale, a channel each."""
        return tuple(-peak for peak in self.peak_hold_dbfs)


@dataclass(frozen=True, slots=True)
class HopReport:
    """Everything about the newest hops, handed to observers on the analysis thread, none left out."""

    info: SourceInfo
    reading: Reading
    coach: CoachReport
    events: Sequence[Event]
    lost_frames: int
    """Since the input was opened."""
