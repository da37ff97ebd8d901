"""A level that pumps with the playing: an automatic gain turns the noise up whenever nobody plays.

After a passage that ends, a room only gets quieter. With an automatic gain the noise rises instead, pause
after pause at the same rate, until the next note, which then stands far above it. A claim needs several
such pauses among the last ones; a player who swells, a reverberation and a fade look different.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from dsp.decibels import power_to_db
from dsp.reading import Fault, FaultKind
from dsp.types import Floats

TICK_HOPS = 10
"""Levels are taken over 100 ms: short enough for the fastest release of an automatic gain, long enough for
the level of a noise to stand still within half a decibel."""

UNDER_PLAYING_DB = 15.0
"""A pause is at least so far below the playing around it, to its end."""
LEAST_RISE_DB = 4.0
LEAST_RISE_TICKS = 5
"""The noise must climb so far within a pause, over at least half a second."""
MOST_BACKWARD_DB = 1.0
"""A climb may fall back by so much between two levels."""
MOST_STEP = 0.5
"""No single step makes up more than this part of the climb: a bang or a breath is not a gain."""
PAUSES = 8
"""So many pauses are remembered ..."""
LEAST_CLIMBS = 3
"""... and so many of them must climb, at rates within a factor of two of their median."""
LOWEST_DB = -100.0
"""Below this there is nothing that a gain could turn up."""


@dataclass(frozen=True, slots=True)
class _Pause:
    rise_db: float
    rate_db: float
    """Per tick; 0 when the pause did not climb."""


class PumpingFinder:
    """Follows each channel's level, and claims what the last pauses show."""

    def __init__(self, channels: int, hop_s: float) -> None:
        self._channels = [_Channel(hop_s * TICK_HOPS) for _ in range(channels)]

    def process(self, energy: Floats) -> None:
        """Take in mean squares, (hops, channels); the hops divide by :data:`TICK_HOPS`."""
        ticks = energy.reshape(-1, TICK_HOPS, energy.shape[1]).mean(axis=1)
        levels_db = np.maximum(power_to_db(ticks), -200.0)
        for index, channel in enumerate(self._channels):
            for level_db in levels_db[:, index].tolist():
                channel.tick(level_db)

    def faults(self, *, ever: bool = False) -> list[Fault]:
        """One fault for each channel that pumps, or ``ever`` did; the value is the median climb in dB."""
        found: list[Fault] = []
        for index, channel in enumerate(self._channels):
            rise_db = channel.last_claim_db if ever else channel.claim_db
            if rise_db is not None:
                found.append(Fault(FaultKind.PUMPING, index, round(rise_db, 1)))
        return found


class _Channel:
    def __init__(self, tick_s: float) -> None:
        self._loud_db = -200.0
        # The playing level is forgotten slowly, so that a long rest does not end the pause.
        self._fall_db = 0.5 * tick_s
        self._longest = round(30.0 / tick_s)
        self._quiet: list[float] = []
        self._pauses: deque[_Pause] = deque(maxlen=PAUSES)
        self.claim_db: float | None = None
        self.last_claim_db: float | None = None

    def tick(self, level_db: float) -> None:
        self._loud_db = max(level_db, self._loud_db - self._fall_db)
        if level_db <= self._loud_db - UNDER_PLAYING_DB:
            if len(self._quiet) < self._longest:
                self._quiet.append(level_db)
            return
        if len(self._quiet) > LEAST_RISE_TICKS + 1:
            self._pauses.append(_judge(self._quiet, level_db))
            self.claim_db = _common_climb_db(self._pauses)
            if self.claim_db is not None:
                self.last_claim_db = self.claim_db
        self._quiet = []


def _common_climb_db(pauses: Iterable[_Pause]) -> float | None:
    """The median climb of pauses, or None when they do not show an automatic gain."""
    climbs = [pause for pause in pauses if pause.rate_db > 0]
    if len(climbs) < LEAST_CLIMBS:
        return None
    middle = float(np.median([pause.rate_db for pause in climbs]))
    alike = [pause.rise_db for pause in climbs if middle / 2 <= pause.rate_db <= middle * 2]
    return float(np.median(alike)) if len(alike) >= LEAST_CLIMBS else None


_FLAT = _Pause(0.0, 0.0)


def _judge(quiet_db: list[float], next_db: float) -> _Pause:
    """What a pause did, given its levels and that of the note after it."""
    # The last level may hold the beginning of the note.
    levels = np.array(quiet_db[:-1])
    low = int(levels.argmin())
    climb = levels[low:]
    if climb.size <= LEAST_RISE_TICKS or climb[0] < LOWEST_DB:
        return _FLAT
    high = int(climb.argmax())
    rise_db = float(climb[high] - climb[0])
    if high < LEAST_RISE_TICKS or rise_db < LEAST_RISE_DB or next_db - climb[-1] < UNDER_PLAYING_DB / 2:
        return _FLAT
    steps = np.diff(climb[: high + 1])
    after = climb[high:]
    if steps.min() < -MOST_BACKWARD_DB or steps.max() > MOST_STEP * rise_db:
        return _FLAT
    if float(climb[high] - after.min()) > 2 * MOST_BACKWARD_DB:
        return _FLAT  # it fell again before the next note: not a gain that waits at its top
    # The rate over the middle of the climb, where neither the decay nor the top bends it.
    quarter, three = climb[0] + 0.25 * rise_db, climb[0] + 0.75 * rise_db
    from_tick = int(np.argmax(climb >= quarter))
    to_tick = int(np.argmax(climb >= three))
    rate_db = 0.5 * rise_db / max(1, to_tick - from_tick)
    return _Pause(rise_db, rate_db)
