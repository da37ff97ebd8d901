"""Noise floor while somebody plays: the level of the quiet moments, or an honest "not known yet".

The tenth percentile of the power of 50 ms blocks finds the quiet; every block below twice that power is
averaged, which removes the percentile's bias. That fails where quiet is rarer than the percentile, so the
answer is given only when the quiet blocks add up to two seconds and barely differ from one another.
"""

from __future__ import annotations

import numpy as np

from dsp.decibels import mean_square_to_dbfs
from dsp.types import Floats

_BLOCK_HOPS = 5
_MEMORY_BLOCKS = 1200  # one minute of 50 ms blocks
_QUIET_S = 2.0
_SPREAD_DB = 2.0


class NoiseFloor:
    """The noise floor of each channel over the last minute.

    Parameters
    ----------
    rate_hz, channels, frames_per_hop
        The grid that :meth:`process` is fed on.
    """

    def __init__(self, rate_hz: int, channels: int, frames_per_hop: int) -> None:
        self._block_s = _BLOCK_HOPS * frames_per_hop / rate_hz
        self._powers = np.empty((_MEMORY_BLOCKS, channels))
        self._count = 0
        self._partial = np.zeros(channels)
        self._partial_hops = 0
        self.level_dbfs: Floats = np.full(channels, np.nan)
        """(channels,): RMS level (AES17) of the noise; nan while it is not known."""
        self.level_dba: Floats = np.full(channels, np.nan)
        """(channels,): the same, A-weighted (IEC 61672-1)."""

    def process(self, mean_squares: Floats) -> None:
        """Take in the mean square of each hop, (hops, channels)."""
        for mean_square in mean_squares:
            self._partial += mean_square
            self._partial_hops += 1
            if self._partial_hops == _BLOCK_HOPS:
                self._powers[self._count % _MEMORY_BLOCKS] = self._partial / _BLOCK_HOPS
                self._count += 1
                self._partial[:] = 0.0
                self._partial_hops = 0
                if self._count % 10 == 0:
                    self._estimate()

    def _estimate(self) -> None:
        known = self._powers[: min(self._count, _MEMORY_BLOCKS)]
        for channel in range(known.shape[1]):
            self.level_dbfs[channel] = self._channel_dbfs(known[:, channel])

    def _channel_dbfs(self, powers: Floats) -> float:
        quiet = powers[powers <= 2.0 * np.percentile(powers, 10)]
        if quiet.size * self._block_s < _QUIET_S:
            return float("nan")
        if quiet.max() > 0.0:
            levels_db = 10.0 * np.log10(np.maximum(quiet, 1e-30))
            if levels_db.std() > _SPREAD_DB:
                return float("nan")
        return mean_square_to_dbfs(float(quiet.mean()))
