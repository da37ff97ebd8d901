"""A-weighting, applied to spectra: a digital filter would be off by several decibels near half the rate."""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from dsp.types import Floats

# IEC 61672-1:2013 Annex E: pole frequencies in hertz, and the gain that makes 1 kHz read 0 dB.
_F1_HZ, _F2_HZ, _F3_HZ, _F4_HZ = 20.598997, 107.65265, 737.86223, 12194.217
_GAIN_AT_1KHZ = 10.0 ** (-1.9997 / 20.0)


def a_weighting_power(f_hz: npt.NDArray[np.floating]) -> Floats:
    """Power gain of the A-weighting at some frequencies (IEC 61672-1 Annex E); 1 at 1 kHz, 0 at 0 Hz."""
    f2 = np.square(np.asarray(f_hz, np.float64))
    gain = (_F4_HZ**2 * f2**2) / (
        (f2 + _F1_HZ**2) * np.sqrt((f2 + _F2_HZ**2) * (f2 + _F3_HZ**2)) * (f2 + _F4_HZ**2)
    )
    return np.square(gain / _GAIN_AT_1KHZ)


@cache
def hann(frames: int) -> Floats:
    """A periodic Hann window, scaled so that a power spectrum keeps the mean square of noise."""
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(frames) / frames)
    scaled: Floats = window / np.sqrt(np.mean(window**2))
    return scaled


def power_spectrum(blocks: npt.NDArray[np.floating]) -> Floats:
    """One-sided power spectrum of blocks, (…, frames) → (…, frames // 2 + 1).

    Bins add up to the block's mean square on average (Parseval's theorem, Hann window).
    """
    frames = blocks.shape[-1]
    # In the precision of the samples: single precision is off by parts in a million here, and twice as fast.
    spectrum = np.fft.rfft(blocks * hann(frames).astype(blocks.dtype), axis=-1)
    power = np.square(spectrum.real, dtype=np.float64) + np.square(spectrum.imag, dtype=np.float64)
    power[..., 1 : (frames + 1) // 2] *= 2.0
    power /= frames**2
    return power
