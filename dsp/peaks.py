"""Sample peaks: the highest magnitude in each hop, and the hold that keeps it in sight."""

from __future__ import annotations

import numpy as np

from dsp.hops import planar
from dsp.types import Floats, Samples


def hop_peaks(hops: Samples, hop_frames: int) -> Floats:
    """The highest sample magnitude of each hop, linear, full scale 1.0.

    Parameters
    ----------
    hops
        (hops * hop_frames, channels).
    hop_frames
        Frames in a hop.

    Returns
    -------
    Floats
        (hops, channels).
    """
    apart = planar(hops, hop_frames)
    # numpy finds the place of a maximum three times faster than the maximum, and counts NaN as the highest.
    channel, hop = np.arange(apart.shape[0])[:, np.newaxis], np.arange(apart.shape[1])
    high = apart[channel, hop, apart.argmax(axis=2)]
    low = apart[channel, hop, apart.argmin(axis=2)]
    with np.errstate(invalid="ignore"):  # which a NaN of the signalling kind is when it is widened
        return np.ascontiguousarray(np.maximum(high, -low).T, dtype=np.float64)


class PeakHold:
    """The highest peak since the last reset, or of the last ``hold_s`` seconds.

    Parameters
    ----------
    channels
        Columns of the peaks.
    rate_hz
        Sampling rate.
    hop_frames
        Frames in a hop.
    hold_s
        How long a peak is held before the reading falls back to the highest one since; None holds it
        until :meth:`reset`.
    """

    def __init__(self, channels: int, rate_hz: int, hop_frames: int, hold_s: float | None = None) -> None:
        if hold_s is not None and not hold_s > 0.0:
            raise ValueError(f"hold_s is {hold_s}; more than 0 is expected, or None")
        window = 1 if hold_s is None else max(1, round(hold_s * rate_hz / hop_frames))
        self._for_good = hold_s is None
        # The window's peaks in a ring, so that live use copies one row a hop whatever the window.
        self._ring = np.zeros((window, channels))
        self._next = 0
        self._hold = np.zeros(channels)

    @property
    def hold(self) -> Floats:
        """(channels,): the held peak, linear; 0 before anything came in."""
        return self._hold.copy()

    def process(self, peaks: Floats) -> None:
        """Take in the peaks of one or more hops, (hops, channels), linear."""
        if self._for_good:
            np.maximum(self._hold, peaks.max(axis=0), out=self._hold)
            return
        window = self._ring.shape[0]
        peaks = peaks[-window:]
        rows = (self._next + np.arange(peaks.shape[0])) % window
        self._ring[rows] = peaks
        self._next = int(rows[-1] + 1) % window
        self._hold = self._ring.max(axis=0)

    def reset(self) -> None:
        """Forget everything that was held."""
        self._ring[:] = 0.0
        self._hold[:] = 0.0
