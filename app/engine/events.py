"""Things that happen on an input, each with its place in the stream."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class EventKind(StrEnum):
    """What happened. The values are the ``kind`` of the JSON contracts."""

    CLIP = "clip"
    POSSIBLE_CLIP = "possible_clip"
    OVER_CEILING = "over_ceiling"
    GAP = "gap"
    INPUT_LOST = "input_lost"
    INPUT_BACK = "input_back"
    BAD_SAMPLES = "bad_samples"
    VERDICT = "verdict"
    GAIN_MOVED = "gain_moved"
    """The knob was turned: the coach heard noise and playing shift together, and began afresh."""


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened.

    ``frame`` and ``t_s`` count from the start of the input; the log subtracts the start of the take.
    """

    kind: EventKind
    frame: int
    t_s: float
    channel: int | None = None
    """As printed on the interface, from 1; None where the whole input is meant."""
    frames: int | None = None
    """How long it lasted."""
    peak_dbfs: float | None = None
    detail: str = ""
    """The verdict's key for VERDICT; the clip kind for clips; otherwise nothing."""
    change_db: float | None = None
    """How far the gain moved, positive when it went up; only for GAIN_MOVED."""
