"""True peak: the highest magnitude of the waveform, between the samples too.

ITU-R BS.1770-5, Annex 2, asks for at least four times oversampling below 96 kHz. This reads a grid of 768 kHz
or nearly so, and pays for it only where a maximum can be, which it proves beforehand (see :class:`TruePeak`).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dsp.clips import FULL_SCALE
from dsp.decibels import amplitude_to_db
from dsp.hops import before_each, planar, windows
from dsp.interpolation import Blockwise, bend_gain, fractional_delays
from dsp.peaks import hop_peaks
from dsp.types import Floats, Samples

_HALF_TAPS = 32
_BETA = 5.0  # flat within 0.02 dB up to 0.45 of the sampling rate
_HISTORY = 2 * _HALF_TAPS - 1
_COARSE = 4
_GRID_HZ = 768_000
_BATCH_HOPS = 128
"""Hops searched at a time: they stay in the processor's cache."""
_ROWS = 128
_WINDOWS = 4096
_ROUNDING = 2e-5
"""Of the magnitudes around: more than float32 arithmetic can be off in a bound, yet only 0.0002 dB."""
_NO_BOUNDS_ABOVE = 1e30
"""Damaged float files hold such numbers, whose float32 products overflow."""

_Rows = npt.NDArray[np.intp]


def oversampling(rate_hz: int) -> int:
    """How many times the rate is raised: 16 below 96 kHz, 8 below 192 kHz, 4 from there on.

    On a grid this fine a tone at 0.45 of a 48 kHz rate reads at most 0.034 dB low (20·log10 cos(π f/n)).
    """
    factor = 16
    while factor > _COARSE and rate_hz * factor // 2 >= _GRID_HZ:
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
        Frames in a hop, 63 or more.
    prune
        False evaluates everything; the figures are the same.

    Notes
    -----
    The value between samples n and n + 1 is :math:`y = \sum_k h_k x_{n+k}`. Three bounds, each dearer and
    tighter than the one before, decide where it need not be evaluated:

    1. :math:`|y| \le \|h\|_1 \max|x|`, from the peaks of the hop and the one before it, which are known.
    2. h and linear interpolation both reproduce constants and straight lines, so their difference has a
       double zero at z = 1: it is :math:`g * \delta^2`, a filter g of the bend, the second difference
       :math:`\delta^2 x_n = x_{n-1} - 2 x_n + x_{n+1}`. Hence :math:`|y| \le \max|x| + \|g\|_1
       \max|\delta^2 x|`. A 1 kHz tone at 48 kHz bends by 1.7 % of its peak, so in ordinary music hardly a hop
       is left that does not hold the maximum.
    3. The same between the points of a grid four times as fine, where the linear interpolation runs between
       neighbours a quarter of a sample apart and :math:`\|g\|_1` is some fifteen times smaller.

    The reading lags 32 frames behind the samples; :meth:`flush` brings in the last ones.
    """

    def __init__(self, rate_hz: int, channels: int, hop_frames: int, *, prune: bool = True) -> None:
        if hop_frames < _HISTORY:
            raise ValueError(f"hop_frames is {hop_frames}; {_HISTORY} or more is expected")
        self._hop = hop_frames
        self._prune = prune
        factor = oversampling(rate_hz)
        fine = fractional_delays(_HALF_TAPS, factor, _BETA)
        self._taps = np.ascontiguousarray(fine.T)
        self._coarse = Blockwise(fractional_delays(_HALF_TAPS, _COARSE, _BETA), hop_frames, np.float32)
        self._gain = float(np.abs(fine).sum(axis=1).max()) + _ROUNDING
        self._bend_gain = bend_gain(fine, factor)
        self._coarse_bend_gain = bend_gain(fine, factor // _COARSE)
        self._history: Samples = np.zeros((channels, _HISTORY), np.float32)
        self._last_peak = np.zeros((channels, 1))
        self._last_bend = np.zeros((channels, 1))
        self._highest = np.zeros(channels)
        self._highest_before = np.zeros(channels)
        self._overs = np.zeros(channels)

    @property
    def max_dbtp(self) -> Floats:
        """(channels,): the highest since the start or the last reset, never below the sample peak."""
        return amplitude_to_db(self._highest)

    @property
    def overall_dbtp(self) -> Floats:
        """(channels,): the highest since the start, resets or not."""
        return amplitude_to_db(np.maximum(self._highest, self._highest_before))

    @property
    def overs(self) -> Floats:
        """(channels,): hops whose true peak passes full scale while none of their samples counts as clipped.

        Counted since the start, resets or not.
        """
        return self._overs.copy()

    def reset(self) -> None:
        """Start :attr:`max_dbtp` anew; the stream goes on."""
        np.maximum(self._highest_before, self._highest, out=self._highest_before)
        self._highest[:] = 0.0

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
        if peaks is None:
            peaks = hop_peaks(hops, self._hop)
        # Before anything is searched: the higher the maximum known, the less remains to be looked at.
        np.maximum(self._highest, peaks.max(axis=0), out=self._highest)
        for first in range(0, peaks.shape[0], _BATCH_HOPS):
            some = slice(first, first + _BATCH_HOPS)
            self._batch(hops[first * self._hop : some.stop * self._hop], peaks[some].T)

    def _batch(self, hops: Samples, peak: Floats) -> None:
        """Take in a few hops and their peaks, (channels, hops)."""
        apart = planar(hops, self._hop)
        around = np.maximum(peak, np.concatenate((self._last_peak, peak[:, :-1]), axis=1))
        if self._prune and around.max() < _NO_BOUNDS_ABOVE:
            self._search(apart, around)
        else:
            self._evaluate_all(apart)
        self._history = apart[:, -1, -_HISTORY:].copy()
        self._last_peak = peak[:, -1:].copy()

    def _search(self, apart: Samples, around: Floats) -> None:
        """Examine the hops that the first two bounds leave."""
        bar = np.minimum(self._highest, 1.0)[:, np.newaxis]
        if not (around * self._gain > bar).any():
            # Not measured, but a bend is never more than four times the magnitudes that make it.
            self._last_bend = 4.0 * around[:, -1:]
            return
        own = self._bends(apart)
        bend = np.maximum(own, np.concatenate((self._last_bend, own[:, :-1]), axis=1))
        self._last_bend = own[:, -1:]
        channel, hop = np.nonzero(around * (1.0 + _ROUNDING) + self._bend_gain * bend > bar)
        if not channel.size:
            return
        before = before_each(apart, self._history)
        # The loudest first: they raise the bar for the rest.
        order = np.argsort(-around[channel, hop], kind="stable")
        for first in range(0, order.size, _ROWS):
            rows = order[first : first + _ROWS]
            where = channel[rows], hop[rows]
            stretches = np.concatenate((before[where], apart[where]), axis=1)
            self._examine(channel[rows], stretches, around[where], bend[where])

    def _bends(self, apart: Samples) -> Floats:
        """(channels, hops): the largest second difference about each sample but the hop's last."""
        channels, hops, frames = apart.shape
        line = np.concatenate((self._history[:, -2:], apart.reshape(channels, -1)), axis=1)
        slope = line[:, 1:] - line[:, :-1]
        bend = np.subtract(slope[:, 1:], slope[:, :-1], out=line[:, 2:])
        np.abs(bend, out=bend)
        return np.asarray(bend.reshape(channels, hops, frames).max(axis=2), np.float64)

    def _examine(self, channel: _Rows, stretches: Samples, around: Floats, bend: Floats) -> None:
        """Evaluate what the third bound leaves of some hops.

        Rows are hops: ``stretches`` their samples with the history before them, ``around`` and ``bend`` the
        largest magnitude and second difference in there.
        """
        ends = self._ends(stretches)
        unclipped = ends.max(axis=1) < FULL_SCALE
        reached = np.maximum(self._coarse.highest(stretches), ends)
        rounding = _ROUNDING * around
        sure = reached.max(axis=1) - rounding
        highest = self._highest.copy()
        np.maximum.at(highest, channel, sure)
        bar = highest[channel]
        undecided = unclipped & (sure <= 1.0)
        bar[undecided] = np.minimum(bar[undecided], 1.0)
        bar -= self._coarse_bend_gain * bend + rounding
        row, at = np.nonzero(reached > bar.astype(np.float32)[:, np.newaxis])
        top = self._evaluate(stretches, row, at)
        np.maximum.at(self._highest, channel, top)
        np.add.at(self._overs, channel, unclipped & (np.maximum(top, sure) > 1.0))

    def _evaluate_all(self, apart: Samples) -> None:
        before = before_each(apart, self._history)
        for channel in range(apart.shape[0]):
            for hop in range(apart.shape[1]):
                stretch = np.concatenate((before[channel, hop], apart[channel, hop]))[np.newaxis]
                at = np.arange(self._hop)
                top = self._evaluate(stretch, np.zeros_like(at), at)[0]
                self._highest[channel] = max(self._highest[channel], top)
                self._overs[channel] += top > 1.0 and self._ends(stretch).max() < FULL_SCALE
        self._last_bend = np.full_like(self._last_bend, np.inf)

    def _ends(self, stretches: Samples) -> Samples:
        """The larger magnitude of the two samples that bound each interval of a hop."""
        magnitude = np.abs(stretches[:, _HALF_TAPS - 1 : _HALF_TAPS + self._hop])
        return np.maximum(magnitude[:, :-1], magnitude[:, 1:])

    def _evaluate(self, stretches: Samples, row: _Rows, at: _Rows) -> Floats:
        """Per row, the highest magnitude in the intervals named, on the fine grid."""
        top = np.zeros(stretches.shape[0])
        stretch = windows(stretches, 2 * _HALF_TAPS)
        for first in range(0, row.size, _WINDOWS):
            some = slice(first, first + _WINDOWS)
            between = stretch[row[some], at[some]].astype(np.float64) @ self._taps
            np.maximum.at(top, row[some], np.abs(between).max(axis=1))
        return top
