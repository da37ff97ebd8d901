"""Places in bars and beats, for takes whose tempo is known."""

from __future__ import annotations

from dataclasses import dataclass

FASTEST_BPM = 100_000.0
"""Nobody counts faster; beyond it numbers stop telling places apart."""
_LONGEST_S = 1e9


@dataclass(frozen=True, slots=True)
class Metre:
    """How to count in a take."""

    tempo_bpm: float
    """Beats a minute."""
    beats_per_bar: int
    count_in_s: float = 0.0
    """Where bar 1 begins, from the start of the take: the count-in, and what went before it."""

    def __post_init__(self) -> None:
        if not (
            0.0 < self.tempo_bpm <= FASTEST_BPM
            and self.beats_per_bar >= 1
            and abs(self.count_in_s) <= _LONGEST_S
        ):
            raise ValueError(f"nothing can be counted by {self}")


def bar_and_beat(t_s: float, metre: Metre) -> tuple[int, float]:
    """Bar and beat of a place, both counted from 1; the count-in lies in bars 0, -1 and so on.

    The beat has a fraction: 2.5 lies half-way between the second beat and the third.
    """
    # Rounded first, so that a place on the beat is not said to lie a hair before it.
    beats = round((t_s - metre.count_in_s) * metre.tempo_bpm / 60.0, 6)
    bar, beat = divmod(beats, metre.beats_per_bar)
    return int(bar) + 1, beat + 1.0
