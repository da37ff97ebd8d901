"""A take's levels for drawing, in bounded memory: the longer the take, the longer one point."""

from __future__ import annotations

import math
from array import array
from sys import byteorder

from app.log.records import SILENT_CDB, LevelTrace
from dsp.hops import HOP_S

_FIRST_HOPS = 10
"""A point covers 100 ms at first."""

MAX_POINTS = 2048
"""1024 to 2048 points once a take is longer than 204.8 s: about the width of a screen."""


class TraceBuilder:
    """Takes a level pair a hop, keeps the maxima of each stretch, and halves its own detail when full."""

    def __init__(self, hop_s: float = HOP_S) -> None:
        self._hop_s = hop_s
        self._hops_per_point = _FIRST_HOPS
        self._average = array("h")
        self._peak = array("h")
        self._hops = 0
        self._average_dbfs = -math.inf
        self._peak_dbfs = -math.inf

    def add(self, average_dbfs: float, peak_dbfs: float, hops: int = 1) -> None:
        """Take in the levels of the next hop, or of several alike (a gap: -inf)."""
        while hops > 0:
            step = min(hops, self._hops_per_point - self._hops)
            # In this order, max() passes over nan.
            self._average_dbfs = max(self._average_dbfs, average_dbfs)
            self._peak_dbfs = max(self._peak_dbfs, peak_dbfs)
            hops -= step
            self._hops += step
            if self._hops == self._hops_per_point:
                self._finish_point()

    def view(self) -> LevelTrace:
        """Everything so far, the unfinished point included."""
        average, peak = self._average, self._peak
        if self._hops:
            average = average + array("h", [_stored(self._average_dbfs)])
            peak = peak + array("h", [_stored(self._peak_dbfs)])
        pairs = array("h", bytes(4 * len(average)))
        pairs[0::2] = average
        pairs[1::2] = peak
        if byteorder == "big":
            pairs.byteswap()
        return LevelTrace(self._hops_per_point * self._hop_s, pairs.tobytes())

    def _finish_point(self) -> None:
        self._average.append(_stored(self._average_dbfs))
        self._peak.append(_stored(self._peak_dbfs))
        self._average_dbfs = self._peak_dbfs = -math.inf
        self._hops = 0
        if len(self._average) == MAX_POINTS:
            self._average = array("h", map(max, self._average[0::2], self._average[1::2]))
            self._peak = array("h", map(max, self._peak[0::2], self._peak[1::2]))
            self._hops_per_point *= 2


def _stored(level_dbfs: float) -> int:
    if level_dbfs == -math.inf:
        return SILENT_CDB
    return max(SILENT_CDB + 1, min(32767, round(level_dbfs * 100)))
