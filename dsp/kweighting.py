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
from functools import cached_property

import numpy as np

from dsp.types import Floats, Samples

MIN_RATE_HZ = 4000
"""Below twice 1682 Hz, where the shelf sits, the filter of the standard does not exist."""

_BLOCK_FRAMES = 60
"""Near the fastest: a longer block costs more arithmetic a frame, a shorter one more memory traffic."""
_GROUP_STEPS = 16
_PRODUCT_SIZE = 1 << 18
"""OpenBLAS keeps a product of no more multiplications on the calling thread. Larger ones would wake a second
thread, which for work of this size doubles the load of the machine and shortens nothing."""
_CHUNK_BLOCKS = 960
"""Blocks filtered at once, all channels together: they fit into a second-level cache, and the products that
advance the states stay under the size above."""

_SILENCE_MEAN_SQUARE = 1e-20
"""-200 dB: what is left of a filter's ring-out below this counts as silence."""

_NEGLIGIBLE = 1e-100
"""What decays must end in zero and not linger as subnormal numbers, which slow a product down thirtyfold."""


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
        self._rows_at_once = max(8, _PRODUCT_SIZE // self._output.size)
        self._scan = _StateScan(powers[-1])
        self._state: Floats = np.zeros((channels, step.shape[0]))

    def process(self, hops: Samples) -> Floats:
        """Take ``(n x hop_frames, channels)`` samples, return ``(n, channels)`` mean squares."""
        count = hops.shape[0] // self._hop_frames
        out = np.empty((count, self._channels))
        chunk = max(1, _CHUNK_BLOCKS * self._block // (self._hop_frames * self._channels))
        for first in range(0, count, chunk):
            last = min(first + chunk, count)
            part = hops[first * self._hop_frames : last * self._hop_frames]
            out[first:last] = self._process_chunk(part, last - first)
        return out

    def _process_chunk(self, hops: Samples, count: int) -> Floats:
        block, channels = self._block, self._channels
        blocks = hops.shape[0] // block
        used = channels * blocks
        padding = -used % self._rows_at_once
        table = np.empty((used + padding, block + self._state.shape[1]))
        table[used:] = 0.0
        rows = table[:used].reshape(channels, blocks, -1)
        rows[:, :, :block] = hops.reshape(blocks, block, channels).transpose(2, 0, 1)
        rows[:, :, block:], self._state = self._scan.run(self._state, rows[:, :, :block] @ self._reach)
        weighted = table.reshape(-1, self._rows_at_once, table.shape[1]) @ self._output
        # (blocks, B) is (hops, hop_frames) in memory, so the energy of a hop is one dot product.
        flat = weighted.reshape(-1)[: used * block].reshape(channels * count, self._hop_frames)
        energy = np.einsum("ij,ij->i", flat, flat)
        mean_square: Floats = energy.reshape(channels, count).T / self._hop_frames
        mean_square[mean_square < _SILENCE_MEAN_SQUARE] = 0.0
        self._state[np.abs(self._state) < _NEGLIGIBLE] = 0.0
        return mean_square


class _StateScan:
    """Runs ``s' = step s + u`` over many steps, in groups of steps by one matrix product each."""

    def __init__(self, step: Floats) -> None:
        self._order = order = step.shape[0]
        powers = _matrix_powers(step, _GROUP_STEPS)
        # From (first state, inputs of the group), to the state before each of its steps and after the last.
        table = np.zeros((_GROUP_STEPS + 1, order, _GROUP_STEPS + 1, order))
        for k in range(_GROUP_STEPS + 1):
            table[k, :, 0] = powers[k]
            for j in range(k):
                table[k, :, 1 + j] = powers[k - 1 - j]
        self._table = table
        self._group_step = powers[-1]
        whole = table[-1, :, 1:].reshape(order, _GROUP_STEPS * order)
        self._group_input = np.ascontiguousarray(whole.T)

    @cached_property
    def _over_groups(self) -> _StateScan:
        """The same scan with a group in place of a step."""
        return _StateScan(self._group_step)

    def run(self, state: Floats, inputs: Floats) -> tuple[Floats, Floats]:
        """Take the first state, (channels, order), and inputs, (channels, steps, order).

        Returns the state before each step, of the inputs' shape, and the state after the last.
        """
        channels, steps, order = inputs.shape
        groups, rest = divmod(steps, _GROUP_STEPS)
        if not groups:
            return self._run_group(state, inputs)
        states = np.empty((channels, steps, order))
        grouped = inputs[:, : steps - rest].reshape(channels, groups, -1)
        starts, state = self._over_groups.run(state, grouped @ self._group_input)
        known = np.concatenate((starts, grouped), axis=2)
        table = self._table[:-1].reshape(_GROUP_STEPS * order, -1)
        states[:, : steps - rest] = (known @ table.T).reshape(channels, steps - rest, order)
        if rest:
            states[:, steps - rest :], state = self._run_group(state, inputs[:, steps - rest :])
        return states, state

    def _run_group(self, state: Floats, inputs: Floats) -> tuple[Floats, Floats]:
        """A single group, whole or not."""
        channels, steps, order = inputs.shape
        table = self._table[: steps + 1, :, : steps + 1].reshape((steps + 1) * order, -1)
        known = np.concatenate((state, inputs.reshape(channels, -1)), axis=1)
        states = (known @ table.T).reshape(channels, steps + 1, order)
        return states[:, :-1], states[:, -1].copy()


def _state_space(sections: Floats) -> tuple[Floats, Floats, Floats, float]:
    """A cascade of second-order sections as ``s' = A s + b x``, ``y = c s + d x``.

    Each is the transposed direct form II with its states s1, s2 turned into s1 and (s1 + s2) / g. In the
    plain form a rounding error grows by 1 / (1 - pole), some hundredfold in the high-pass, before it decays.
    """
    step, enter, leave, direct = np.zeros((0, 0)), np.zeros(0), np.zeros(0), 1.0
    for b0, b1, b2, _, a1, a2 in sections:
        g = math.sqrt(1.0 + a1 + a2)
        section_step = np.array(((-a1 - 1.0, g), (-g, 1.0)))
        section_enter = np.array((b1 - a1 * b0, (b1 - a1 * b0 + b2 - a2 * b0) / g))
        section_leave = np.array((1.0, 0.0))
        # The output of the sections so far is the input of this one.
        coupling = np.outer(section_enter, leave)
        step = np.block([[step, np.zeros((step.shape[0], 2))], [coupling, section_step]])
        enter = np.concatenate((enter, section_enter * direct))
        leave = np.concatenate((b0 * leave, section_leave))
        direct = float(b0 * direct)
    return step, enter, leave, direct


def _matrix_powers(matrix: Floats, highest: int) -> list[Floats]:
    powers = [np.eye(matrix.shape[0])]
    for _ in range(highest):
        power = powers[-1] @ matrix
        power[np.abs(power) < _NEGLIGIBLE] = 0.0
        powers.append(power)
    return powers


def _divisor_near(number: int, wanted: int) -> int:
    """The divisor of a number that lies nearest to the one wanted, by ratio."""
    divisors = (d for d in range(1, number + 1) if number % d == 0)
    return min(divisors, key=lambda d: abs(math.log(d / wanted)))
