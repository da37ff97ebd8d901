"""The standards' test signals, made from their definitions.

Every function yields blocks of float32 samples, so that a signal of minutes at 192 kHz needs no more memory
than one block. Levels are peak levels in dBFS; ``-inf`` is silence.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TypeAlias

import numpy as np

from dsp.decibels import db_to_amplitude
from dsp.types import Floats, Samples

SILENCE = -math.inf

Segment: TypeAlias = tuple[float, Sequence[float]]
"""Seconds, and the level of each channel."""


def tone(rate_hz: int, segments: Sequence[Segment], f_hz: int = 1000) -> Iterator[Samples]:
    """One running sine, in phase in all channels, whose level changes from segment to segment."""
    # A whole number of hertz repeats after a second at the latest; the table holds two, to cut from.
    cycle = np.sin(2.0 * math.pi / rate_hz * (f_hz * np.arange(rate_hz) % rate_hz))
    table = np.tile(cycle.astype(np.float32), 2)
    at_s, position = 0.0, 0
    for seconds, levels_dbfs in segments:
        at_s += seconds
        stop = round(at_s * rate_hz)
        gains = [np.float32(db_to_amplitude(level)) for level in levels_dbfs]
        while position < stop:
            frames = min(rate_hz, stop - position)
            first = position % rate_hz
            block = np.empty((frames, len(gains)), np.float32)
            for channel, gain in enumerate(gains):
                np.multiply(table[first : first + frames], gain, out=block[:, channel])
            yield block
            position += frames


def stereo(*segments: tuple[float, float]) -> list[Segment]:
    """Segments with the same level in both channels."""
    return [(seconds, (level, level)) for seconds, level in segments]


def phases(rate_hz: int, f_hz: float, level_dbfs: float, seconds: float, count: int) -> Iterator[Samples]:
    """A steady sine; the channels start at phases spread over half a turn."""
    frames = np.arange(round(seconds * rate_hz))[:, np.newaxis]
    shifts = np.arange(count) * (math.pi / count)
    wave = np.sin(2.0 * math.pi * f_hz / rate_hz * frames + shifts)
    yield (db_to_amplitude(level_dbfs) * wave).astype(np.float32)


def in_small_blocks(blocks: Iterator[Samples], frames: int) -> Iterator[Samples]:
    """The same signal as a driver would deliver it."""
    for block in blocks:
        for first in range(0, block.shape[0], frames):
            yield block[first : first + frames]


def faded(columns: Floats, rate_hz: int, fade_s: float = 0.010) -> Floats:
    """Columns with a straight fade at both ends."""
    frames = round(fade_s * rate_hz)
    ramp = np.arange(frames)[:, np.newaxis] / frames
    out = columns.copy()
    out[:frames] *= ramp
    out[-frames:] *= ramp[::-1]
    return out


def peaks_between_samples(rate_hz: int) -> Iterator[Samples]:
    """Tech 3341 cases 15 to 19, one a channel: steady sines whose peaks fall between samples."""
    rows = ((4, 0.50, 0.0), (4, 0.50, 45.0), (6, 0.50, 60.0), (8, 0.50, 67.5), (4, 1.41, 45.0))
    frames = np.arange(rate_hz // 2)
    columns = [
        amplitude * np.sin(2.0 * math.pi * frames / divisor + math.radians(phase))
        for divisor, amplitude, phase in rows
    ]
    yield faded(np.stack(columns, axis=1), rate_hz).astype(np.float32)


def peaks_between_grids(rate_hz: int) -> Iterator[Samples]:
    """Tech 3341 cases 20 to 23, one a channel: one loud period, decimated from four times the rate."""
    quiet = np.sin(2.0 * math.pi * np.arange(24) / 24.0)
    loud = np.sin(2.0 * math.pi * np.arange(16) / 16.0)
    periods = round(0.1 * rate_hz / 6.0)
    master = np.concatenate((0.5 * np.tile(quiet, periods), loud, 0.5 * np.tile(quiet, periods)))
    master = faded(master[:, np.newaxis], 4 * rate_hz)[:, 0]
    limited = np.convolve(master, low_pass(4), "same")
    frames = (limited.size - 3) // 4
    columns = [limited[offset : offset + 4 * frames : 4] for offset in range(4)]
    yield np.stack(columns, axis=1).astype(np.float32)


def low_pass(factor: int, half_length: int = 64) -> Floats:
    """A filter before taking every ``factor``-th sample: half the gain at the new Nyquist frequency."""
    at = np.arange(-half_length * factor, half_length * factor + 1)
    taps: Floats = np.sinc(at / factor) * np.kaiser(at.size, 8.0)
    taps /= taps.sum()
    return taps


def quantised(columns: Floats, bits: int, dither: np.random.Generator | None = None) -> Samples:
    """Rounded to the codes of a converter, after triangular dither of two codes' width where asked for."""
    codes = columns * 2.0 ** (bits - 1)
    if dither is not None:
        codes = codes + dither.random(columns.shape) - dither.random(columns.shape)
    return np.asarray(np.round(codes) / 2.0 ** (bits - 1), np.float32)
