"""Excitation patterns over time: how strongly a sound drives each band of hearing, twenty times a second.

Spectra of 100 ms under a Hann window, whose effective length is half of that, are weighted by the auditory
filters of :mod:`dsp.erb`. The grid in time and the bands are the same at every sample rate, so sounds of
different rates can be laid over each other without resampling.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from dsp.erb import BAND_CENTRES_HZ, roex_weights
from dsp.types import Samples

CELLS_PER_S = 20
"""Cell k holds the sound from ``k / CELLS_PER_S`` seconds on, under a window two cells long."""
BANDS = int(BAND_CENTRES_HZ.size)

Pattern: TypeAlias = npt.NDArray[np.float32]
"""(cells, BANDS): power in each band, where a sine of full scale at the band's centre has about 1."""

_HIGHEST_HZ = 20_000.0
_MOST_VALUES = 1 << 17
"""Samples under windows at a time: bounds the memory, and stays near the processor."""


def ear_weights(channels: int) -> tuple[float, ...]:
    """What each channel adds to the power at an ear, the mean of both.

    One channel is heard on both sides in full, of two each on its own. Five and six are mixed down after
    ITU-R BS.775 (centre and surround 3 dB down, no LFE). More are panned at constant power.
    """
    if channels == 1:
        return (1.0,)
    if channels == 5:
        return (0.5, 0.5, 0.5, 0.25, 0.25)
    if channels == 6:
        return (0.5, 0.5, 0.5, 0.0, 0.25, 0.25)
    return (0.5,) * channels


class Excitation:
    """Measures the excitation of a stream.

    Parameters
    ----------
    rate_hz
        1000 or more.
    channels
        Columns of the samples; see :func:`ear_weights`.
    """

    def __init__(self, rate_hz: int, channels: int) -> None:
        if rate_hz < 1000:
            raise ValueError(f"rate_hz is {rate_hz}; 1000 or more is expected (Hz, not kHz)")
        self._rate_hz = rate_hz
        self._ears = np.array(ear_weights(channels), np.float32)
        # An even window, so that the spectrum has a bin at half the rate.
        frames = 2 * round(rate_hz / CELLS_PER_S)
        self._window = (0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(frames) / frames)).astype(np.float32)
        frequencies = np.linspace(0.0, rate_hz / 2, frames // 2 + 1)
        sides = np.full(frequencies.size, 2.0)
        sides[[0, -1]] = 1.0
        # Parseval's theorem, and twice the mean square: a sine at full scale has power 1 (AES17).
        scale = 2.0 * sides / (frames * np.square(self._window, dtype=np.float64).sum())
        self._bins = int(np.count_nonzero(frequencies <= _HIGHEST_HZ))
        self._weights = (roex_weights(frequencies) * scale[:, np.newaxis])[: self._bins].astype(np.float32)
        self._cell = 0
        self._begin = 0
        self._rest: Samples = np.empty((0, channels), np.float32)

    def process(self, block: Samples) -> Pattern:
        """Take finite samples, ``(frames, channels)``, in blocks of any size; return the cells now whole."""
        samples = np.concatenate((self._rest, block))
        length = self._window.size
        per_cell = self._rate_hz / CELLS_PER_S
        spare = self._begin + samples.shape[0] - length
        cells = np.arange(self._cell, max(self._cell, int(spare / per_cell) + 2))
        starts = np.rint(cells * per_cell).astype(np.int64)
        starts = starts[starts <= spare] - self._begin
        found = self._measure(samples, starts)
        self._cell += starts.size
        keep = min(round(self._cell * per_cell) - self._begin, samples.shape[0])
        self._begin += keep
        self._rest = samples[keep:].copy()
        return found

    def finish(self) -> Pattern:
        """End the stream: the cells that began, filled up with silence."""
        return self.process(np.zeros((self._window.size - 1, self._ears.size), np.float32))

    def _measure(self, samples: Samples, starts: npt.NDArray[np.int64]) -> Pattern:
        out = np.empty((starts.size, BANDS), np.float32)
        length = self._window.size
        at_a_time = max(1, _MOST_VALUES // length)
        heard = np.flatnonzero(self._ears)
        for first in range(0, starts.size, at_a_time):
            some = slice(first, first + at_a_time)
            power = np.zeros((starts[some].size, self._bins), np.float32)
            for channel in heard:
                line = np.ascontiguousarray(samples[:, channel])
                windows = np.lib.stride_tricks.sliding_window_view(line, length)[starts[some]]
                spectra = np.fft.rfft(windows * self._window, axis=1)[:, : self._bins]
                power += self._ears[channel] * (np.square(spectra.real) + np.square(spectra.imag))
            out[some] = power @ self._weights
        return out
