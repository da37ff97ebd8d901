"""Noise floor while somebody plays: the level of the quiet moments, or an honest "not known yet".

The tenth percentile of the power of 50 ms blocks finds the quiet. All blocks up to about three standard
deviations over the mean of the quiet are averaged, which removes the percentile's bias, for hiss (whose
blocks hardly differ) and for rumble (whose blocks do) alike. That goes wrong where
quiet is rarer than the percentile, and where somebody plays without a pause. So the answer is given only when
the quiet blocks

* add up to two seconds,
* differ little from one another, and no more than the hops within each let expect of noise, and
* follow one another without memory: the level of noise jumps about its mean from block to block, that of a
  note that rings out or swells moves step by step (the ratio of von Neumann, Annals of Mathematical
  Statistics 12, 1941: half the mean squared successive difference over the variance, 1 without memory);
* and are quiet: a steady sound over -40 dBFS counts as noise only once something much louder was heard;
* and are sound: exact zeros, of a mute switch, a gate or a socket with nothing in it, measure no noise floor.

Martin, IEEE Trans. Speech and Audio Processing 9(5), 2001, tracks minima and corrects their bias instead;
for independent blocks the mean of the quiet ones needs no correction.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dsp.decibels import mean_square_to_dbfs, power_to_db
from dsp.hops import HopBuffer, planar
from dsp.sums import hop_mean_squares
from dsp.types import Floats, Samples
from dsp.weighting import a_weighting_power, power_spectrum

BLOCK_HOPS = 5
"""50 ms: long enough for a steady level, short enough to fall between notes."""
_MEMORY_S = 60.0
_WEIGHTED_EVERY = 4
"""A-weighting takes a spectrum, so only every fourth block is weighted: five a second say enough."""
_ESTIMATE_BLOCKS = 10

_QUIET_PERCENTILE = 10.0
_FIRST_RATIO, _MOST_RATIO = 2.0, 6.0
"""Of the percentile: where the search for the limit of quiet begins, and how far it may go."""
_DEVIATIONS, _LEAST_DEVIATION = 3.0, 0.03
_MOST_UNEXPECTED = 1.9
"""Blocks may differ so many times more than hops that know nothing of each other let expect:
a rumble of 40 to 60 Hz comes to 1.8, hiss to 1.0. Cymbals that ring differ more than noise does."""
_MOST_EXCESS = 4.5
"""Of the variance among quiet blocks over what their hops let expect; a rumble at 40 to 60 Hz has 3.2."""
_MEDIAN_OF_MEAN = 0.839
"""Median over mean of chi-squared with the four degrees of freedom that five hops leave."""
_ROUNDS = 4
_LEAST_QUIET_S = 2.0
_SWITCHED_ON_S = 3.0
_MOST_SPREAD_DB = 2.4
_LEAST_FORGETFULNESS = 0.6
"""Of the ratio of von Neumann: noise gives 1 ± 0.2 for two seconds of blocks, notes 0.0 to 0.3."""
_LOUD_FLOOR_DBFS, _LOUDER_DB = -40.0, 10.0
_TINY = 1e-30


class NoiseFloor:
    """The noise floor of each channel.

    Parameters
    ----------
    rate_hz, channels, frames_per_hop
        The grid that :meth:`process` is fed on.
    memory_s
        How far back quiet counts; None = everything, for a whole file (four bytes a channel and block).
    """

    def __init__(
        self, rate_hz: int, channels: int, frames_per_hop: int, memory_s: float | None = _MEMORY_S
    ) -> None:
        self._rate_hz = rate_hz
        self._channels = channels
        self._block_frames = BLOCK_HOPS * frames_per_hop
        self._block_s = self._block_frames / rate_hz
        self._memory = None if memory_s is None else round(memory_s / self._block_s)
        self.reset()

    def reset(self) -> None:
        """Forget everything, for instance because the gain was turned."""
        self._blocks = HopBuffer(self._block_frames, self._channels)
        self._mean_squares: Floats = np.empty((0, self._channels))
        self._powers = _Rows(self._channels, self._memory)
        self._unrest = _Rows(self._channels, self._memory)
        weighted = None if self._memory is None else self._memory // _WEIGHTED_EVERY
        self._weighted = _Rows(self._channels, weighted)
        self._next_estimate = _ESTIMATE_BLOCKS
        self.level_dbfs: Floats = np.full(self._channels, np.nan)
        """(channels,): RMS level (AES17) of the noise; nan while it is not known."""
        self.level_dba: Floats = np.full(self._channels, np.nan)
        """(channels,): the same, A-weighted (IEC 61672-1)."""

    def process(self, hops: Samples, mean_squares: Floats | None = None) -> None:
        """Take in whole hops.

        Parameters
        ----------
        hops
            (n * frames_per_hop, channels).
        mean_squares
            (n, channels) from :func:`dsp.sums.hop_mean_squares`, where the caller has them already.
        """
        if mean_squares is None:
            mean_squares = hop_mean_squares(hops, self._block_frames // BLOCK_HOPS)
        blocks = self._blocks.push(hops)
        waiting = np.concatenate((self._mean_squares, mean_squares))
        count = blocks.shape[0] // self._block_frames
        self._mean_squares = waiting[count * BLOCK_HOPS :]
        if not count:
            return
        of_hops = waiting[: count * BLOCK_HOPS].reshape(count, BLOCK_HOPS, -1)
        powers = of_hops.mean(axis=1)
        unrest = of_hops.var(axis=1, ddof=1) / (BLOCK_HOPS * np.maximum(powers, _TINY) ** 2)
        skip = -self._powers.count % _WEIGHTED_EVERY
        weighted = self._a_weighted(planar(blocks, self._block_frames)[:, skip::_WEIGHTED_EVERY])
        # Estimates fall on a grid of their own, so that they do not depend on how hops were grouped.
        done = 0
        while done < powers.shape[0]:
            take = min(powers.shape[0] - done, self._next_estimate - self._powers.count)
            before, after = (-(-(at - skip) // _WEIGHTED_EVERY) for at in (done, done + take))
            self._powers.append(powers[done : done + take])
            self._unrest.append(unrest[done : done + take])
            self._weighted.append(weighted[max(0, before) : max(0, after)])
            done += take
            if self._powers.count == self._next_estimate:
                self.estimate()
                # The longer the memory, the less a block changes; and nobody watches a file go by.
                share = 8 if self._memory is None else 20
                self._next_estimate += max(_ESTIMATE_BLOCKS, self._powers.length // share)

    def estimate(self) -> None:
        """Bring the levels up to the last block."""
        powers, unrest, weighted = self._powers.view(), self._unrest.view(), self._weighted.view()
        for channel in range(self._channels):
            self.level_dbfs[channel] = self.level_dba[channel] = math.nan
            of_channel = np.ascontiguousarray(powers[:, channel])
            if of_channel.size * self._block_s < _LEAST_QUIET_S:
                continue
            muted = 0 if self._memory is None else self._muted_blocks(of_channel)
            limit = _quiet_limit(of_channel[muted:], unrest[muted:, channel])
            level = _quiet_level(of_channel[muted:], unrest[muted:, channel], limit, self._block_s)
            if level is not None:
                self.level_dbfs[channel] = mean_square_to_dbfs(level)
                self.level_dba[channel] = _weighted_dba(
                    of_channel, weighted[:, channel], limit, level, self._powers.count
                )

    def _muted_blocks(self, powers: npt.NDArray[np.float32]) -> int:
        """How many blocks to leave aside, because exact zeros came in before an input was switched on.

        They would pass for the quiet of an input that was not even heard, for as long as they are remembered.
        Short stretches between zeros are notes through a gate, and those count.
        """
        zeros = np.flatnonzero(powers <= _TINY)
        # The block after them may hold some itself.
        first = int(zeros[-1]) + 2 if zeros.size else 0
        return first if (powers.size - first) * self._block_s >= _SWITCHED_ON_S else 0

    def _a_weighted(self, cube: npt.NDArray[np.float32]) -> Floats:
        """A-weighted mean square of blocks: (blocks, channels) from (channels, blocks, frames)."""
        spectrum = power_spectrum(cube)
        f_hz = np.arange(spectrum.shape[-1]) * (self._rate_hz / self._block_frames)
        power: Floats = np.dot(spectrum, a_weighting_power(f_hz)).T
        return power


@dataclass(frozen=True, slots=True)
class QuietLevel:
    """What a quiet measurement found, a figure a channel."""

    level_dbfs: Floats
    """RMS level (AES17); nan where it was not quiet all the time."""
    level_dba: Floats
    seconds: float


class QuietMeasurement:
    """A few seconds of nobody playing: the trustworthy noise floor.

    Parameters
    ----------
    rate_hz, channels, frames_per_hop
        The grid that :meth:`process` is fed on.
    seconds
        How long to listen.
    """

    def __init__(self, rate_hz: int, channels: int, frames_per_hop: int, seconds: float = 5.0) -> None:
        self._floor = NoiseFloor(rate_hz, channels, frames_per_hop, memory_s=seconds)
        self._hops = math.ceil(seconds * rate_hz / frames_per_hop)
        self._frames_per_hop = frames_per_hop
        self._heard = 0
        self._highest: Floats = np.zeros(channels)
        self._seconds = seconds

    @property
    def done(self) -> bool:
        """Whether enough was heard."""
        return self._heard >= self._hops

    def process(self, hops: Samples) -> None:
        """Take in whole hops; those after the end are left aside."""
        wanted = (self._hops - self._heard) * self._frames_per_hop
        taken = hops[: max(0, wanted)]
        if taken.shape[0]:
            self._heard += taken.shape[0] // self._frames_per_hop
            self._floor.process(taken)
            squares = hop_mean_squares(taken, self._frames_per_hop)
            np.maximum(self._highest, squares.max(axis=0), out=self._highest)

    def result(self) -> QuietLevel:
        """Say what was found; a channel in which any hop stands out was not quiet, and is nan."""
        self._floor.estimate()
        highest_dbfs = mean_square_to_dbfs(self._highest)
        with np.errstate(invalid="ignore"):  # digital silence: -inf - -inf
            disturbed = highest_dbfs > self._floor.level_dbfs + _LOUDER_DB
        return QuietLevel(
            np.where(disturbed, np.nan, self._floor.level_dbfs),
            np.where(disturbed, np.nan, self._floor.level_dba),
            self._seconds,
        )


class _Rows:
    """Rows of float32 in the order in which they came: the last so many, or all of them."""

    def __init__(self, columns: int, most: int | None) -> None:
        self._most = most
        self._rows = np.empty((2 * most if most else 256, columns), np.float32)
        self._end = 0
        self.count = 0
        """Rows that ever came."""

    @property
    def length(self) -> int:
        """Rows that are kept."""
        return min(self._end, self._most) if self._most else self._end

    def append(self, rows: Floats) -> None:
        self.count += rows.shape[0]
        if self._most:
            rows = rows[-self._most :]
        if self._end + rows.shape[0] > self._rows.shape[0]:
            self._make_room(rows.shape[0])
        self._rows[self._end : self._end + rows.shape[0]] = rows
        self._end += rows.shape[0]

    def view(self) -> npt.NDArray[np.float32]:
        return self._rows[self._end - self.length : self._end]

    def _make_room(self, more: int) -> None:
        kept = self.view()
        if not self._most:
            grown = np.empty((2 * (kept.shape[0] + more), kept.shape[1]), np.float32)
            grown[: kept.shape[0]] = kept
            self._rows = grown
        else:
            kept = kept[max(0, kept.shape[0] + more - self._most) :].copy()
            self._rows[: kept.shape[0]] = kept
        self._end = kept.shape[0]


def _quiet_limit(powers: npt.NDArray[np.float32], unrest: npt.NDArray[np.float32]) -> float:
    """The power up to which a block counts as quiet.

    ``unrest`` is the squared relative deviation of each block's power that its own hops let expect.
    """
    start = float(np.percentile(powers, _QUIET_PERCENTILE))
    if start <= _TINY:
        return start
    limit = _FIRST_RATIO * start
    for _ in range(_ROUNDS):
        quiet = powers <= limit
        logs = np.log(np.maximum(powers[quiet], _TINY))
        expected = math.sqrt(float(np.median(unrest[quiet])) / _MEDIAN_OF_MEAN)
        deviation = max(_LEAST_DEVIATION, min(float(logs.std()), _MOST_UNEXPECTED * expected))
        limit = math.exp(float(np.median(logs)) + _DEVIATIONS * deviation)
        limit = min(max(limit, start), _MOST_RATIO * start)
    return limit


def _quiet_level(
    powers: npt.NDArray[np.float32], unrest: npt.NDArray[np.float32], limit: float, block_s: float
) -> float | None:
    """Mean square of the blocks of one channel up to a limit; None when it cannot be told."""
    quiet = np.flatnonzero(powers <= limit)
    if quiet.size * block_s < _LEAST_QUIET_S:
        return None
    level = float(powers[quiet].mean(dtype=np.float64))
    if level <= _TINY:
        return None  # a switch or a gate, and not the noise of whatever will be heard
    levels_db = power_to_db(np.maximum(powers[quiet], _TINY))
    spread_db = float(levels_db.std())
    if spread_db > _MOST_SPREAD_DB or _forgetfulness(levels_db, quiet) < _LEAST_FORGETFULNESS:
        return None
    unexpected = float(powers[quiet].var(dtype=np.float64)) / level**2
    if unexpected > max(_LEAST_DEVIATION**2, _MOST_EXCESS * float(unrest[quiet].mean(dtype=np.float64))):
        return None
    loudest = float(np.percentile(powers, 95.0))
    steady = power_to_db(loudest) < power_to_db(level) + _LOUDER_DB
    if steady and mean_square_to_dbfs(level) > _LOUD_FLOOR_DBFS:
        return None
    return level


def _forgetfulness(levels_db: Floats, places: npt.NDArray[np.intp]) -> float:
    """The ratio of von Neumann over neighbours: near 1 for noise, near 0 for what moves step by step."""
    neighbours = np.flatnonzero(np.diff(places) == 1)
    variance = float(levels_db.var())
    if neighbours.size < 8 or variance < 1e-4:  # a steady hum alone hardly varies at all
        return 1.0
    steps = levels_db[neighbours + 1] - levels_db[neighbours]
    return float(np.mean(steps**2)) / (2.0 * variance)


def _weighted_dba(
    powers: npt.NDArray[np.float32],
    weighted: npt.NDArray[np.float32],
    limit: float,
    level: float,
    count: int,
) -> float:
    """A-weighted level of the quiet: the level, times the share that the weighting leaves of it."""
    # Weighted blocks have numbers that 4 divides; count - 1 is the number of the last block.
    last = (count - 1) // _WEIGHTED_EVERY * _WEIGHTED_EVERY
    rows = np.arange(last, count - 1 - powers.size, -_WEIGHTED_EVERY)[::-1] - (count - powers.size)
    rows = rows[-weighted.size :]
    plain, weighted = powers[rows], weighted[-rows.size :]
    quiet = plain <= limit
    total = float(plain[quiet].sum(dtype=np.float64))
    if not quiet.any():
        return math.nan
    if total <= _TINY:
        return mean_square_to_dbfs(level)
    return mean_square_to_dbfs(level * float(weighted[quiet].sum(dtype=np.float64)) / total)
