"""Noise in a band: breath, sibilants, wires and cymbals."""

from __future__ import annotations

import numpy as np

from dsp.types import Samples


def hiss(frames: int, low_hz: float, high_hz: float, rate_hz: int, random: np.random.Generator) -> Samples:
    """Noise between two frequencies with soft edges, RMS 1: (frames,)."""
    # A length that the transform likes; a prime one would take many times as long.
    size = -(-frames // 1024) * 1024
    spectrum = np.fft.rfft(random.standard_normal(size, np.float32))
    hz = np.fft.rfftfreq(size, 1.0 / rate_hz)
    rising = 1.0 / (1.0 + (low_hz / np.maximum(hz, 1.0)) ** 4)
    falling = 1.0 / (1.0 + (hz / min(high_hz, 0.45 * rate_hz)) ** 4)
    noise = np.fft.irfft(spectrum * rising * falling, size)[:frames]
    return np.asarray(noise / np.sqrt(np.mean(noise**2)), np.float32)


def swell(frames: int, rise_frames: int, fall_frames: int) -> Samples:
    """An envelope that rises, stays and falls along half-cosines: (frames,), 0 to 1."""
    place = np.arange(frames, dtype=np.float32)
    up = np.minimum(1.0, (place + 1.0) / max(1, min(rise_frames, frames)))
    down = np.minimum(1.0, (frames - place) / max(1, min(fall_frames, frames)))
    return np.asarray((0.5 - 0.5 * np.cos(np.pi * up)) * (0.5 - 0.5 * np.cos(np.pi * down)), np.float32)
