"""Where is the knob now? Follows it while somebody turns it, by the noise or by the playing.

The noise of the room and the preamp rises and falls with the knob and does nothing else, so in a pause the
follower is as quick as the slow average. Playing wanders by itself: there the loudest moment of the last
0.8 s is compared with what such moments were like before, large steps are followed at once and small ones
slowly. That is sure to three decibels or so, and as long as the passage is as loud as the one before.
"""

from __future__ import annotations

import math
from collections import deque

import numpy as np

from dsp.types import Floats

WINDOW_TICKS = 8
"""Playing is looked at through a window of so many ticks."""

# Quiet is found by standing still for so long, within this standard deviation and this drift.
_LOCK_TICKS = 6
_LOCK_SD_DB = 0.8
_LOCK_DRIFT_DB = 0.5
# How far the noise can move in a tick while a hand turns; what moves further is a note.
_NOISE_STEP_DB = 6.0
_MEDIAN_TICKS = 3
# The way asked for, and so much to either side, is where the knob can be.
_ASTRAY_DB = 10.0
# Quiet is at least this far under what the playing is turned down to, and not so low that the converter's
# own noise, which no knob moves, takes part.
_UNDER_PLAYING_DB = 17.0
_LOWEST_NOISE_DBFS = -90.0
_SOFTER_DB = 12.0
_ONSET_DB = 0.5
# A step that playing does not make by itself: this, or twice its own spread if that is more.
_LARGE_STEP_DB = 3.0
_QUICK, _SLOW = 0.6, 0.1


def window_peaks_dbfs(averages_dbfs: Floats) -> Floats:
    """(ticks // 8,): the loudest tick of each window, of those that are loud playing (the upper half)."""
    windows = averages_dbfs.size // WINDOW_TICKS
    if not windows:
        return averages_dbfs[:0]
    peaks: Floats = averages_dbfs[: windows * WINDOW_TICKS].reshape(windows, WINDOW_TICKS).max(axis=1)
    return peaks[peaks >= np.median(peaks)]


class KnobFollower:
    """Follows a knob from where it stood when this was made.

    Parameters
    ----------
    quiet_dbfs
        Slow average of the noise at that setting; nan = unknown, then only playing is followed.
    loud_dbfs
        Slow averages of the loud pass at that setting, (ticks,).
    asked_db
        The change that was asked for.
    """

    def __init__(self, quiet_dbfs: float, loud_dbfs: Floats, asked_db: float) -> None:
        peaks = window_peaks_dbfs(loud_dbfs)
        self._loud_dbfs = float(np.median(peaks)) if peaks.size else math.nan
        self._large_step_db = max(_LARGE_STEP_DB, 2.0 * float(peaks.std())) if peaks.size else math.nan
        self._quiet_dbfs = quiet_dbfs
        self._asked_db = asked_db
        lowest = quiet_dbfs + min(0.0, asked_db)
        self.by_noise = math.isfinite(quiet_dbfs) and lowest >= _LOWEST_NOISE_DBFS
        """Whether the noise can be followed: quiet was heard, and is the preamp's and the room's."""
        self._last: deque[float] = deque(maxlen=WINDOW_TICKS)
        self._locked = False
        self.shift_db: float | None = None
        """How far it was turned, as far as anybody heard; None while nothing was."""
        self.sure = False
        """Whether that comes from the noise, which tells it to a decibel; playing wanders by more."""

    def process(self, average_dbfs: float) -> float | None:
        """Take one tick; the shift, or None while this tick told nothing."""
        self._last.append(max(average_dbfs, -120.0))
        shift = self._noise_shift() if self.by_noise else None
        self.sure = shift is not None
        if shift is None:
            shift = self._playing_shift()
            # A soft passage looks like a knob turned down. Where the next pause will tell, playing only
            # shows that the gain is at least so high.
            if self.by_noise and shift is not None and shift < (self.shift_db or 0.0):
                shift = None
        if shift is not None:
            self.shift_db = shift
        return shift

    def _noise_shift(self) -> float | None:
        last = np.array(self._last)
        if self._locked and self.shift_db is not None:
            self._locked = abs(last[-1] - last[-2]) <= _NOISE_STEP_DB
        else:
            self._locked = self._is_quiet(last[-_LOCK_TICKS:])
        if not self._locked:
            return None
        return float(np.median(last[-_MEDIAN_TICKS:])) - self._quiet_dbfs

    def _is_quiet(self, last: Floats) -> bool:
        if last.size < _LOCK_TICKS:
            return False
        level, half = float(last.mean()), _LOCK_TICKS // 2
        drift = abs(float(last[half:].mean() - last[:half].mean()))
        lowest = self._quiet_dbfs + min(0.0, self._asked_db) - _ASTRAY_DB
        highest = self._quiet_dbfs + max(0.0, self._asked_db) + _ASTRAY_DB
        if not math.isnan(self._loud_dbfs):
            highest = min(highest, self._loud_dbfs + min(0.0, self._asked_db) - _UNDER_PLAYING_DB)
        return lowest <= level <= highest and float(last.std()) <= _LOCK_SD_DB and drift <= _LOCK_DRIFT_DB

    def _playing_shift(self) -> float | None:
        last = np.array(self._last)
        if math.isnan(self._loud_dbfs) or last.size < WINDOW_TICKS:
            return None
        highest = float(last.max())
        # What only rings on and dies away says nothing of the knob, nor does a passage too soft for any turn.
        if np.diff(last).max() < _ONSET_DB:
            return None
        if highest < self._loud_dbfs + min(0.0, self._asked_db) - _SOFTER_DB:
            return None
        seen = highest - self._loud_dbfs
        before = self.shift_db or 0.0
        share = _QUICK if abs(seen - before) > self._large_step_db else _SLOW
        shift = before + share * (seen - before)
        # Nobody turns the wrong way; a passage that is softer, or louder, than the one before looks like it.
        return shift if shift * self._asked_db > 0.0 else 0.0
