"""True peak: the highest magnitude of the waveform, between the samples too.

ITU-R BS.1770-5, Annex 2, asks for at least four times oversampling below 96 kHz. This reads a grid of 768 kHz
or nearly so, and pays for it only where a maximum can be, which it proves beforehand (see :class:`TruePeak`).
"""

from __future__ import annotations

import numpy as np

from dsp.decibels import amplitude_to_db
from dsp.hops import before_each, planar
from dsp.interpolation import fractional_delays
from dsp.peaks import hop_peaks
from dsp.types import Floats, Samples

FULL_SCALE = 1.0 - 2.0**-15
"""The highest positive number of a 16-bit converter: a sample that reaches it counts as full scale."""

_HALF_TAPS = 24
_BETA = 6.0  # flat within 0.003 dB up to 0.45 of the sampling rate
_HISTORY = 2 * _HALF_TAPS - 1
_GRID_HZ = 768_000
_ROWS = 256
_WINDOWS = 4096
_ROUNDING = 1e-5
"""Far more than float32 arithmetic can be off in the bounds, far less than anybody could read (0.0001 dB)."""


def oversampling(rate_hz: int) -> int:
    """How many times the rate is raised: 16 below 96 kHz, 8 below 192 kHz, 4 from there on.

    On a grid this fine a tone at 0.45 of a 48 kHz rate reads at most 0.034 dB low (20·log10 cos(π f/n)).
    """
    factor = 16
    while factor > 4 and rate_hz * factor // 2 >= _GRID_HZ:
        factor //= 2
    return factor


class TruePeak:
    r"""The highest true peak of each channel, and how many hops went over full scale between samples.

    Parameters
    ----------
    rate_hz
        Sampling rate.
    channels
        Columns of the samples.
    hop_frames
        Frames in a hop, 47 or more.
    prune
        False evaluates everything; the figures are the same.

    Notes
    -----
    The value between samples n and n + 1 is :math:`y = \sum_k h_k x_{n+k}`. Two bounds decide where it need
    not be evaluated:

    1. :math:`|y| \le \|h\|_1 \max|x|`, from the peaks of the hop and the one before it, which are known.
    2. h and linear interpolation both reproduce constants and straight lines, so their difference has a
       double zero at z = 1: it is :math:`g * \delta^2`, a filter g of the second difference
       :math:`\delta^2 x_n = x_{n-1} - 2 x_n + x_{n+1}`. Hence
       :math:`|y| \le \max(|x_n|, |x_{n+1}|) + \|g\|_1 \max|\delta^2 x|`. A 1 kHz tone at 48 kHz has a
       second difference of 1.7 % of its peak, so in ordinary music only the highest few samples remain.

    The reading lags 25 frames behind the samples; :meth:`flush` brings in the last ones.
    """

    def __init__(self, rate_hz: int, channels: int, hop_frames: int, *, prune: bool = True) -> None:
        if hop_frames < _HISTORY:
            raise ValueError(f"hop_frames is {hop_frames}; {_HISTORY} or more is expected")
        self._hop = hop_frames
        self._prune = prune
        delays = fractional_delays(_HALF_TAPS, oversampling(rate_hz), _BETA)
        self._taps = np.ascontiguousarray(delays.T)
        self._gain = float(np.abs(delays).sum(axis=1).max())
        self._bend_gain = _bend_gain(delays)
        self._history: Samples = np.zeros((channels, _HISTORY), np.float32)
        self._last_peak = np.zeros(channels)
        self._highest = np.zeros(channels)
        self._overs = np.zeros(channels)

    @property
    def max_dbtp(self) -> Floats:
        """(channels,): the highest since the start or the last reset, never below the sample peak."""
        return amplitude_to_db(self._highest)

    @property
    def overs(self) -> Floats:
        """(channels,): hops whose true peak passes full scale while none of their samples reaches it."""
        return self._overs.copy()

    def reset(self) -> None:
        """Start the figures anew; the stream goes on."""
        self._highest[:] = 0.0
        self._overs[:] = 0.0

    def flush(self) -> None:
        """The stream ends here: take in what follows its last samples, as if by silence."""
        self.process(np.zeros((self._hop, self._highest.size), np.float32))

    def process(self, hops: Samples, peaks: Floats | None = None) -> None:
        """Take in whole hops.

        Parameters
        ----------
        hops
            (hops * hop_frames, channels), finite.
        peaks
            (hops, channels) from :func:`dsp.peaks.hop_peaks`, where the caller has them already.
        """
        apart = planar(hops, self._hop)
        peak = (hop_peaks(hops, self._hop) if peaks is None else peaks).T
        np.maximum(self._highest, peak.max(axis=1), out=self._highest)
        around = np.maximum(peak, np.column_stack((self._last_peak, peak[:, :-1])))
        if self._prune:
            possible = around * (self._gain * (1.0 + _ROUNDING)) > self._undecided()[:, np.newaxis]
        else:
            possible = np.ones(around.shape, bool)
        if possible.any():
            self._examine(apart, around, possible)
        self._history = apart[:, -1, -_HISTORY:].copy()
        self._last_peak = peak[:, -1].copy()

    def _undecided(self) -> Floats:
        """Per channel, the magnitude above which a value matters: as a new maximum or as an over."""
        return np.minimum(self._highest, 1.0)

    def _examine(self, apart: Samples, around: Floats, possible: np.ndarray) -> None:
        before = before_each(apart, self._history)
        channel, hop = np.nonzero(possible)
        # The loudest first: they raise the bar for the rest.
        order = np.argsort(-around[channel, hop], kind="stable")
        for first in range(0, order.size, _ROWS):
            rows = order[first : first + _ROWS]
            where = channel[rows], hop[rows]
            self._examine_rows(where[0], np.concatenate((before[where], apart[where]), axis=1))

    def _examine_rows(self, channel: np.ndarray, stretches: Samples) -> None:
        """Examine hops, each with the history before it: rows of (history + hop_frames) samples."""
        magnitude = np.abs(stretches)
        left = magnitude[:, _HALF_TAPS - 1 : _HALF_TAPS - 1 + self._hop]
        right = magnitude[:, _HALF_TAPS : _HALF_TAPS + self._hop]
        ends = np.maximum(left, right)
        unclipped = ends.max(axis=1) < FULL_SCALE
        if self._prune:
            bar = np.where(unclipped, self._undecided()[channel], self._highest[channel])
            slope = stretches[:, 1:] - stretches[:, :-1]
            bend = np.abs(slope[:, 1:] - slope[:, :-1]).max(axis=1)
            bar -= self._bend_gain * bend + _ROUNDING * magnitude.max(axis=1)
            row, at = np.nonzero(ends > bar.astype(np.float32)[:, np.newaxis])
        else:
            row, at = np.divmod(np.arange(ends.size), self._hop)
        if not row.size:
            return
        top = np.zeros(channel.size)
        windows = np.lib.stride_tricks.sliding_window_view(stretches, 2 * _HALF_TAPS, axis=1)
        for first in range(0, row.size, _WINDOWS):
            these = row[first : first + _WINDOWS]
            between = windows[these, at[first : first + _WINDOWS]].astype(np.float64) @ self._taps
            np.maximum.at(top, these, np.maximum(between.max(axis=1), -between.min(axis=1)))
        np.maximum.at(self._highest, channel, top)
        np.add.at(self._overs, channel, unclipped & (top > 1.0))


def _bend_gain(delays: Floats) -> float:
    """The largest sum of magnitudes of g, where delays = linear interpolation + g * second difference."""
    half = delays.shape[1] // 2
    along = np.arange(1, delays.shape[0] + 1) / (delays.shape[0] + 1)
    rest = delays.copy()
    rest[:, half - 1] -= 1.0 - along
    rest[:, half] -= along
    return float(np.abs(rest.cumsum(axis=1).cumsum(axis=1)).sum(axis=1).max())
