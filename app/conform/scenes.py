"""Test signals that imitate a room, a hum and a player: noise, held notes, overloads.

Where :mod:`app.conform.signals` follows a standard's table, these have their truth by construction: the
noise is put in at a known level, the clip at a known frame. All randomness is seeded.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from app.conform.signals import faded, low_pass
from dsp.decibels import AES17_OFFSET_DB, db_to_amplitude
from dsp.types import Floats, Samples

NOISE_DBFS = -70.0
_BLOCK_S = 1.0


def in_blocks(columns: Floats | Samples, rate_hz: int) -> Iterator[Samples]:
    """Cut into blocks of a second."""
    frames = round(_BLOCK_S * rate_hz)
    for first in range(0, columns.shape[0], frames):
        yield columns[first : first + frames].astype(np.float32)


def noise(
    rate_hz: int, seconds: float, level_dbfs: float, low_hz: float, high_hz: float, slope: float, seed: int
) -> Floats:
    """Gaussian noise of an exact RMS level (AES17) between two frequencies; power falls with f**-slope."""
    frames = round(seconds * rate_hz)
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal(frames))
    f_hz = np.fft.rfftfreq(frames, 1.0 / rate_hz)
    shape = np.zeros(f_hz.size)
    band = (f_hz >= low_hz) & (f_hz <= high_hz)
    shape[band] = f_hz[band] ** (-slope / 2.0)
    wave = np.fft.irfft(spectrum * shape, frames)
    rms = db_to_amplitude(level_dbfs - AES17_OFFSET_DB)
    return np.asarray(wave * (rms / math.sqrt(float(np.mean(wave**2)))))


def playing(
    rate_hz: int, seconds: float, share: float, notes_hz: Sequence[float], peak_dbfs: float = -20.0
) -> Floats:
    """Plucked notes with six harmonics, two a second, during the first ``share`` of every five seconds."""
    wave = np.zeros(round(seconds * rate_hz))
    played_s = 5.0 * share
    note = 0
    for start_s in np.arange(0.0, seconds, 5.0):
        for offset_s in np.arange(0.0, played_s, 0.5):
            # The hand damps the last note; nothing rings into the pause.
            frames = round(min(0.5, played_s - offset_s) * rate_hz)
            first = round((start_s + offset_s) * rate_hz)
            frames = min(frames, wave.size - first)
            if frames > 2 * round(0.005 * rate_hz):
                pluck = _pluck(rate_hz, frames, notes_hz[note % len(notes_hz)])
                wave[first : first + frames] = faded(pluck[:, np.newaxis], rate_hz, 0.005)[:, 0]
            note += 1
    highest = float(np.abs(wave).max())
    return wave * (db_to_amplitude(peak_dbfs) / highest) if highest else wave


def _pluck(rate_hz: int, frames: int, f_hz: float) -> Floats:
    t_s = np.arange(frames) / rate_hz
    partials = sum(np.sin(2.0 * math.pi * k * f_hz * t_s) / k for k in range(1, 7))
    return np.asarray(partials * np.exp(-4.0 * t_s))


def hum(rate_hz: int, seconds: float, f_hz: float, level_dbfs: float, harmonics: int = 6) -> Floats:
    """A mains tone: the fundamental at a level, the k-th harmonic 1/k of it."""
    t_s = np.arange(round(seconds * rate_hz)) / rate_hz
    # Phases of no particular order: in phase they would add up to a saw-tooth.
    partials = sum(np.sin(2.0 * math.pi * k * f_hz * t_s + k * k) / k for k in range(1, harmonics + 1))
    return np.asarray(db_to_amplitude(level_dbfs) * partials)


def chords(rate_hz: int, seconds: float, seed: int) -> Floats:
    """Chords of three notes, one a second, each up to 12 dB below the loudest; the peak is 1."""
    rng = np.random.default_rng(seed)
    wave = np.zeros(round(seconds * rate_hz))
    for first in range(0, wave.size - rate_hz + 1, rate_hz):
        root_hz = 110.0 * 2.0 ** (rng.integers(0, 13) / 12.0)
        chord = sum(_pluck(rate_hz, rate_hz, root_hz * ratio) for ratio in (1.0, 1.2599, 1.4983))
        level = db_to_amplitude(-float(rng.uniform(0.0, 12.0)))
        wave[first : first + rate_hz] = level * np.asarray(chord) / float(np.max(np.abs(chord)))
    return wave / float(np.abs(wave).max())


def overloaded(wave: Floats, rate_hz: int, factor: int, excess_db: float, ceiling: float) -> Floats:
    """Cut flat ``excess_db`` under the peak, then coupled through 3 Hz and brought down to the lower rate."""
    limit = float(np.abs(wave).max()) / db_to_amplitude(excess_db)
    cut = np.clip(wave, -limit, limit) * (ceiling / limit)
    limited = np.convolve(cut, low_pass(factor, 16), "same")[::factor]
    spectrum = np.fft.rfft(limited)
    f_hz = np.fft.rfftfreq(limited.size, 1.0 / rate_hz)
    coupled = np.fft.irfft(spectrum * (1j * f_hz / (1j * f_hz + 3.0)), limited.size)
    return np.asarray(coupled)


def square_synth(rate_hz: int, seconds: float, f_hz: float, peak_dbfs: float) -> Floats:
    """A band-limited square wave with a beat of swelling and fading."""
    t_s = np.arange(round(seconds * rate_hz)) / rate_hz
    odd = range(1, math.floor(rate_hz / 2.2 / f_hz) + 1, 2)
    wave = sum(np.sin(2.0 * math.pi * k * f_hz * t_s) / k for k in odd)
    wave = np.asarray(wave) * (0.6 + 0.4 * np.sin(2.0 * math.pi * 0.7 * t_s))
    return np.asarray(wave * (db_to_amplitude(peak_dbfs) / float(np.abs(wave).max())))
