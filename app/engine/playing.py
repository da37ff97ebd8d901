"""Whether somebody plays, as surely as a take that begins by itself needs it.

A tick of 100 ms sounds when the slow average passes the level at which the coach begins to listen, some way
over the noise floor. That alone is not playing: hiss that sets in, an amplifier that is switched on and a
knock at the stand pass it too. Playing lasts, and moves or comes again:

* what was knocked over has died away by 20 dB within half a second, so more than that must sound;
* a sound that never stays for half a second, such as a drum, must come three times;
* hum and hiss stand still once they have set in: nine hops in ten peak within 3.4 dB of one another (hiss of
  8 kHz and more, 160 samples a hop, in simulation; a sine within nothing), and the slow average stays;
* and a sound that the chain has named as mains hum is none, however loud. What stands still like a tone is
  playing after all when the chain, which needs up to ten seconds for it, has not named it so.

While the noise floor is unknown only what is clearly louder than most noise counts. Low rumble that sets in
while it is watched cannot be told from playing in this way.
"""

from __future__ import annotations

import math
from collections import deque

import numpy as np
import numpy.typing as npt

from app.coach.ticks import TICK_S, TickCutter, playing_threshold_dbfs
from dsp.reading import Reading
from dsp.types import Floats

MEMORY_S = 13.0
"""How far back the beginning of the playing is looked for."""

_LOWEST_DBFS = -60.0
_UNKNOWN_FLOOR_DBFS = -45.0
_PEAKS_MOVE_DB, _AVERAGE_MOVES_DB = 4.3, 3.0
_PEAKS_SETTLE_TICKS, _AVERAGE_SETTLES_TICKS = 5, 9
_DIES_AWAY_DB = 20.0
_HUM_SHARE_DB = 3.0
_TONE_CREST_DB = 3.0
"""AES17 reads a sine's peak and average alike; the peaks of hiss lie 6 dB and more over its average."""
_LOOK_TICKS = round(4.0 / TICK_S)
_LEAST_TICKS = 6
_LEAST_NOTES = 3
_HUM_IS_NAMED_TICKS = round(11.0 / TICK_S)
_FLOOR_IS_KNOWN_TICKS = round(3.0 / TICK_S)
_PAUSE_TICKS = round(2.0 / TICK_S)

_Bools = npt.NDArray[np.bool_]


class PlayingWatch:
    """Tells playing from what else comes in.

    Parameters
    ----------
    channels
        Columns of the readings to come.
    hop_s
        Length of a hop.
    """

    def __init__(self, channels: int, hop_s: float) -> None:
        self._cutters = [TickCutter(hop_s) for _ in range(channels)]
        self._hops_per_tick = self._cutters[0].hops_per_tick
        memory = round(MEMORY_S / TICK_S)
        self._average: deque[Floats] = deque(maxlen=memory)
        self._sounding: deque[_Bools] = deque(maxlen=memory)
        self._peaks: deque[Floats] = deque(maxlen=memory)
        self._hop_peaks: Floats = np.empty((0, channels))
        self._floor_dbfs: Floats = np.full(channels, math.nan)
        self._ticks = self._newest = 0
        self._frames_per_tick = 0
        self._end_frame = 0
        self.sounds_until: int | None = None
        """Where the last tick that sounded ended, in the stream; None while none did."""

    def process(self, reading: Reading) -> bool:
        """Take in the next hops; returns whether a tick was completed, so that anything is new."""
        if not reading.hops:
            return False
        self._frames_per_tick = self._hops_per_tick * reading.hop_frames
        self._hop_peaks = np.concatenate((self._hop_peaks, reading.peak_dbfs))
        ticks = np.column_stack(
            [
                cutter.push(reading.average_dbfs[:, channel], reading.peak_dbfs[:, channel])[0]
                for channel, cutter in enumerate(self._cutters)
            ]
        )
        if not ticks.shape[0]:
            return False
        self._floor_dbfs = reading.noise_floor_dbfs
        threshold = np.array([_threshold_dbfs(floor) for floor in reading.noise_floor_dbfs.tolist()])
        hum_dbfs = np.array(
            [-math.inf if hum is None else hum.level_dbfs for hum in reading.hum]
            or [-math.inf] * reading.channels
        )
        waiting = self._cutters[0].hops % self._hops_per_tick
        self._end_frame = reading.start_frame + reading.frames - waiting * reading.hop_frames
        self._newest = ticks.shape[0]
        self._ticks += self._newest
        whole = ticks.shape[0] * self._hops_per_tick
        self._peaks.extend(np.split(self._hop_peaks[:whole], ticks.shape[0]))
        self._hop_peaks = self._hop_peaks[whole:]
        for index, average in enumerate(ticks):
            sounding = (average >= threshold) & (average > hum_dbfs + _HUM_SHARE_DB)
            self._average.append(average)
            self._sounding.append(sounding)
            if sounding.any():
                ticks_ago = ticks.shape[0] - 1 - index
                self.sounds_until = self._end_frame - ticks_ago * self._frames_per_tick
        return True

    def began_at(self) -> int | None:
        """Where the playing that is heard now began, in frames of the stream; None while nobody plays."""
        average, sounding = np.array(self._average), np.array(self._sounding)
        # Ticks come one by one, but ten at once from a file or a backlog: any of them may hold the note.
        if not sounding[-self._newest :].any():
            return None
        begun = [
            _first_tick(sounding[:, channel])
            for channel in range(average.shape[1])
            if self._plays(average[:, channel], sounding[:, channel], channel)
        ]
        if not begun:
            return None
        ticks_ago = int(average.shape[0]) - min(begun)
        return self._end_frame - ticks_ago * self._frames_per_tick

    def _plays(self, average: Floats, sounding: _Bools, channel: int) -> bool:
        if math.isnan(float(self._floor_dbfs[channel])) and self._ticks < _FLOOR_IS_KNOWN_TICKS:
            return False
        first = _first_tick(sounding)
        recent = slice(max(first, average.size - _LOOK_TICKS), None)
        sounds, levels = sounding[recent], average[recent]
        active = sounds & (levels >= levels.max(initial=-math.inf, where=sounds) - _DIES_AWAY_DB)
        if np.count_nonzero(active) < _LEAST_TICKS:
            return False
        notes = np.count_nonzero(np.diff(active, prepend=False) & active)
        settled = levels[_settled(sounding, _AVERAGE_SETTLES_TICKS)[recent] & active]
        if notes >= _LEAST_NOTES or (settled.size > 1 and float(np.ptp(settled)) >= _AVERAGE_MOVES_DB):
            return True
        chosen = np.flatnonzero(_settled(sounding, _PEAKS_SETTLE_TICKS)[recent] & active) + recent.start
        if chosen.size < _LEAST_TICKS:
            return False
        peaks = np.concatenate([self._peaks[tick][:, channel] for tick in chosen.tolist()])
        low, middle, high = np.percentile(peaks, (5, 50, 95)).tolist()
        is_tone = middle - float(np.median(levels[active])) < _TONE_CREST_DB
        # Once it is named, what sounded before that was the same hum.
        stood_still = bool(sounding[-1]) and sounding.size - first >= _HUM_IS_NAMED_TICKS
        return bool(high - low >= _PEAKS_MOVE_DB or (is_tone and stood_still))


def _threshold_dbfs(noise_floor_dbfs: float) -> float:
    if math.isnan(noise_floor_dbfs):
        return _UNKNOWN_FLOOR_DBFS
    return max(_LOWEST_DBFS, playing_threshold_dbfs(noise_floor_dbfs))


def _first_tick(sounding: _Bools) -> int:
    """The first tick of what sounds now, with no pause of two seconds since; the length when nothing does."""
    ticks = np.flatnonzero(sounding)
    if not ticks.size or sounding.size - 1 - ticks[-1] > _PAUSE_TICKS:
        return int(sounding.size)
    breaks = np.flatnonzero(np.diff(ticks) > _PAUSE_TICKS)
    return int(ticks[breaks[-1] + 1] if breaks.size else ticks[0])


def _settled(sounding: _Bools, least_ticks: int) -> _Bools:
    """Ticks before which so many sounded without a rest."""
    settled = np.zeros_like(sounding)
    if sounding.size > least_ticks:
        windows = np.lib.stride_tricks.sliding_window_view(sounding, least_ticks + 1)
        settled[least_ticks:] = windows.all(axis=1)
    return settled
