"""Whole numbers from sound files as float32, several times faster than libsndfile turns them into it.

A converter's numbers fit a float32 exactly, so the way there changes no bit.
"""

from __future__ import annotations

from contextlib import suppress
from typing import Any

import numpy as np
import numpy.typing as npt

from dsp.types import Samples

_LITTLE = ("FILE", "LITTLE")
_RIFF = ("WAV", "WAVEX", "RF64")


def read_samples(file: Any, frames: int) -> Samples:
    """Read so many frames, fewer at the end: (frames, channels) at ±1.0.

    Parameters
    ----------
    file
        A ``soundfile.SoundFile`` that is read by nothing but this.
    """
    if file.format in _RIFF and file.subtype == "PCM_16":
        return of_16_bit(file.read(frames, dtype="int16", always_2d=True))
    if file.format in _RIFF and file.subtype == "PCM_24" and file.endian in _LITTLE:
        samples = _read_24_bit(file, frames)
        if samples.shape[0] == frames:
            return samples
        # The end, or damage, about which libsndfile says more when it is asked for samples.
        rest = file.read(frames - samples.shape[0], dtype="float32", always_2d=True)
        return np.concatenate((samples, rest)) if rest.shape[0] else samples
    return np.asarray(file.read(frames, dtype="float32", always_2d=True), np.float32)


def of_16_bit(numbers: npt.NDArray[np.int16]) -> Samples:
    """Samples, (frames, channels) with each channel in one stretch, of as many numbers."""
    return np.multiply(numbers.T, np.float32(2.0**-15), dtype=np.float32, order="C").T


def of_24_bit(packed: npt.NDArray[np.uint8], channels: int) -> Samples:
    """Samples, (frames, channels) with each channel in one stretch, of three bytes each, the lowest first.

    Parameters
    ----------
    packed
        One byte that does not matter, and then the bytes of whole frames.
    """
    frames = (packed.size - 1) // (3 * channels)
    # Four bytes, of which the lowest belongs to the sample before, or to nobody.
    four = np.ndarray((channels, frames), "<i4", packed, strides=(3, 3 * channels))
    apart = four.astype(np.int32, order="C")
    apart &= np.int32(-256)
    samples = apart.astype(np.float32)
    samples *= np.float32(2.0**-31)
    return samples.T


def _read_24_bit(file: Any, frames: int) -> Samples:
    """As far as libsndfile hands out bytes."""
    import soundfile  # already loaded by whoever opened the file

    frame_bytes = 3 * file.channels
    packed = np.empty(1 + frames * frame_bytes, np.uint8)
    got = 0
    with suppress(AttributeError):  # soundfile declares this function, but offers nothing that calls it
        into = soundfile._ffi.cast("float *", packed.ctypes.data + 1)
        got = int(soundfile._snd.sf_read_raw(file._file, into, packed.size - 1)) // frame_bytes
    return of_24_bit(packed[: 1 + got * frame_bytes], file.channels)
