"""What the coach remembers of the playing: levels on a 100 ms grid, counted in classes of 0.1 dB.

The grid is what makes a verdict independent of how hops were grouped into readings. Counting makes the memory
of an hour as small as that of a second.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from app.coach.ticks import TICK_S
from dsp.tail import fit_tail
from dsp.types import Floats

CENSORED_AT_DBFS = -0.01
"""What peaks here or higher was cut off, and its true peak is hidden."""

_BOTTOM_DBFS = -120.0
_TOP_DBFS = 12.0
_CLASS_DB = 0.1
_TICKS_PER_BLOCK = 10
_MAX_BLOCKS = 7200
_MAX_TICK_PEAKS = 600
# Tick peaks over the level that one in five passes fall off like this in the mean, before any are heard.
_PRIOR_SLOPE_DB = 2.0
_PRIOR_TICKS = 12.0
_MOST_CUT_SHARE = 0.1
# The crest of a tick whose peak was cut off: that of the louder half of the others, at this quantile.
_CREST_QUANTILE = 0.9
_CREST_TICKS = 10
_CLASSES = round((_TOP_DBFS - _BOTTOM_DBFS) / _CLASS_DB)

# Loud playing is the part of the playing whose slow average lies within 6 dB of the level that 5 % of it
# passes. 5 % and not the maximum, so that one accent does not decide; 6 dB, because it is about one step in a
# player's own scale (from "mf" to "f"): what lies lower is the tail of notes, or a softer passage.
_LOUD_SHARE = 0.05
_LOUD_SPAN_DB = 6.0


@dataclass(frozen=True, slots=True)
class Levels:
    """Figures over the loud playing in memory."""

    average_dbfs: float
    """Mean of the slow average's decibels over the loud playing."""
    peak_dbfs: float
    """Highest sample peak while somebody played."""
    playing_s: float
    loud_s: float


class Evidence:
    """Levels of the last while of playing, or of everything.

    Parameters
    ----------
    memory_ticks
        How many ticks to remember; None keeps all of them.
    """

    def __init__(self, memory_ticks: int | None) -> None:
        self._memory_ticks = memory_ticks
        self._counts = np.zeros(_CLASSES, np.int64)
        self._recent: deque[tuple[int, int, float]] = deque()
        self._highest_dbfs = -math.inf
        # A forecast needs a longer look back than a verdict: nine times the memory, or two hours of playing.
        longest = _MAX_BLOCKS if memory_ticks is None else max(1, 9 * memory_ticks // _TICKS_PER_BLOCK)
        self._blocks: deque[float] = deque(maxlen=longest)
        self._block_ticks = 0
        self._block_peak = -math.inf
        self._tick_peaks: deque[tuple[float, float]] = deque(maxlen=memory_ticks or _MAX_TICK_PEAKS)

    @property
    def oldest_tick(self) -> int:
        """Number of the oldest tick in a full memory; -1 while nothing was forgotten yet."""
        full = self._memory_ticks is not None and len(self._recent) == self._memory_ticks
        return self._recent[0][0] if full else -1

    def add(
        self, average_dbfs: Floats, peak_dbfs: Floats, first_tick: int = 0, playing_dbfs: float = -math.inf
    ) -> None:
        """Add ticks.

        Parameters
        ----------
        average_dbfs, peak_dbfs
            (ticks,): the slow average at the end of each, and the highest sample within.
        first_tick
            Number of the first one in the stream.
        playing_dbfs
            Only ticks with this average or more count into the blocks of the forecast.
        """
        playing = average_dbfs >= playing_dbfs
        for average, peak in zip(average_dbfs[playing].tolist(), peak_dbfs[playing].tolist(), strict=True):
            self._tick_peaks.append((average, peak))
            self._block_peak = max(self._block_peak, peak)
            self._block_ticks += 1
            if self._block_ticks == _TICKS_PER_BLOCK:
                self._blocks.append(self._block_peak)
                self._block_ticks, self._block_peak = 0, -math.inf
        classes = _class_of(average_dbfs)
        if self._memory_ticks is None:
            self._counts += np.bincount(classes, minlength=_CLASSES)
            self._highest_dbfs = max(self._highest_dbfs, float(peak_dbfs.max(initial=-math.inf)))
            return
        for offset, (level_class, peak) in enumerate(zip(classes.tolist(), peak_dbfs.tolist(), strict=True)):
            self._recent.append((first_tick + offset, level_class, peak))
            self._counts[level_class] += 1
            if len(self._recent) > self._memory_ticks:
                self._counts[self._recent.popleft()[1]] -= 1
        self._highest_dbfs = max((peak for _, _, peak in self._recent), default=-math.inf)

    @property
    def block_peaks_dbfs(self) -> Floats:
        """(blocks,): the highest sample of each second of playing, pauses left out, oldest first."""
        return np.array(self._blocks)

    def hidden_peaks_dbfs(self, usual_crest_peak_dbfs: float) -> tuple[float, ...]:
        """Where the highest peak would lie had nothing been cut off at full scale: what each witness says.

        Parameters
        ----------
        usual_crest_peak_dbfs
            What the part's usual crest lets expect: heard only where there are not two better witnesses.
        """
        ticks = np.array(self._tick_peaks).reshape(-1, 2)
        by_tail, by_crest = _by_tail(ticks[:, 1]), _by_crest(ticks[:, 0], ticks[:, 1])
        if by_crest is None:
            return (usual_crest_peak_dbfs,)
        return (by_crest, usual_crest_peak_dbfs if by_tail is None else by_tail)

    def levels(self, threshold_dbfs: float) -> Levels | None:
        """Weigh what lies above the threshold; None when nothing does."""
        first = int(_class_of(np.array([threshold_dbfs]))[0])
        counts = self._counts[first:]
        cumulative = np.cumsum(counts)
        playing = int(cumulative[-1])
        if not playing:
            return None
        high = int(np.searchsorted(cumulative, math.ceil(playing * (1.0 - _LOUD_SHARE))))
        low = max(0, high - round(_LOUD_SPAN_DB / _CLASS_DB))
        loud_counts = counts[low:]
        loud = int(loud_counts.sum())
        mean_class = first + low + float(loud_counts @ np.arange(loud_counts.size)) / loud
        return Levels(
            average_dbfs=_BOTTOM_DBFS + (mean_class + 0.5) * _CLASS_DB,
            peak_dbfs=self._highest_dbfs,
            playing_s=playing * TICK_S,
            loud_s=loud * TICK_S,
        )


def _class_of(level_dbfs: Floats) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    known = np.nan_to_num(level_dbfs, nan=_BOTTOM_DBFS, neginf=_BOTTOM_DBFS, posinf=_TOP_DBFS)
    classes: np.ndarray[tuple[int], np.dtype[np.int64]] = np.floor((known - _BOTTOM_DBFS) / _CLASS_DB).astype(
        np.int64
    )
    return np.clip(classes, 0, _CLASSES - 1)


def _by_tail(peaks: Floats) -> float | None:
    """The highest peak by how those that were not cut off fall off.

    None where too much was cut off, or too little was heard, to see that.
    """
    if not peaks.size or np.mean(peaks >= CENSORED_AT_DBFS) > _MOST_CUT_SHARE:
        return None
    tail = fit_tail(peaks, censored_at_db=CENSORED_AT_DBFS)
    if tail is None:
        return None
    total = tail.scale_db * tail.uncensored + _PRIOR_SLOPE_DB * _PRIOR_TICKS
    slope_db = total / (tail.uncensored + _PRIOR_TICKS)
    return tail.threshold_db + slope_db * math.log(max(1.0, tail.clusters))


def _by_crest(averages: Floats, peaks: Floats) -> float | None:
    """The highest peak by the averages, which cutting hardly changes, and this player's own crest over them.

    None where too little was left uncut to see the crest.
    """
    cut = peaks >= CENSORED_AT_DBFS
    if np.count_nonzero(~cut) < _CREST_TICKS:
        return None
    whole, crests = averages[~cut], (peaks - averages)[~cut]
    crest_db = float(np.quantile(crests[whole >= np.median(whole)], _CREST_QUANTILE))
    return float(np.where(cut, np.maximum(peaks, averages + crest_db), peaks).max())
