"""What an input carries while nobody plays: the room, the noise of the chain, and hum."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from app.inputs.synth.score import Desk
from dsp.decibels import AES17_OFFSET_DB, db_to_amplitude
from dsp.types import Floats, Samples

CHUNK_FRAMES = 4096
"""Noise is drawn in chunks of this size, each from its own seed."""
_OVERLAP = 512
_HARMONICS = ((1, 1.0), (2, 0.5), (3, 0.6), (4, 0.15), (5, 0.3), (6, 0.08), (7, 0.15))
_HUM_TABLE = 8192


class Room:
    """Noise and hum at the preamp's input, at a level that holds for a gain of 0 dB.

    Parameters
    ----------
    noise_dbfs
        RMS level (AES17) of the noise.
    rumble_hz
        Below this frequency the noise rises by 6 dB per octave, as in a lived-in room; 0 for the plain hiss
        of a cable.
    hum_hz
        Mains frequency, or None for no hum.
    hum_dbfs
        RMS level (AES17) of the hum with its harmonics.
    """

    def __init__(
        self,
        *,
        seed: int,
        rate_hz: int,
        channels: int,
        noise_dbfs: float,
        rumble_hz: float,
        hum_hz: float | None,
        hum_dbfs: float = -56.0,
    ) -> None:
        self._key = (seed, int(Desk.ROOM))
        self._rate_hz = rate_hz
        self._channels = channels
        self._transform = CHUNK_FRAMES + _OVERLAP
        self._colour = self._design(rumble_hz, noise_dbfs)
        self._hum_hz = hum_hz
        self._hum = _hum_cycle(hum_dbfs, self._harmonics_below(0.4 * rate_hz))

    def chunk(self, index: int) -> Samples:
        """Frames ``index * CHUNK_FRAMES`` to the next: (CHUNK_FRAMES, channels)."""
        before = (
            self._white(index - 1)[:, -_OVERLAP:]
            if index
            else np.zeros((self._channels, _OVERLAP), np.float32)
        )
        white = np.concatenate((before, self._white(index)), axis=1)
        # The filter is shorter than the overlap, so without the overlap no edge of a chunk is left.
        noise = np.fft.irfft(np.fft.rfft(white, axis=1) * self._colour, self._transform, axis=1)[:, _OVERLAP:]
        if self._hum_hz is not None:
            noise += self._hum_at(index * CHUNK_FRAMES, self._hum_hz)
        return noise.T.astype(np.float32)

    def _white(self, index: int) -> Samples:
        random = np.random.default_rng((*self._key, index))
        return random.standard_normal((self._channels, CHUNK_FRAMES), np.float32)

    def _design(self, rumble_hz: float, noise_dbfs: float) -> npt.NDArray[np.complex128]:
        """Response of a short linear-phase filter, of that RMS level for white noise of variance 1."""
        hz = np.fft.rfftfreq(_OVERLAP, 1.0 / self._rate_hz)
        wanted = 1.0 + rumble_hz / np.maximum(hz, 30.0)
        taps = np.fft.fftshift(np.fft.irfft(wanted)) * np.hanning(_OVERLAP)
        rms = db_to_amplitude(noise_dbfs - AES17_OFFSET_DB)
        return np.fft.rfft(taps * rms / np.sqrt(np.sum(taps**2)), self._transform)

    def _harmonics_below(self, highest_hz: float) -> tuple[tuple[int, float], ...]:
        hz = self._hum_hz or 50.0
        return tuple((n, a) for n, a in _HARMONICS if n * hz < highest_hz)

    def _hum_at(self, first_frame: int, hum_hz: float) -> Floats:
        frames = first_frame + np.arange(CHUNK_FRAMES, dtype=np.float64)
        turns = frames * hum_hz / self._rate_hz
        return np.interp((turns % 1.0) * _HUM_TABLE, np.arange(_HUM_TABLE + 1), self._hum)


def _hum_cycle(level_dbfs: float, harmonics: tuple[tuple[int, float], ...]) -> Floats:
    """One turn of the mains at an RMS level (AES17): (_HUM_TABLE + 1,), the last equal to the first."""
    turn = 2.0 * np.pi * np.arange(_HUM_TABLE + 1) / _HUM_TABLE
    cycle: Floats = np.zeros_like(turn)
    for n, share in harmonics:
        cycle += share * np.sin(n * turn + 0.7 * n)
    rms = math.sqrt(sum(share * share for _, share in harmonics) / 2.0)
    return cycle * (db_to_amplitude(level_dbfs - AES17_OFFSET_DB) / rms)
