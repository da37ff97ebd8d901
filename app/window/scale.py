"""The decibel axis: linear where playing belongs, gathered together below, where only the bed lies."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Float32 = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class LevelScale:
    """Maps dBFS to a height between 0 (foot of the chart) and 1 (its top).

    Linear from ``top_dbfs`` down to ``knee_dbfs``; below, each decibel takes less room the deeper it lies.
    The slope has no step at the knee, so that a fade-out does not seem to bend there.
    """

    top_dbfs: float = 3.0
    """Some air above full scale."""
    knee_dbfs: float = -24.0
    bottom_dbfs: float = -84.0

    def _depth(self, level_dbfs: float) -> float:
        below = self.knee_dbfs - level_dbfs
        linear = self.top_dbfs - self.knee_dbfs
        if below <= 0.0:
            return self.top_dbfs - level_dbfs
        return linear + linear * math.log1p(below / linear)

    def height(self, level_dbfs: float) -> float:
        """Where one level lies; levels beyond the ends, silence and nan included, lie at the ends."""
        if not level_dbfs > self.bottom_dbfs:  # also catches nan
            return 0.0
        return max(0.0, 1.0 - self._depth(min(level_dbfs, self.top_dbfs)) / self._depth(self.bottom_dbfs))

    def heights(self, levels_dbfs: Float32) -> Float32:
        """Where many levels lie: the same map for an array of any shape."""
        linear = self.top_dbfs - self.knee_dbfs
        clamped = np.minimum(np.fmax(levels_dbfs, self.bottom_dbfs), self.top_dbfs)  # fmax: nan at the foot
        below = np.maximum(self.knee_dbfs - clamped, 0.0)
        depth = np.minimum(self.top_dbfs - clamped, linear) + linear * np.log1p(below / linear)
        return (1.0 - depth / self._depth(self.bottom_dbfs)).astype(np.float32)


TICKS_DBFS = (0.0, -6.0, -12.0, -18.0, -24.0, -36.0, -48.0, -60.0, -72.0)
"""The levels that have a number beside the chart."""


def differ(a_dbfs: float, b_dbfs: float, by_db: float) -> bool:
    """Whether two levels differ by so much; nan is "not known"."""
    if math.isfinite(a_dbfs) and math.isfinite(b_dbfs):
        return abs(a_dbfs - b_dbfs) >= by_db
    return a_dbfs != b_dbfs and not (math.isnan(a_dbfs) and math.isnan(b_dbfs))
