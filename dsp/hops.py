"""Hops: the 10 ms grid that all measurements share, tied to the first frame of the stream.

Stages take whole hops, so none of them keeps a remainder of its own; the chain feeds them through one
:class:`HopBuffer`, which is what makes every figure independent of the block sizes that an input delivers.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

from dsp.types import Samples

_Real = TypeVar("_Real", bound=np.floating)

HOP_S = 0.010
"""EBU Tech 3341 cases 13 and 14 need 20 ms or less for the momentary maximum."""


def hop_frames(rate_hz: int) -> int:
    """Frames in a hop: 10 ms, rounded to whole frames (exact at every rate that 100 divides)."""
    if rate_hz < 1000:
        raise ValueError(f"rate_hz is {rate_hz}; 1000 or more is expected (Hz, not kHz)")
    return max(1, round(rate_hz * HOP_S))


def planar(hops: Samples, frames_per_hop: int) -> Samples:
    """The same samples with the channels apart: (channels, hops, frames_per_hop).

    Reductions along contiguous samples run several times faster than across interleaved channels. Where each
    channel of ``hops`` already lies in one piece, as in ``np.asfortranarray`` and slices of it, nothing is
    copied.

    Raises
    ------
    ValueError
        The frames are not a whole number of hops, or there are none.
    """
    frames, channels = hops.shape
    if frames == 0 or frames % frames_per_hop:
        raise ValueError(f"{frames} frames are not one or more whole hops of {frames_per_hop}")
    apart = hops.T
    if apart.strides[1] != apart.itemsize:
        apart = np.ascontiguousarray(apart)
    return apart.reshape(channels, -1, frames_per_hop)


def before_each(apart: Samples, history: Samples) -> Samples:
    """The few samples that precede each hop: (channels, hops, width).

    Parameters
    ----------
    apart
        (channels, hops, frames) from :func:`planar`.
    history
        (channels, width): the samples that precede the first hop; width is at most the hop's frames.
    """
    width = history.shape[1]
    return np.concatenate((history[:, np.newaxis], apart[:, :-1, -width:]), axis=1)


def windows(lines: npt.NDArray[_Real], width: int, step: int = 1) -> npt.NDArray[_Real]:
    """Every stretch of ``width`` in a row that begins at a multiple of ``step``: (rows, stretches, width).

    A view that is not to be written to. numpy's own ``sliding_window_view`` takes longer to make one than
    most stages take for a hop.

    Parameters
    ----------
    lines
        (rows, ``width`` or more), C-contiguous.
    """
    rows, length = lines.shape
    if not lines.flags.c_contiguous or length < width:
        raise ValueError(f"windows of {width} come from contiguous rows of that or more, not of {length}")
    size = lines.itemsize
    shape, strides = (rows, (length - width) // step + 1, width), (length * size, step * size, size)
    view: npt.NDArray[_Real] = np.ndarray(shape, lines.dtype, lines, strides=strides)
    view.flags.writeable = False
    return view


class HopBuffer:
    """Cuts a stream of blocks of any size into whole hops, or any other pieces of equal length."""

    def __init__(self, frames_per_hop: int, channels: int) -> None:
        self._hop = frames_per_hop
        self._channels = channels
        self._waiting: list[Samples] = []
        self._pending = 0

    @property
    def pending_frames(self) -> int:
        """Frames that wait for the rest of their hop."""
        return self._pending

    def push(self, block: Samples) -> Samples:
        """Add a block and take out every hop that is now whole: (hops x frames_per_hop, channels)."""
        frames = self._pending + block.shape[0]
        whole = frames // self._hop * self._hop
        if not whole:
            self._keep(block)
            return block[:0]
        stream = self._joined(block)
        self._waiting, self._pending = [], 0
        self._keep(stream[whole:])
        return stream[:whole]

    def take(self) -> Samples:
        """Take the remainder as it is; empty when there is none."""
        rest = self._joined()
        self._waiting, self._pending = [], 0
        return rest

    def take_padded(self) -> Samples:
        """Take the remainder, filled up with silence to one whole hop; empty when there is none."""
        rest = self.take()
        if not rest.shape[0]:
            return rest
        padded = np.zeros((self._hop, self._channels), np.float32)
        padded[: rest.shape[0]] = rest
        return padded

    def _keep(self, rest: Samples) -> None:
        if rest.shape[0]:
            # A copy, because the caller may reuse the memory behind the block; its layout stays.
            self._waiting.append(rest.copy(order="K"))
            self._pending += rest.shape[0]

    def _joined(self, *block: Samples) -> Samples:
        parts = (*self._waiting, *block)
        if len(parts) == 1:
            return parts[0]
        return np.concatenate(parts) if parts else np.empty((0, self._channels), np.float32)
