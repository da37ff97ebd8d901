"""Was the knob moved? It shifts the noise and the playing together; players and rooms shift one alone."""

from __future__ import annotations

import math
from collections import deque

import numpy as np

from app.coach.ticks import playing_threshold_dbfs
from dsp.types import Floats

_STEADY_TICKS = 20
# The slow average of noise stays within this (standard deviation over the steady time); a note falls faster.
_STEADY_SD_DB = 0.8
# Quiet lies at least this far under the loud playing, and before anything was played under this level: held
# notes and even strumming are as steady as noise.
_QUIET_UNDER_DB = 25.0
_QUIET_MOST_DBFS = -60.0
_LEAST_SHIFT_DB = 3.0
# Playing lies this far over the quiet, and begins with a rise: what rings on is no new playing.
_ABOVE_QUIET_DB = 12.0
_ONSET_DB = 1.5
_PLAYING_TICKS = 20
# With less than this of a difference, the two shifts are the same one. Wide, because players vary.
_AGREEMENT_DB = 4.0
# A step within the playing: so much, and so many times what the playing wanders by on either side of it.
_LEAST_STEP_DB = 4.0
_STEP_SPREADS = 3.0
_LEAST_SPREAD_DB = 0.7
_STRETCHES = 30


class QuietLevel:
    """Finds moments of steady quiet.

    Parameters
    ----------
    steady_ticks
        How long it must be steady.
    """

    def __init__(self, steady_ticks: int = _STEADY_TICKS) -> None:
        self._steady_ticks = steady_ticks
        self._last: deque[float] = deque(maxlen=steady_ticks)

    def process(self, average_dbfs: float, playing_dbfs: float) -> float | None:
        """Take one tick and the level of loud playing (nan = unknown); the level of the quiet, if it is."""
        self._last.append(max(average_dbfs, -120.0))
        if len(self._last) < self._steady_ticks:
            return None
        last = np.array(self._last)
        level = float(last.mean())
        highest = _QUIET_MOST_DBFS if math.isnan(playing_dbfs) else playing_dbfs - _QUIET_UNDER_DB
        return None if level > highest or last.std() > _STEADY_SD_DB else level


class KnobWatch:
    """Notices a moved knob by comparing quiet and playing before and after.

    It needs one quiet moment and two seconds of playing on either side. A knob that is turned in a pause is
    noticed once somebody plays again, one that is turned under the playing at the next pause.
    """

    def __init__(self) -> None:
        self._quiet = QuietLevel()
        self.reset()

    def reset(self) -> None:
        """Forget what the levels were."""
        self.quiet_dbfs = math.nan
        """The newest level of steady quiet; nan while there was none."""
        self._before: tuple[float, float] | None = None
        self._playing: deque[float] = deque(maxlen=10 * _PLAYING_TICKS)
        self._loud_dbfs = math.nan
        self._last_loud_dbfs = math.nan
        self._previous_dbfs = math.nan
        self._stretch: list[float] = []
        self._stretches: deque[float] = deque(maxlen=_STRETCHES)

    @property
    def playing_threshold_dbfs(self) -> float:
        """Slow average from which on somebody plays, by the newest quiet; -inf while that is not known.

        Always well under the loud playing, so that a soft held note, mistaken for quiet, does no harm.
        """
        if math.isnan(self.quiet_dbfs) or math.isnan(self._last_loud_dbfs):
            return -math.inf
        return min(playing_threshold_dbfs(self.quiet_dbfs), self._last_loud_dbfs - _QUIET_UNDER_DB)

    def process(self, average_dbfs: float) -> float | None:
        """Take one tick; how far the knob was turned, in decibels, when that has just become clear."""
        quiet = self._quiet.process(average_dbfs, self._loud_dbfs)
        if quiet is not None:
            return self._take_quiet(quiet)
        rise_db = average_dbfs - self._previous_dbfs
        self._previous_dbfs = average_dbfs
        if math.isnan(self.quiet_dbfs) or average_dbfs < self.quiet_dbfs + _ABOVE_QUIET_DB:
            return None
        if not self._playing and not rise_db >= _ONSET_DB:
            return None
        self._playing.append(average_dbfs)
        self._stretch.append(average_dbfs)
        if len(self._stretch) == _PLAYING_TICKS:
            self._stretches.append(float(np.quantile(self._stretch, 0.9)))
            self._stretch.clear()
        if len(self._playing) < _PLAYING_TICKS:
            return None
        self._loud_dbfs = self._last_loud_dbfs = float(np.quantile(self._playing, 0.9))
        return self._compare()

    def _take_quiet(self, quiet: float) -> float | None:
        if not math.isnan(self.quiet_dbfs) and abs(quiet - self.quiet_dbfs) < _LEAST_SHIFT_DB:
            return None
        before, self.quiet_dbfs = self.quiet_dbfs, quiet
        if math.isnan(before):
            return None
        moved = self._step_within_playing(quiet - before)
        # The quiet changed. What was played before it belongs to the old setting.
        if moved is None and not math.isnan(self._loud_dbfs) and self._before is None:
            self._before = (before, self._loud_dbfs)
        elif moved is not None:
            self._before = None
            self._stretches.clear()
        self._playing.clear()
        self._stretch.clear()
        self._loud_dbfs = math.nan
        return moved

    def _step_within_playing(self, quiet_shift: float) -> float | None:
        """The playing since the knob was last known to stand, parted in two where its parts wander least."""
        levels = np.array(self._stretches)
        if levels.size < 2:
            return None
        at = min(range(1, levels.size), key=lambda split: _spread(levels, split))
        step = float(levels[at:].mean() - levels[:at].mean())
        spread = max(_LEAST_SPREAD_DB, math.sqrt(_spread(levels, at) / levels.size))
        clear = abs(step) >= max(_LEAST_STEP_DB, _STEP_SPREADS * spread)
        return step if clear and _together(quiet_shift, step) else None

    def _compare(self) -> float | None:
        if self._before is None:
            return None
        quiet_before, loud_before = self._before
        self._before = None
        loud_shift = self._loud_dbfs - loud_before
        if not _together(self.quiet_dbfs - quiet_before, loud_shift):
            return None
        self._stretches.clear()
        return loud_shift


def _spread(levels: Floats, split: int) -> float:
    """Sum of the squared deviations from the means of two parts."""
    return sum(float(np.square(part - part.mean()).sum()) for part in (levels[:split], levels[split:]))


def _together(quiet_shift: float, loud_shift: float) -> bool:
    """Whether the noise and the playing moved as one."""
    # The converter's own noise stays when the gain goes down: the quiet may lag behind, but not lead.
    return (
        quiet_shift * loud_shift > 0.0
        and min(abs(quiet_shift), abs(loud_shift)) >= _LEAST_SHIFT_DB
        and abs(quiet_shift) <= abs(loud_shift) + _AGREEMENT_DB
    )
