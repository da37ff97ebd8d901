"""Hops to pixel columns. Columns are tied to absolute hop numbers, so a drawn column never changes its mind.

A trace that is thinned out anew in every frame seems to boil as it scrolls; here column ``k`` always covers
the same hops, whatever the moment at which it is drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Levels = npt.NDArray[np.float32]
Flags = npt.NDArray[np.bool_]

_TINY = 1e-9
"""Products such as 3 x (100 / 3) must not fall short of the hop that they mean."""


@dataclass(frozen=True, slots=True)
class Columns:
    """One entry for each column, oldest first."""

    first: int
    """Absolute number of the first column."""
    low_dbfs: Levels
    """Lowest slow average, joined to the end of the column before; nan where frames are missing."""
    high_dbfs: Levels
    """Highest slow average."""
    peak_dbfs: Levels
    clipped: Flags
    missing: Flags
    """Frames of this column were lost."""

    def __len__(self) -> int:
        return int(self.low_dbfs.shape[0])


def first_hop_of(column: int, hops_per_column: float) -> int:
    """The first hop that a column covers."""
    return math.floor(column * hops_per_column + _TINY)


def column_of(hop: int, hops_per_column: float) -> int:
    """The last column that covers a hop (where columns are narrower than hops, neighbours share one)."""
    return math.ceil((hop + 1) / hops_per_column - _TINY) - 1


def columns_of(hops: npt.NDArray[np.int64], hops_per_column: float) -> npt.NDArray[np.int64]:
    """:func:`column_of` for many hops."""
    return (np.ceil((hops + 1) / hops_per_column - _TINY) - 1).astype(np.int64)


def reduce_columns(
    average_dbfs: Levels,
    peak_dbfs: Levels,
    clipped: Flags,
    *,
    first_hop: int,
    hops_per_column: float,
    first_column: int,
    last_column: int,
) -> Columns:
    """Reduce hops to the columns ``first_column`` to ``last_column``, both counted.

    Parameters
    ----------
    average_dbfs, peak_dbfs, clipped
        ``(hops,)`` of one channel; row 0 is hop ``first_hop``. Columns for which no hop is there are
        left out at either end. Where a column is narrower than a hop, neighbours share it.
    """
    end_hop = first_hop + average_dbfs.shape[0]
    first_column = max(first_column, column_of(first_hop, hops_per_column))
    last_column = min(last_column, column_of(end_hop - 1, hops_per_column)) if end_hop > first_hop else -1
    if last_column < first_column:
        nothing = np.empty(0, np.float32)
        no_flags = np.empty(0, np.bool_)
        return Columns(first_column, nothing, nothing, nothing, no_flags, no_flags)
    # A column or two at a time, 30 times a second: plain numbers cost less than arrays of them.
    edges = range(first_column, last_column + 2)
    rows = [
        min(max(0, first_hop_of(edge, hops_per_column) - first_hop), end_hop - first_hop) for edge in edges
    ]
    stop = max(rows[-1], rows[-2] + 1)
    at = np.array([min(row, stop - 1) for row in rows[:-1]])
    average, peak, clip = average_dbfs[:stop], peak_dbfs[:stop], clipped[:stop]
    low = np.minimum.reduceat(average, at)  # nan where any hop is
    high = np.maximum.reduceat(average, at)
    missing = np.isnan(low)
    # The crest is one line: a column begins where the one before ended.
    before = average[np.maximum(at - 1, 0)]
    low = np.where(missing, low, np.fmin(low, before))
    high = np.where(missing, low, np.fmax(high, before))
    return Columns(
        first_column, low, high, np.fmax.reduceat(peak, at), np.logical_or.reduceat(clip, at), missing
    )
