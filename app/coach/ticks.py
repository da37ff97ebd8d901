"""The grid of the coach: hops of 10 ms become ticks of 100 ms, tied to the first hop of the stream."""

from __future__ import annotations

import math

import numpy as np

from dsp.types import Floats

TICK_S = 0.1

# Playing lies this far above the noise floor, an RMS level; the slow average of noise swings 2 dB around it.
_ABOVE_FLOOR_DB = 10.0
# With the floor unknown: playing 30 dB under the target still reads -48 dBFS, an idle input mostly below -65.
_UNKNOWN_FLOOR_DBFS = -60.0
_FAINTEST_DBFS = -70.0


def playing_threshold_dbfs(noise_floor_dbfs: float) -> float:
    """Slow average from which on somebody plays; nan is an unknown floor.

    So is -inf: exact zeros, before a mute switch is opened or a gate, tell nothing of the noise to come.
    """
    if not math.isfinite(noise_floor_dbfs):
        return _UNKNOWN_FLOOR_DBFS
    return max(_FAINTEST_DBFS, noise_floor_dbfs + _ABOVE_FLOOR_DB)


class TickCutter:
    """Gathers hops into ticks."""

    def __init__(self, hop_s: float) -> None:
        self.hops_per_tick = max(1, round(TICK_S / hop_s))
        self.hops = 0
        """How many hops came so far."""
        self._pending: Floats = np.empty((0, 2))

    @property
    def pending_peak_dbfs(self) -> float:
        """Highest sample in the hops that wait for their tick."""
        return float(self._pending[:, 1].max(initial=-math.inf))

    def push(self, average_dbfs: Floats, peak_dbfs: Floats) -> tuple[Floats, Floats]:
        """Add hops, (hops,) each, and take out whole ticks: the average at their end, their highest peak."""
        hops = np.concatenate((self._pending, np.column_stack((average_dbfs, peak_dbfs))))
        self.hops += average_dbfs.size
        ticks = hops.shape[0] // self.hops_per_tick
        whole = ticks * self.hops_per_tick
        self._pending = hops[whole:]
        average = hops[self.hops_per_tick - 1 : whole : self.hops_per_tick, 0]
        peak = hops[:whole, 1].reshape(ticks, self.hops_per_tick).max(axis=1, initial=-math.inf)
        return average, peak
