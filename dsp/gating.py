"""Gated programme figures in constant memory: integrated loudness and loudness range.

The standards gate twice, and the second gate depends on every block so far, so all blocks must be kept in
some form. Here they are kept in bins :data:`BIN_LU` wide that hold how many blocks fell in and the exact sum
of their powers. The mean power is therefore exact; only the question whether a bin lies above the relative
gate, and the value of a percentile, are rounded, to the bin's own mean. The figures are those of a
programme in which no block was moved by more than one bin width, whatever its length.
"""

from __future__ import annotations

import math

import numpy as np

from dsp.decibels import power_to_db
from dsp.types import Floats

OFFSET_LU = -0.691
"""BS.1770-5 Annex 1 equation (2): cancels the gain of the K-weighting at 997 Hz."""

ABSOLUTE_GATE_LUFS = -70.0
BIN_LU = 0.002
_TOP_LUFS = 30.0
"""Louder blocks (float samples far beyond full scale) share the last bin."""


def power_to_lufs(power: Floats) -> Floats:
    """Loudness of a channel-weighted mean square; 0 reads ``-inf``, nan stays nan."""
    lufs = power_to_db(power) + OFFSET_LU
    lufs[np.isnan(power)] = np.nan
    return lufs


class GatedBlocks:
    """Powers of the blocks above the absolute gate."""

    def __init__(self) -> None:
        bins = math.ceil((_TOP_LUFS - ABSOLUTE_GATE_LUFS) / BIN_LU)
        self._counts = np.zeros(bins, np.int64)
        self._powers = np.zeros(bins)
        self._seen = 0

    def add(self, powers: Floats, lufs: Floats) -> None:
        """Take in blocks: their mean squares and the same as loudness."""
        self._seen += powers.size
        kept = lufs > ABSOLUTE_GATE_LUFS
        above = ((lufs[kept] - ABSOLUTE_GATE_LUFS) / BIN_LU).astype(np.int64)
        bins = np.minimum(above, self._counts.size - 1)
        np.add.at(self._counts, bins, 1)
        np.add.at(self._powers, bins, powers[kept])

    @property
    def integrated_lufs(self) -> float:
        """Programme loudness, BS.1770-5 Annex 1: -inf when all was gated out, nan when there was no block."""
        counts, powers = self._above_gate(relative_lu=-10.0)
        if not counts.size:
            return -math.inf if self._seen else math.nan
        return power_to_db(float(powers.sum() / counts.sum())) + OFFSET_LU

    @property
    def range_lu(self) -> float:
        """Loudness range, EBU Tech 3342: 10th to 95th percentile; nan when nothing passed the gate."""
        counts, powers = self._above_gate(relative_lu=-20.0)
        if not counts.size:
            return math.nan
        ends = np.cumsum(counts)
        # The nearest rank, as in the code that Tech 3342 prints.
        ranks = np.floor((ends[-1] - 1) * np.array((0.10, 0.95)) + 0.5)
        low, high = np.searchsorted(ends, ranks, side="right")
        levels = power_to_db(powers / counts)
        return float(levels[high] - levels[low])

    def _above_gate(self, relative_lu: float) -> tuple[Floats, Floats]:
        """Counts and power sums of the bins above the relative gate, quietest first."""
        used = np.flatnonzero(self._counts)
        counts, powers = self._counts[used].astype(np.float64), self._powers[used]
        if not used.size:
            return counts, powers
        gate = powers.sum() / counts.sum() * 10.0 ** (relative_lu / 10.0)
        above = powers / counts >= gate
        return counts[above], powers[above]
