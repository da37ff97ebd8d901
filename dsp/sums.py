"""Sums over hops: how much signal, and how far off centre.

Single precision is enough within a hop: a hop of 480 samples is off by about one part in ten million, which
is less than a millionth of a decibel. What is added up over hours is float64.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dsp.types import Floats, Samples


def hop_mean_squares(hops: Samples, frames_per_hop: int) -> Floats:
    """Mean square of each hop: (hops, channels) from (hops x frames_per_hop, channels)."""
    cube = _by_hop(hops, frames_per_hop)
    squares: Floats = np.vecdot(cube, cube).T.astype(np.float64)
    return squares / frames_per_hop


def hop_means(hops: Samples, frames_per_hop: int) -> Floats:
    """Mean of each hop: (hops, channels) from (hops x frames_per_hop, channels)."""
    ones = np.ones(frames_per_hop, np.float32)
    sums: Floats = np.vecdot(_by_hop(hops, frames_per_hop), ones).T.astype(np.float64)
    return sums / frames_per_hop


def _by_hop(hops: Samples, frames_per_hop: int) -> npt.NDArray[np.float32]:
    """(channels, hops, frames): no copy where each channel lies in one piece, as the chain sees to."""
    return hops.T.reshape(hops.shape[1], -1, frames_per_hop)
