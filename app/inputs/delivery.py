"""Finds by the clock what a driver has lost: how many frames, and where.

A driver that drops frames says so with a flag, or not at all; it never says how many. But frames arrive at
the device's rate, so the *lag*, the time that has passed minus the frames that have been delivered, stays
within a block or so of a constant, and a loss raises it for good. A late delivery raises it too, but only
until the driver has caught up. So a rise is watched for a moment before it counts, and meanwhile nothing
from behind the place is handed out, so that the gap lies where it belongs.

What cannot be known: a loss without a flag that is smaller than :data:`UNFLAGGED_S`, because sound servers
change their buffering by as much; and the exact size of any other, which is told to about a millisecond
where the driver delivers steadily, to about one of its blocks where it does not.
"""

from __future__ import annotations

from dataclasses import dataclass

UNFLAGGED_S = 0.060
"""A rise of the lag that counts as a loss although the driver reported none."""
SETTLE_S = 0.150
"""How long a rise is watched."""
_WARM_UP_S = 0.500
"""Buffers fill and servers settle at first: only flagged losses count."""
_BUCKET_S = 1.0
"""The lag's smallest value is taken over this and the bucket before: it follows a clock that drifts."""
_LONGEST_WATCH_S = 2.0


@dataclass(frozen=True, slots=True)
class Gap:
    """Frames that the driver lost."""

    position: int
    """Frames delivered before it."""
    frames: int
    flagged: bool
    """Whether the driver said so itself."""


class DeliveryClock:
    """Compares what has been delivered with the time that has passed.

    One thread calls :meth:`observe` and asks the rest: a few times in each of the driver's blocks, or, while
    :attr:`barrier` is None, more seldom, which places a loss up to that much too early.

    Parameters
    ----------
    rate_hz
        The rate of the stream.
    """

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._began_s: float | None = None
        self._delivered = 0
        self._overflows = 0
        self._bucket_ends_s = 0.0
        self._lowest = self._lowest_before = float("inf")
        self._watch: _Watch | None = None

    @property
    def barrier(self) -> int | None:
        """Frames that may be handed out while it is not known yet what is missing after them."""
        return self._watch.position if self._watch else None

    @property
    def delivered(self) -> int:
        """Frames delivered at the last observation."""
        return self._delivered

    def observe(self, t_s: float, delivered: int, overflows: int) -> Gap | None:
        """Take note of the state of the stream.

        Parameters
        ----------
        t_s
            The monotonic clock.
        delivered
            Frames that the driver has delivered since the start.
        overflows
            Losses that it has flagged since the start.

        Returns
        -------
        Gap or None
            A loss whose size is known now.
        """
        fresh = delivered > self._delivered
        # A flag belongs to the frames that come with it, which may be counted a moment later.
        flagged = fresh and overflows > self._overflows
        before, self._delivered = self._delivered, delivered
        if fresh:
            self._overflows = overflows
        if self._began_s is None:
            if not fresh:
                return None
            self._began_s = self._bucket_ends_s = t_s
        lag = (t_s - self._began_s) * self._rate_hz - delivered
        if self._watch is None and fresh:
            usual = min(self._lowest, self._lowest_before)
            rise = lag - usual
            warm = t_s - self._began_s > _WARM_UP_S
            if (flagged and before > 0) or (warm and rise > UNFLAGGED_S * self._rate_hz):
                self._watch = _Watch(before, t_s, usual, flagged)
        if self._watch is not None:
            return self._watch_on(self._watch, t_s, lag, fresh=fresh, flagged=flagged)
        if fresh:
            self._learn(t_s, lag)
        return None

    def _learn(self, t_s: float, lag: float) -> None:
        if t_s >= self._bucket_ends_s:
            self._lowest_before, self._lowest = self._lowest, float("inf")
            self._bucket_ends_s = t_s + _BUCKET_S
        self._lowest = min(self._lowest, lag)

    def _watch_on(self, watch: _Watch, t_s: float, lag: float, *, fresh: bool, flagged: bool) -> Gap | None:
        watch.flagged |= flagged
        if fresh:
            watch.lowest = min(watch.lowest, lag)
        waited_s = t_s - watch.began_s
        if waited_s < SETTLE_S:
            return None
        lost = max(0, round(watch.lowest - watch.usual))
        if not watch.flagged and lost <= UNFLAGGED_S * self._rate_hz:
            self._watch = None  # it was only late
            return None
        if not fresh and waited_s < _LONGEST_WATCH_S:
            return None  # nothing comes at all just now: wait for what does
        self._watch = None
        self._lowest, self._lowest_before = watch.lowest, float("inf")
        self._bucket_ends_s = t_s + _BUCKET_S
        # A flag says that something is missing, even where the clock cannot see it.
        return Gap(watch.position, max(lost, 1), watch.flagged)


@dataclass(slots=True)
class _Watch:
    position: int
    began_s: float
    usual: float
    flagged: bool
    lowest: float = float("inf")
