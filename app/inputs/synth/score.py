"""The song and the evening: what is played, how hard, and when nobody plays.

A musician sits down, lets the room be quiet for a moment, goes through a verse gently, rests, plays the
chorus as loud as the take will be, rests, and begins again. It never ends, and no two rounds are the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum, StrEnum

import numpy as np

BEATS_PER_BAR = 4
FIRST_QUIET_S = 4.0
"""Nobody plays at first, so that the noise floor becomes known."""
_BEAT_S = 0.62


class Chord(StrEnum):
    """The chords of the song."""

    A_MINOR = "Am"
    C = "C"
    D_MINOR = "Dm"
    E_MINOR = "Em"
    F = "F"
    G = "G"

    @property
    def root(self) -> int:
        """Semitones above C."""
        return {"Am": 9, "C": 0, "Dm": 2, "Em": 4, "F": 5, "G": 7}[self.value]

    @property
    def minor(self) -> bool:
        """Whether the third is small."""
        return self.value.endswith("m")


class Kind(StrEnum):
    """What the player is doing."""

    REST = "rest"
    VERSE = "verse"
    CHORUS = "chorus"


class Desk(IntEnum):
    """Who reads the score: each reader draws its own luck from the same seed."""

    FORM = 0
    BASS = 1
    GUITAR = 2
    VOICE = 3
    DRUMS = 4
    ROOM = 5


_PROGRESSION = {
    Kind.VERSE: (
        Chord.D_MINOR,
        Chord.A_MINOR,
        Chord.F,
        Chord.C,
        Chord.D_MINOR,
        Chord.E_MINOR,
        Chord.F,
        Chord.G,
    ),
    Kind.CHORUS: (Chord.C, Chord.G, Chord.D_MINOR, Chord.F, Chord.C, Chord.E_MINOR, Chord.F, Chord.A_MINOR),
}


@dataclass(frozen=True, slots=True)
class Section:
    """One stretch of the evening."""

    index: int
    kind: Kind
    start_s: float
    seconds: float
    effort_db: float
    """How hard the player works; 0 is full effort."""
    chords: tuple[Chord, ...]
    """One for each bar; empty while nobody plays."""
    beat_s: float

    @property
    def bar_s(self) -> float:
        """How long a bar lasts."""
        return self.beat_s * BEATS_PER_BAR

    def bar_start_s(self, bar: int) -> float:
        """Where a bar of this section begins, from the start of the evening."""
        return self.start_s + bar * self.bar_s


def luck(seed: int, desk: Desk, *place: int) -> np.random.Generator:
    """The same random numbers for the same place of the same evening."""
    return np.random.default_rng((seed, int(desk), *place))


def evening(seed: int) -> Iterator[Section]:
    """Every section from the start, without end."""
    start_s, index, round_ = 0.0, 0, 0
    while True:
        random = luck(seed, Desk.FORM, round_)
        beat_s = _BEAT_S * random.uniform(0.97, 1.03)
        quiet_s = FIRST_QUIET_S if round_ == 0 else random.uniform(3.0, 5.0)
        # The first verse is short: somebody who tries the program out should not wait for the loud part.
        verse_bars = 4 if round_ == 0 else int(random.choice((4, 8)))
        plan = (
            (Kind.REST, 0, quiet_s, 0.0),
            (Kind.VERSE, verse_bars, 0.0, random.uniform(-5.5, -4.0)),
            (Kind.REST, 0, random.uniform(3.0, 4.0), 0.0),
            (Kind.CHORUS, 8, 0.0, random.uniform(-0.7, 0.0)),
        )
        for kind, bars, rest_s, effort_db in plan:
            seconds = rest_s if kind is Kind.REST else bars * BEATS_PER_BAR * beat_s
            chords = _PROGRESSION[kind][:bars] if bars else ()
            yield Section(index, kind, start_s, seconds, effort_db, chords, beat_s)
            start_s += seconds
            index += 1
        round_ += 1
