"""The slow average: how loud the playing reads on a standard volume indicator.

IEC 60268-17 asks for a pointer that reaches 99 % of a suddenly applied tone's reading in 300 ms and then
swings 1 to 1.5 % past it. A second-order system with a damping of 0.8127 and a natural frequency of
2.1505 Hz does exactly that (1.25 %), driven by the rectified signal and calibrated so that a sine reads its
AES17 level.
"""

from __future__ import annotations

import math

import numpy as np

from dsp.decibels import amplitude_to_db
from dsp.hops import before_each, planar
from dsp.interpolation import Blockwise, fractional_delays
from dsp.types import Floats, Samples

DAMPING = 0.812717
"""Overshoot exp(-π ζ / sqrt(1 - ζ²)) = 1.25 %, the middle of the permitted range."""
NATURAL_HZ = 2.150488
"""Makes the step response cross 99 % at 300 ms for the first time."""

_SINE_CALIBRATION = math.pi / 2.0
"""The rectified mean of a sine is 2/π of its peak."""
_FLOOR = 1e-10
"""-200 dBFS, below anything that a converter holds: what is left of the pointer's swing reads as silence."""

_BATCH_HOPS = 128
"""Hops settled at a time: they stay in the processor's cache, and one matrix product moves the pointer."""

# Rectifying bends the waveform, and the bends alias: |sin| has harmonics at every even multiple 2k of the
# tone with amplitude 2/(4k² - 1) of its mean. Where 2k·f is a multiple m of the sampling rate, that harmonic
# folds onto 0 Hz, and mean |x| is wrong by an amount that depends on the phase: f = m·fs/2k. With k = 3
# (fs/6) it is 0.85 dB, with k = 7 (fs/14) 0.15 dB, with k = 8 (fs/16) 0.12 dB. So plain samples will do up to
# fs/16; above, the signal is rectified at four times the rate, where k = 9 (0.09 dB) is the worst up to
# 10 kHz at 44.1 kHz and k = 6 (0.20 dB) up to 16 kHz.
#
# How high a hop's content lies shows in its correlation with itself one sample later, which for a tone is
# cos(2π f/fs) and for a mixture the average of that, weighted by power. Of a rendered band with drums, 1 % of
# the hops came out below the limits. Between them the two means are blended, so that no reading hinges on
# rounding.
_PLAIN_ABOVE = math.cos(2.0 * math.pi / 16.0)
_RAISED_BELOW = math.cos(2.0 * math.pi / 14.0)

_FACTOR = 4
_HALF_TAPS = 16
_BETA = 6.0  # flat within 0.01 dB up to 0.4 of the sampling rate, 16 kHz at 44.1 kHz and beyond
_HISTORY = 2 * _HALF_TAPS - 1


class SlowAverage:
    """The slow average at the end of each hop.

    Hops whose content is high in frequency are rectified between the samples too, 16 frames late: the
    interpolation needs that many samples of what follows.

    Parameters
    ----------
    rate_hz
        Sampling rate.
    channels
        Columns of the samples.
    hop_frames
        Frames in a hop, 31 or more. The mean of the rectified signal over a hop drives the pointer's exact
        response to such a staircase; with 10 ms the 300 ms come out 0.5 ms long.

    References
    ----------
    IEC 60268-17; AES17-2020, 3.12; the pointer's law after Chinn, Gannett & Morris, "A new standard volume
    indicator and reference level", Bell System Technical Journal 19(1), 1940.
    """

    def __init__(self, rate_hz: int, channels: int, hop_frames: int) -> None:
        if hop_frames < _HISTORY:
            raise ValueError(f"hop_frames is {hop_frames}; {_HISTORY} or more is expected")
        self._hop = hop_frames
        self._free, self._forced = _responses(hop_frames / rate_hz)
        # float64: what a float32 product rounds to depends on how many hops share it.
        self._between = Blockwise(fractional_delays(_HALF_TAPS, _FACTOR, _BETA), hop_frames, np.float64)
        self._state = np.zeros((2, channels))
        self._history: Samples = np.zeros((channels, _HISTORY), np.float32)

    def process(self, hops: Samples) -> Floats:
        """Take in whole hops.

        Parameters
        ----------
        hops
            (hops * hop_frames, channels), finite.

        Returns
        -------
        Floats
            (hops, channels): dBFS (AES17) at the end of each hop. ``-inf`` is silence, and also where the
            pointer, after a sudden stop, swings below its rest.
        """
        step = _BATCH_HOPS * self._hop
        return np.concatenate([self._batch(hops[at : at + step]) for at in range(0, hops.shape[0], step)])

    def _batch(self, hops: Samples) -> Floats:
        apart = planar(hops, self._hop)
        magnitude = np.abs(apart)
        with np.errstate(over="ignore"):
            rectified = magnitude.sum(axis=2).astype(np.float64)
        if not np.isfinite(rectified).all():  # a damaged float file: its numbers fit, their sum does not
            rectified = magnitude.sum(axis=2, dtype=np.float64)
        rectified /= self._hop
        self._raise_rate(apart, rectified)
        self._history = apart[:, -1, -_HISTORY:].copy()
        pointer = self._respond(rectified.T * _SINE_CALIBRATION)
        return amplitude_to_db(np.where(pointer > _FLOOR, pointer, 0.0))

    def _raise_rate(self, apart: Samples, rectified: Floats) -> None:
        """Replace the rectified means, (channels, hops) and in place, where plain samples will not do."""
        power = np.einsum("chf,chf->ch", apart, apart)
        lagged = np.einsum("chf,chf->ch", apart[..., 1:], apart[..., :-1])
        channel, hop = np.nonzero(lagged < _PLAIN_ABOVE * power)
        if not channel.size:
            return
        before = before_each(apart, self._history)
        where = channel, hop
        with np.errstate(invalid="ignore"):  # sums that overflowed
            share = (_PLAIN_ABOVE - lagged[where] / power[where]) / (_PLAIN_ABOVE - _RAISED_BELOW)
        share = np.fmin(np.fmax(share.astype(np.float64), 0.0), 1.0)  # which take nan for 0
        mean = self._raised_mean(np.concatenate((before[where], apart[where]), axis=1))
        rectified[where] += share * (mean - rectified[where])

    def _raised_mean(self, stretches: Samples) -> Floats:
        """Mean magnitude of each row at four times the rate; rows are a hop with its history before it."""
        on_samples = stretches[:, _HALF_TAPS - 1 : _HALF_TAPS - 1 + self._hop]
        total = self._between.total(stretches) + np.abs(on_samples).sum(axis=1, dtype=np.float64)
        return np.asarray(total / (self._hop * _FACTOR))

    def _respond(self, drive: Floats) -> Floats:
        """Move the pointer: (hops, channels) of drive to (hops, channels) of deflection."""
        count = drive.shape[0]
        states = self._free[:, :count] @ self._state + self._forced[:, :count, :count] @ drive
        self._state = states[:, -1].copy()
        return np.asarray(states[0])


def _responses(hop_s: float) -> tuple[Floats, Floats]:
    """What the state (deflection, velocity) at the end of hops 0, 1, … owes to its past.

    The exact solution for a drive that is constant during each hop (zero-order hold).

    Returns
    -------
    tuple of Floats
        ``free`` (2, hops, 2), by the state before hop 0, and ``forced`` (2, hops, hops), by the drives.
    """
    omega = 2.0 * math.pi * NATURAL_HZ
    decay = DAMPING * omega
    swing = omega * math.sqrt(1.0 - DAMPING**2)
    sine, cosine = math.sin(swing * hop_s), math.cos(swing * hop_s)
    step = math.exp(-decay * hop_s) * np.array(
        [
            [cosine + decay / swing * sine, sine / swing],
            [-(omega**2) / swing * sine, cosine - decay / swing * sine],
        ]
    )
    # A constant drive of 1 leaves the pointer at rest at 1.
    kick = np.array([1.0, 0.0]) - step[:, 0]
    free = np.empty((2, _BATCH_HOPS, 2))
    forced = np.zeros((2, _BATCH_HOPS, _BATCH_HOPS))
    power = np.eye(2)
    for lag in range(_BATCH_HOPS):
        later = np.arange(lag, _BATCH_HOPS)
        forced[:, later, later - lag] = (power @ kick)[:, np.newaxis]
        power = step @ power
        free[:, lag] = power
    return free, forced
