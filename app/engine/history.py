"""What the chart draws from: the last while, hop by hop, in a ring that neither grows nor copies.

Threads: the analysis thread writes, the window reads views without a lock. Every row is written twice,
``rows`` apart, so that the newest ``rows`` rows always lie in one piece of memory. A reader holds a view
for a few milliseconds; the ring keeps a second of spare rows beyond what it shows, so the writer cannot
reach the rows being read in that time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dsp.types import Floats


@dataclass(frozen=True, slots=True)
class HistoryView:
    """The newest hops, oldest first. Arrays are views: read them now, do not keep them."""

    average_dbfs: npt.NDArray[np.float32]
    """(hops, channels): slow average; nan where frames were lost."""
    peak_dbfs: npt.NDArray[np.float32]
    """(hops, channels): highest sample of the hop; nan where frames were lost."""
    clipped: npt.NDArray[np.bool_]
    """(hops, channels): a clip was found in this hop."""
    newest_hop: int
    """Number of the last row, counted from the start of the input; -1 when there is none."""
    hop_s: float


class History:
    """A ring of hops for one input.

    Parameters
    ----------
    channels
        Columns.
    hop_s
        Length of one hop.
    span_s
        How much a view can show.
    """

    def __init__(self, channels: int, hop_s: float, span_s: float = 60.0) -> None:
        self._hop_s = hop_s
        self._span = round(span_s / hop_s)
        self._rows = self._span + round(1.0 / hop_s)
        self._average = np.full((2 * self._rows, channels), np.nan, np.float32)
        self._peak = np.full((2 * self._rows, channels), np.nan, np.float32)
        self._clipped = np.zeros((2 * self._rows, channels), np.bool_)
        self._next = 0

    def append(self, average_dbfs: Floats, peak_dbfs: Floats) -> None:
        """Add hops, ``(hops, channels)`` each."""
        skipped = max(0, average_dbfs.shape[0] - self._rows)
        self._next += skipped
        average_dbfs, peak_dbfs = average_dbfs[skipped:], peak_dbfs[skipped:]
        done = 0
        while done < average_dbfs.shape[0]:
            at = self._next % self._rows
            count = min(self._rows - at, average_dbfs.shape[0] - done)
            for start in (at, at + self._rows):
                self._average[start : start + count] = average_dbfs[done : done + count]
                self._peak[start : start + count] = peak_dbfs[done : done + count]
                self._clipped[start : start + count] = False
            done += count
            self._next += count

    def append_gap(self, hops: int) -> None:
        """Add hops of which nothing is known."""
        self._next += max(0, hops - self._rows)
        unknown = np.full((min(hops, self._rows), self._average.shape[1]), np.nan)
        self.append(unknown, unknown)

    def mark_clip(self, hop: int, channel: int) -> None:
        """Mark a hop that was added before as clipped; one that has left the ring is let go."""
        if self._next - self._rows <= hop < self._next:
            at = hop % self._rows
            self._clipped[[at, at + self._rows], channel] = True

    def view(self) -> HistoryView:
        """Show the newest hops."""
        end_hop = self._next
        count = min(end_hop, self._span)
        end = (end_hop - 1) % self._rows + 1 + self._rows if end_hop else 0
        rows = slice(end - count, end)
        return HistoryView(
            self._average[rows], self._peak[rows], self._clipped[rows], end_hop - 1, self._hop_s
        )
