"""Keeps a picture of the sea in step with the history: which columns are new, and what looks different."""

from __future__ import annotations

import math
from enum import IntEnum

import numpy as np

from app.engine.history import HistoryView
from app.window.clock import StreamClock
from app.window.columns import Columns, column_of, columns_of, reduce_columns
from app.window.sea import SeaPicture


class Change(IntEnum):
    """What must be painted."""

    NOTHING = 0
    NEWEST = 1
    """The newest column alone; nothing has moved."""
    ALL = 2


class Tide:
    """Draws what is new into a picture.

    Parameters
    ----------
    picture
        As wide as ``span_s`` seconds.
    """

    def __init__(self, picture: SeaPicture, span_s: float) -> None:
        self.picture = picture
        self.hold_column: int | None = None
        """Where the peak hold was reached last; None when that is not in the picture."""
        self._span_s = span_s
        self._clock = StreamClock()
        self._channel = 0
        self._hop_s = 0.0
        self._newest_hop = -1
        self._marked_dbfs = math.nan

    def forget(self) -> None:
        """Begin an empty picture."""
        self.picture.clear()
        self._newest_hop = -1
        self.hold_column, self._marked_dbfs = None, math.nan

    def follow(self, view: HistoryView | None, channel: int, hold_dbfs: float, now_s: float) -> Change:
        """Draw what came since the last call. ``now_s`` is ``time.monotonic()``."""
        picture = self.picture
        if view is None or view.newest_hop < 0 or channel >= view.average_dbfs.shape[1]:
            if picture.last_column < 0:
                return Change.NOTHING
            self.forget()
            return Change.ALL
        if view.newest_hop < self._newest_hop or channel != self._channel or view.hop_s != self._hop_s:
            self.forget()
        self._channel, self._newest_hop, self._hop_s = channel, view.newest_hop, view.hop_s
        hops_per_column = self._span_s / view.hop_s / picture.width
        right = column_of(self._clock.follow(view.newest_hop, view.hop_s, now_s), hops_per_column)
        before = picture.last_column
        oldest = max(0, right - picture.width + 1)
        # The newest column is drawn again until the last of its hops is in.
        drawn = picture.draw(self._columns(view, hops_per_column, max(before, oldest), right))
        news = self._take_clips(view, hops_per_column, oldest, right)
        moved = self._place_hold(hold_dbfs)
        if picture.last_column != before or news or moved:
            return Change.ALL
        return Change.NEWEST if drawn else Change.NOTHING

    def _columns(self, view: HistoryView, hops_per_column: float, first: int, last: int) -> Columns:
        rows = view.average_dbfs.shape[0]
        # A hop or two before the first column, because the crest begins where the column before ended.
        first_hop = math.floor(first * hops_per_column) - 2
        row = max(0, rows - (view.newest_hop - first_hop) - 1)
        return reduce_columns(
            view.average_dbfs[row:, self._channel],
            view.peak_dbfs[row:, self._channel],
            view.clipped[row:, self._channel],
            first_hop=view.newest_hop - rows + row + 1,
            hops_per_column=hops_per_column,
            first_column=first,
            last_column=last,
        )

    def _take_clips(self, view: HistoryView, hops_per_column: float, oldest: int, right: int) -> bool:
        first_hop = view.newest_hop - view.clipped.shape[0] + 1
        hops = np.flatnonzero(view.clipped[:, self._channel]) + first_hop
        if not hops.shape[0] and not self.picture.any_clips:
            return False
        flags = np.zeros(max(0, right - oldest + 1), np.bool_)
        at = columns_of(hops, hops_per_column) - oldest
        flags[at[(at >= 0) & (at < flags.shape[0])]] = True
        return self.picture.mark_clips(oldest, flags)

    def _place_hold(self, hold_dbfs: float) -> bool:
        """Find the place of the peak hold again when the hold has changed or has left the picture."""
        before = self.hold_column
        gone = before is not None and self.picture.last_column - before >= self.picture.width
        if gone or hold_dbfs != self._marked_dbfs:
            found = self.picture.column_of_peak(hold_dbfs) if math.isfinite(hold_dbfs) else None
            self.hold_column = found
            # The hold may be a hop ahead of the picture: look again until its column is drawn.
            self._marked_dbfs = hold_dbfs if found is not None or gone else math.nan
        return self.hold_column != before
