"""The interface: a gain knob, a preamp that may overload, and a converter that ends at full scale."""

from __future__ import annotations

import math

import numpy as np

from dsp.decibels import db_to_amplitude
from dsp.types import Samples

TURN_S = 0.010
"""How long the gain takes to follow the knob: short enough to feel at once, long enough not to click."""
OVERLOAD_DBFS = -17.0
"""Where an overloading preamp goes flat: with the gain at 0, full effort is 6 dB too much for it."""


class Preamp:
    """Turns what comes in at the socket into samples.

    Not thread-safe: whoever reads the samples hands in where the knob stands.
    """

    def __init__(self, gain_db: float, rate_hz: int, *, overload: bool) -> None:
        self._turn_frames = max(1, round(TURN_S * rate_hz))
        self._from_db = gain_db
        self._to_db = gain_db
        self._turned = self._turn_frames
        """Frames since the knob was turned, up to the end of the turn."""
        self._limit = db_to_amplitude(OVERLOAD_DBFS) if overload else None

    def process(self, frames: Samples, gain_db: float) -> Samples:
        """Amplify, overload and convert: (frames, channels) in and out, within ±1."""
        out = frames * self._gain(frames.shape[0], gain_db)
        if self._limit is not None:
            out = _overload(out, self._limit)
        return np.clip(out, -1.0, 1.0, out=out)

    def _gain(self, frames: int, gain_db: float) -> Samples | np.float32:
        if gain_db != self._to_db:
            self._from_db = self._gain_db_after(0)
            self._to_db = gain_db
            self._turned = 0
        if self._turned >= self._turn_frames:
            return np.float32(db_to_amplitude(self._to_db))
        share = np.minimum(1.0, (self._turned + 1.0 + np.arange(frames)) / self._turn_frames)
        curve_db = self._from_db + (self._to_db - self._from_db) * (0.5 - 0.5 * np.cos(np.pi * share))
        self._turned = min(self._turn_frames, self._turned + frames)
        return np.power(10.0, curve_db / 20.0).astype(np.float32)[:, np.newaxis]

    def _gain_db_after(self, frames: int) -> float:
        share = min(1.0, (self._turned + frames) / self._turn_frames)
        return self._from_db + (self._to_db - self._from_db) * (0.5 - 0.5 * math.cos(math.pi * share))


def _overload(samples: Samples, limit: float) -> Samples:
    """Straight up to 0.9 of the limit, bent up to 1.1 of it, flat beyond."""
    size = np.abs(samples)
    over = np.clip(size - np.float32(0.9 * limit), 0.0, 0.2 * limit)
    bent = np.minimum(size, np.float32(0.9 * limit)) + over - over * over / np.float32(0.4 * limit)
    return np.copysign(bent, samples)
