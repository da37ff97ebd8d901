"""Samples as every stage may take them: finite, audible or silent, and each channel in one piece."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from dsp.peaks import hop_peaks
from dsp.types import Floats, Samples

_ABSURD = np.float32(1e12)
"""No sound is 240 dB over full scale, not even with 32-bit numbers unscaled; float32 holds its squares."""
_INAUDIBLE = np.float32(1e-30)
"""Hops that never exceed this are silence: 600 dB down, float32 nears its denormals there."""


class Mended(NamedTuple):
    """Hops that can be measured."""

    hops: Samples
    """(n * hop_frames, channels), in Fortran order: every stage works channel by channel."""
    peaks: Floats
    """(n, channels) from :func:`dsp.peaks.hop_peaks`."""
    bad_samples: int
    """How many were no sound."""


def mend(hops: Samples, hop_frames: int) -> Mended:
    """Turn what is no sound, and what is too small to matter, into silence; count the former.

    Costs nothing beyond the peaks that are needed anyway: they show NaN and infinities by themselves.

    Parameters
    ----------
    hops
        (n * hop_frames, channels), any float32 values.
    hop_frames
        Frames in a hop.
    """
    hops = np.asfortranarray(hops)
    peaks = hop_peaks(hops, hop_frames)
    bad_samples = 0
    if not (peaks <= _ABSURD).all():  # so put, it holds for NaN as well
        good = np.abs(hops) <= _ABSURD
        bad_samples = int(good.size - np.count_nonzero(good))
        hops = np.where(good, hops, np.float32(0.0))
        peaks = hop_peaks(hops, hop_frames)
    faint = (peaks > 0.0) & (peaks < _INAUDIBLE)
    if faint.any():
        hops = np.where(np.repeat(faint, hop_frames, axis=0), np.float32(0.0), hops)
        peaks = np.where(faint, 0.0, peaks)
    return Mended(hops, peaks, bad_samples)
