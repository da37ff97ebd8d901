"""K-weighting after ITU-R BS.1770-5 Annex 1, as mean squares of whole hops.

The filter is a cascade of two second-order sections. A recursion that runs frame by frame cannot be
vectorised, so it is written as a state space and taken a block of B frames at a time::

    y = T x + O s        T: B x B, the impulse response as a lower triangle;  O: B x 4
    s' = M s + R x       M: 4 x 4, R: 4 x B

T, O and R are products of the same four state matrices, so this is the recursion itself and not an
approximation of it. What remains sequential is ``s' = M s + u``, one step a block, and the same idea serves
again there, with blocks in place of frames. Everything heavy is a matrix product in float64.
"""

from __future__ import annotations

import math

import numpy as np

from dsp.types import Floats, Samples

MIN_RATE_HZ = 4000
"""Below twice 1682 Hz, where the shelf sits, the filter of the standard does not exist."""

_BLOCK_FRAMES = 80
"""Near the fastest: a longer block costs more arithmetic a frame, a shorter one more memory traffic."""
_GROUP_BLOCKS = 32
_CHUNK_VALUES = 1 << 16
"""Values (frames x channels) filtered at once: what a processor's second-level cache holds."""

_SILENCE_MEAN_SQUARE = 1e-20
"""-200 dB: what is left of a filter's ring-out below this counts as silence."""


def k_weighting(rate_hz: int) -> Floats:
    """The two sections of the K-weighting filter, shelf first, as rows ``b0 b1 b2 1 a1 a2``; shape (2, 6).

    The standard tabulates 48 kHz and asks other rates for the same response. The sections are therefore
    bilinear transforms of the analogue prototypes behind that table: at 48 kHz they return it to 1e-12.
    As in the table, the numerator of the high-pass is 1, -2, 1 at every rate.

    Raises
    ------
    ValueError
        For a rate under 4000 Hz, which has no room for the shelf.
    """
    if rate_hz < MIN_RATE_HZ:
        raise ValueError(f"rate_hz is {rate_hz}; K-weighting needs {MIN_RATE_HZ} or more (Hz, not kHz)")
    shelf_q = 0.7071752369554196
    k = math.tan(math.pi * 1681.974450955533 / rate_hz)
    high = 10.0 ** (3.999843853973347 / 20.0)
    band = high**0.4996667741545416
    a0 = 1.0 + k / shelf_q + k * k
    shelf = (
        (high + band * k / shelf_q + k * k) / a0,
        2.0 * (k * k - high) / a0,
        (high - band * k / shelf_q + k * k) / a0,
        1.0,
        2.0 * (k * k - 1.0) / a0,
        (1.0 - k / shelf_q + k * k) / a0,
    )
    pass_q = 0.5003270373238773
    k = math.tan(math.pi * 38.13547087602444 / rate_hz)
    a0 = 1.0 + k / pass_q + k * k
    high_pass = (1.0, -2.0, 1.0, 1.0, 2.0 * (k * k - 1.0) / a0, (1.0 - k / pass_q + k * k) / a0)
    return np.array((shelf, high_pass))


class KWeightedPower:
    """Mean square of the K-weighted signal, for each hop and channel.

    Parameters
    ----------
    rate_hz
        Sample rate, 4000 Hz or more.
    channels
        Columns of the samples.
    hop_frames
        Frames in a hop.
    """

    def __init__(self, rate_hz: int, channels: int, hop_frames: int) -> None:
        self._channels = channels
        self._hop_frames = hop_frames
        self._block = _divisor_near(hop_frames, _BLOCK_FRAMES)
        step, enter, leave, direct = _state_space(k_weighting(rate_hz))
        powers = _matrix_powers(step, self._block)
        observe = np.array([leave @ power for power in powers[:-1]])
        impulse = np.concatenate(([direct], observe[:-1] @ enter))
        lag = np.subtract.outer(np.arange(self._block), np.arange(self._block))
        response = np.where(lag >= 0, impulse[np.maximum(lag, 0)], 0.0)
        # Both act from the right on rows of samples: (blocks, B + 4) @ (B + 4, B), (blocks, B) @ (B, 4).
        self._output = np.ascontiguousarray(np.hstack((response, observe)).T)
        self._reach = np.ascontiguousarray([powers[self._block - 1 - j] @ enter for j in range(self._block)])
        self._scan = _StateScan(powers[-1])
        self._state: Floats = np.zeros((channels, step.shape[0]))

    def process(self, hops: Samples) -> Floats:
        """Take ``(n x hop_frames, channels)`` samples, return ``(n, channels)`` mean squares."""
        count = hops.shape[0] // self._hop_frames
        out = np.empty((count, self._channels))
        chunk = max(1, _CHUNK_VALUES // (self._hop_frames * self._channels))
        for first in range(0, count, chunk):
            last = min(first + chunk, count)
            part = hops[first * self._hop_frames : last * self._hop_frames]
            out[first:last] = self._process_chunk(part, last - first)
        return out

    def _process_chunk(self, hops: Samples, count: int) -> Floats:
        block, channels = self._block, self._channels
        blocks = hops.shape[0] // block
        rows = np.empty((channels, blocks, block + self._state.shape[1]))
        rows[:, :, :block] = hops.reshape(blocks, block, channels).transpose(2, 0, 1)
        states, self._state = self._scan.run(self._state, rows[:, :, :block] @ self._reach)
        rows[:, :, block:] = states
        weighted = rows.reshape(channels * blocks, -1) @ self._output
        energy = np.einsum("ij,ij->i", weighted, weighted)
        mean_square = energy.reshape(channels, count, -1).sum(axis=2) / self._hop_frames
        mean_square[mean_square < _SILENCE_MEAN_SQUARE] = 0.0
        # A state that has died away must not linger as subnormal numbers, which are slow.
        self._state[np.abs(self._state) < 1e-100] = 0.0
        return np.asarray(mean_square.T)


class _StateScan:
    """Runs ``s' = step s + u`` over many steps by matrix products over groups of steps."""

    def __init__(self, step: Floats) -> None:
        order = step.shape[0]
        powers = _matrix_powers(step, _GROUP_BLOCKS)
        # Row k of a group: the state before step k, from the group's first state and the inputs before k.
        table = np.zeros((_GROUP_BLOCKS + 1, order, _GROUP_BLOCKS + 1, order))
        for k in range(_GROUP_BLOCKS + 1):
            table[k, :, 0, :] = powers[k]
            for j in range(k):
                table[k, :, 1 + j, :] = powers[k - 1 - j]
        self._order = order
        self._table = table

    def run(self, state: Floats, inputs: Floats) -> tuple[Floats, Floats]:
        """Return the states before each step, (channels, steps, order), and the state after the last."""
        channels, steps, order = inputs.shape
        states = np.empty((channels, steps, order))
        for first in range(0, steps, _GROUP_BLOCKS):
            size = min(_GROUP_BLOCKS, steps - first)
            table = self._table[: size + 1, :, : size + 1].reshape((size + 1) * order, -1)
            known = np.concatenate((state, inputs[:, first : first + size].reshape(channels, -1)), axis=1)
            result = (known @ table.T).reshape(channels, size + 1, order)
            states[:, first : first + size] = result[:, :size]
            state = result[:, size].copy()
        return states, state


def _state_space(sections: Floats) -> tuple[Floats, Floats, Floats, float]:
    """A cascade of transposed direct form II sections as ``s' = A s + b x``, ``y = c s + d x``."""
    step, enter, leave, direct = np.zeros((0, 0)), np.zeros(0), np.zeros(0), 1.0
    for b0, b1, b2, _, a1, a2 in sections:
        section_step = np.array(((-a1, 1.0), (-a2, 0.0)))
        section_enter = np.array((b1 - a1 * b0, b2 - a2 * b0))
        section_leave = np.array((1.0, 0.0))
        size = step.shape[0]
        step = np.block(
            [[step, np.zeros((size, 2))], [np.outer(section_enter, leave), section_step]]
        )  # the output of the sections so far enters this one
        enter = np.concatenate((enter, section_enter * direct))
        leave = np.concatenate((b0 * leave, section_leave))
        direct = float(b0 * direct)
    return step, enter, leave, direct


def _matrix_powers(matrix: Floats, highest: int) -> list[Floats]:
    powers = [np.eye(matrix.shape[0])]
    for _ in range(highest):
        powers.append(powers[-1] @ matrix)
    return powers


def _divisor_near(number: int, wanted: int) -> int:
    """The divisor of a number that lies nearest to the one wanted, by ratio."""
    divisors = (d for d in range(1, number + 1) if number % d == 0)
    return min(divisors, key=lambda d: abs(math.log(d / wanted)))
