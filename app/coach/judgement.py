"""What the coach answers: a verdict, a number, and the reason with its values. No sentence, no colour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum


class Verdict(StrEnum):
    """How the input sits, in the order from too little to too much."""

    SLACK = "slack"
    LOW_WATER = "low_water"
    FAIR_WATER = "fair_water"
    HIGH_WATER = "high_water"
    AWASH = "awash"

    @property
    def urgency(self) -> int:
        """How soon somebody must act, highest first: clipping before too loud before too quiet."""
        return {"fair_water": 0, "slack": 1, "low_water": 2, "high_water": 3, "awash": 4}[self.value]


class Reason(StrEnum):
    """Why the coach says what it says; :mod:`app.words` has the sentence for each."""

    NOTHING_HEARD = "nothing_heard"
    EXACT_ZEROS = "exact_zeros"
    """Not even noise: nothing reaches the program."""
    LISTENING = "listening"
    """Something plays, but not for long enough to advise on."""
    AVERAGE_LOW = "average_low"
    AVERAGE_HIGH = "average_high"
    PEAKS_LOW = "peaks_low"
    PEAKS_HIGH = "peaks_high"
    IN_WINDOW = "in_window"
    CLIPPED = "clipped"
    CEILING_NEAR = "ceiling_near"
    """The average is low, yet the peaks leave no room: they win."""
    TAKE_LOUDER = "take_louder"
    """The peaks are still under the ceiling; a take, longer and louder, would pass it."""
    FLAT_TOPS = "flat_tops"
    """Possibly overloaded before the converter."""
    KNOB_MOVED = "knob_moved"
    """The gain was changed, and nothing was played since."""
    NOISE_NEAR = "noise_near"
    """More gain is needed, and the noise is so near that it comes along."""
    HUM_NEAR = "hum_near"
    """The same, and most of that noise is mains hum."""


SILENT = (Reason.NOTHING_HEARD, Reason.EXACT_ZEROS, Reason.KNOB_MOVED)
"""Nothing is played: there is no advice yet that would have to stand still."""

LOWEST_CEILING_DBFS, HIGHEST_CEILING_DBFS = -40.0, -1.0
"""Between these peaks may be told to stay under something else than usual."""


@dataclass(frozen=True, slots=True)
class Target:
    """Where playing should sit. The defaults are the project's: 0 ref is -18 dBFS."""

    average_dbfs: float = -18.0
    window_low_dbfs: float = -20.0
    window_high_dbfs: float = -12.0
    ceiling_dbfs: float = -6.0

    def under(self, ceiling_dbfs: float) -> Target:
        """The same with the ceiling there, and everything else as far below it as before."""
        lower_db = self.ceiling_dbfs - ceiling_dbfs
        return Target(
            self.average_dbfs - lower_db,
            self.window_low_dbfs - lower_db,
            self.window_high_dbfs - lower_db,
            ceiling_dbfs,
        )


@dataclass(frozen=True, slots=True)
class Judgement:
    """The coach's answer for one channel."""

    verdict: Verdict
    gain_change_db: int
    """The whole change that a person should make to the knob now; 0 = leave it."""
    reason: Reason
    values: Mapping[str, float] = field(default_factory=dict)
    """The figures that the sentence of the reason needs, named with their unit."""
    average_playing_dbfs: float | None = None
    """Slow average over the loud playing passages; None with too little playing."""
    peak_playing_dbfs: float | None = None
    """The peak that the advice rests on."""
    loud_s: float = 0.0
    """How much loud playing the advice rests on."""
    gain_moved_db: float | None = None
    """How far the knob was turned, in the one judgement in which that became clear; None otherwise."""

    @property
    def attention(self) -> tuple[int, int]:
        """Sorts judgements, the one that needs attention first at the front."""
        return (-self.verdict.urgency, -abs(self.gain_change_db))


@dataclass(frozen=True, slots=True)
class CoachReport:
    """The answer for the whole input: each channel, and the one that needs attention first."""

    channels: Sequence[Judgement]
    worst_channel: int
    """Column index, from 0."""

    @property
    def worst_first(self) -> tuple[int, ...]:
        """All columns, the one that needs attention first at the front."""
        # sorted() keeps equals in the order of the channels.
        return tuple(sorted(range(len(self.channels)), key=lambda i: self.channels[i].attention))

    @property
    def worst(self) -> Judgement:
        """The judgement that needs attention first."""
        return self.channels[self.worst_channel]
