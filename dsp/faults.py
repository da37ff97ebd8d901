"""What can be wrong with an input besides its level, as far as the samples show it.

Every fault is a property of the input, not of the music, so each is claimed late rather than wrongly, and
taken back when the samples speak against it. The thresholds are our own; each has its reason beside it.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from dsp.decibels import power_to_db
from dsp.hops import planar
from dsp.pumping import PumpingFinder
from dsp.reading import Fault, FaultKind
from dsp.types import Floats, Samples

SILENCE_S = 2.0
"""Exact zeros on every channel for so long: a converter that is connected always delivers some noise."""

PLAYING_RMS = 10 ** (-50 / 20)
"""A hop counts as playing when the loudest channel's RMS passes this."""
BALANCE_S = 5
"""Channels are compared over the last seconds in which somebody played ..."""
LEAST_PLAYING_S = 2.0
"""... for at least so long in total."""
DEAD_DB = -60.0
"""A channel so far below the loudest one is not connected: an open microphone in the same room hears the
instrument 20 to 45 dB down."""
SAME_DB = -60.0
"""What two channels differ by, relative to them, when they are one signal: beyond the dither of 16 bit, far
below what any two microphones or a stereo effect agree to."""
INVERTED_CORRELATION = -0.95
"""One signal, once upside down, comes to -0.99 even in a noisy room; two microphones do not come near, and a
chorus that spreads a steady synthesiser over both sides came to -0.91 over seconds."""

DC_OFFSET = 0.004
"""A step of −48 dBFS is a click wherever a recording is cut, louder than most rooms. A sound converter stays
below a tenth of this; lopsided waves of a sampler that nothing couples reach half of it."""
DC_TIME_S = 3.0
"""Time constant of each of two averages in a row: 20 Hz at full scale is down to 0.00001 after them."""

ASSUMED_BITS = 24
"""What an input is expected to deliver when nobody says otherwise."""
MISSING_BITS = 4
"""Fewer missing bits are a matter of the converter's make, not of a setting."""

_GRID = float(2**23)
_SECOND_HOPS = 100


class FaultFinder:
    """Watches for faults; give it every hop, and read :attr:`faults` whenever you like.

    Parameters
    ----------
    rate_hz
        Sample rate.
    channels
        Columns of the blocks.
    hop_frames
        Frames in a hop (10 ms).
    claimed_bits
        Resolution that the container or the device promises; None where it is not known.
    """

    def __init__(
        self, rate_hz: int, channels: int, hop_frames: int, *, claimed_bits: int | None = None
    ) -> None:
        self._channels = channels
        self._hop = hop_frames
        self._hop_s = hop_frames / rate_hz
        self._silent_hops = 0
        self._hops = 0
        self._pending: list[_Hops] = []
        self._pending_hops = 0
        self._balance = _Balance(channels, self._hop_s, _SECOND_HOPS)
        self._offset = _Offset(channels, hop_frames, rate_hz)
        self._resolution = _Resolution(ASSUMED_BITS if claimed_bits is None else claimed_bits)
        self._pumping = PumpingFinder(channels, self._hop_s)

    def process(self, hops: Samples) -> None:
        """Take in whole hops, (n · hop_frames, channels), finite, full scale at ±1.0."""
        count = hops.shape[0] // self._hop
        if not count:
            return
        apart = planar(hops, self._hop)
        figures = _measure(apart)
        self._resolution.process(apart, self._hops)
        self._hops += count
        sounding = np.flatnonzero(figures.energy.any(axis=1))
        self._silent_hops = count - 1 - int(sounding[-1]) if sounding.size else self._silent_hops + count

        self._pending.append(figures)
        self._pending_hops += count
        if self._pending_hops >= _SECOND_HOPS:
            waiting = _joined(self._pending)
            whole = self._pending_hops // _SECOND_HOPS * _SECOND_HOPS
            for start in range(0, whole, _SECOND_HOPS):
                self._second(waiting.part(start, start + _SECOND_HOPS))
            self._pending = [waiting.part(whole, self._pending_hops)]
            self._pending_hops -= whole

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The faults that hold now, or that held when there was last enough sound to tell."""
        if self._silent_hops * self._hop_s >= SILENCE_S - 1e-9:
            return (Fault(FaultKind.DIGITAL_SILENCE, value=self._silent_hops * self._hop_s),)
        found = self._balance.recent() + self._offset.recent()
        return tuple(found + self._resolution.faults() + self._pumping.faults())

    def final(self) -> tuple[Fault, ...]:
        """The faults of everything since the start: what a whole file suffers from."""
        rest = _joined(self._pending)
        if self._hops and self._silent_hops == self._hops:
            return (Fault(FaultKind.DIGITAL_SILENCE, value=self._silent_hops * self._hop_s),)
        found = self._balance.overall(rest) + self._offset.overall(rest)
        return tuple(found + self._resolution.faults() + self._pumping.faults(ever=True))

    def _second(self, figures: _Hops) -> None:
        self._balance.process(figures)
        self._offset.process(figures.total)
        self._pumping.process(figures.energy)


@dataclass(frozen=True, slots=True)
class _Hops:
    """Figures for each hop: (hops, channels), and (hops, channels − 1) for neighbours."""

    total: Floats
    energy: Floats
    """Mean square."""
    difference: Floats
    """Mean square of each channel minus the next one."""
    product: Floats
    """Mean product of each channel with the next one."""

    def part(self, start: int, stop: int) -> _Hops:
        return _Hops(
            self.total[start:stop],
            self.energy[start:stop],
            self.difference[start:stop],
            self.product[start:stop],
        )


def _measure(apart: Samples) -> _Hops:
    """Figures from :func:`dsp.hops.planar`."""
    difference = apart[:-1] - apart[1:]
    return _Hops(
        total=apart.sum(axis=2).T.astype(np.float64),
        energy=_mean_product(apart, apart),
        difference=_mean_product(difference, difference),
        product=_mean_product(apart[:-1], apart[1:]),
    )


def _mean_product(a: Samples, b: Samples) -> Floats:
    mean: Floats = np.asarray(np.vecdot(a, b).T, np.float64) / a.shape[2]
    return mean


def _joined(parts: list[_Hops]) -> _Hops:
    if len(parts) == 1:
        return parts[0]
    return _Hops(
        np.concatenate([part.total for part in parts]),
        np.concatenate([part.energy for part in parts]),
        np.concatenate([part.difference for part in parts]),
        np.concatenate([part.product for part in parts]),
    )


@dataclass(frozen=True, slots=True)
class _Sums:
    """Over the hops in which somebody played."""

    playing: int
    energy: Floats
    difference: Floats
    product: Floats

    def __add__(self, other: _Sums) -> _Sums:
        return _Sums(
            self.playing + other.playing,
            self.energy + other.energy,
            self.difference + other.difference,
            self.product + other.product,
        )


class _Balance:
    """Dead, identical and inverted channels."""

    def __init__(self, channels: int, hop_s: float, hops: int) -> None:
        self._least = LEAST_PLAYING_S / hop_s
        nothing = _Sums(0, np.zeros(channels), np.zeros(channels - 1), np.zeros(channels - 1))
        self._total = nothing
        self._window: deque[_Sums] = deque(maxlen=max(1, round(BALANCE_S / (hop_s * hops))))
        self._held: list[Fault] = []

    def process(self, figures: _Hops) -> None:
        if self._total.energy.size < 2:
            return
        sums = _playing_sums(figures)
        self._total = self._total + sums
        if not sums.playing:
            return
        self._window.append(sums)
        recent = self._window[0]
        for other in list(self._window)[1:]:
            recent = recent + other
        if recent.playing >= self._least:
            self._held = _compare(recent)

    def recent(self) -> list[Fault]:
        return list(self._held)

    def overall(self, rest: _Hops) -> list[Fault]:
        if self._total.energy.size < 2:
            return []
        total = self._total + _playing_sums(rest)
        return _compare(total) if total.playing >= self._least else []


def _playing_sums(figures: _Hops) -> _Sums:
    playing = figures.energy.max(axis=1) >= PLAYING_RMS**2
    return _Sums(
        int(playing.sum()),
        figures.energy[playing].sum(axis=0),
        figures.difference[playing].sum(axis=0),
        figures.product[playing].sum(axis=0),
    )


def _compare(sums: _Sums) -> list[Fault]:
    found: list[Fault] = []
    below_db = power_to_db(sums.energy / sums.energy.max())
    dead = below_db <= DEAD_DB
    for channel in np.flatnonzero(dead).tolist():
        level_db = float(below_db[channel])
        found.append(
            Fault(FaultKind.DEAD_CHANNEL, channel, None if math.isinf(level_db) else round(level_db, 1))
        )
    for first in range(sums.energy.size - 1):
        if dead[first] or dead[first + 1]:
            continue
        both = sums.energy[first] + sums.energy[first + 1]
        if sums.difference[first] <= both * 10 ** (SAME_DB / 10):
            found.append(Fault(FaultKind.SAME_CHANNELS, first + 1))
            continue
        correlation = sums.product[first] / math.sqrt(sums.energy[first] * sums.energy[first + 1])
        if correlation <= INVERTED_CORRELATION:
            found.append(Fault(FaultKind.INVERTED_CHANNELS, first + 1, round(float(correlation), 2)))
    return found


class _Offset:
    """DC offset: two leaky averages in a row over the hop sums, so that no bass note looks like one."""

    def __init__(self, channels: int, hop_frames: int, rate_hz: int) -> None:
        self._hop = hop_frames
        self._rate_hz = rate_hz
        keep = math.exp(-hop_frames / rate_hz / DC_TIME_S)
        ages = np.arange(_SECOND_HOPS)[::-1]
        # The state after a second, from the state before it and the hops between, oldest first.
        self._decay = keep**_SECOND_HOPS
        self._into_first = (1 - keep) * keep**ages
        self._into_second = (1 - keep) ** 2 * (ages + 1) * keep**ages
        self._first_to_second = (1 - keep) * _SECOND_HOPS * self._decay
        self._first = np.zeros(channels)
        self._second = np.zeros(channels)
        self._seconds = 0
        self._over = np.zeros(channels, np.int64)
        self._sum = np.zeros(channels)

    def process(self, totals: Floats) -> None:
        self._sum += totals.sum(axis=0)
        means = totals / self._hop
        second = self._decay * self._second + self._first_to_second * self._first
        self._second = second + self._into_second @ means
        self._first = self._decay * self._first + self._into_first @ means
        self._seconds += 1
        # Until the averages have filled up they read low, which is the safe side.
        self._over += (np.abs(self._second) >= DC_OFFSET) * np.sign(self._second).astype(np.int64)

    def recent(self) -> list[Fault]:
        return _offsets(self._second, np.abs(self._second) >= DC_OFFSET)

    def overall(self, rest: _Hops) -> list[Fault]:
        hops = self._seconds * _SECOND_HOPS + rest.total.shape[0]
        if not hops:
            return []
        mean = (self._sum + rest.total.sum(axis=0)) / (hops * self._hop)
        if self._seconds * self._hop * _SECOND_HOPS / self._rate_hz >= 4 * DC_TIME_S:
            steady = (np.abs(mean) >= DC_OFFSET) & (np.abs(self._over) >= self._seconds / 4)
        else:
            # Too short for the averages: what a full-scale 20 Hz tone could leave in a plain mean is allowed.
            seconds = hops * self._hop / self._rate_hz
            steady = np.abs(mean) >= DC_OFFSET + 1 / (20 * math.pi * seconds)
        return _offsets(mean, steady)


def _offsets(mean: Floats, which: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> list[Fault]:
    return [
        Fault(FaultKind.DC_OFFSET, channel, round(float(mean[channel]), 5))
        for channel in np.flatnonzero(which).tolist()
    ]


class _Resolution:
    """The finest step that occurs: low bits that are always zero."""

    _EVERY = 8
    """One hop in so many is enough: a converter's last bit never rests for long."""
    _LEAST_VALUES = 20_000
    """Samples that must have been seen, not counting zeros."""
    _LEAST_STEPS = 32
    """The loudest sample in steps of the finest one: a test tone of a few values says nothing."""

    def __init__(self, claimed_bits: int) -> None:
        self._claimed = claimed_bits
        self._bits = 0
        self._seen = 0
        self._peak = 0
        self._fine = claimed_bits <= MISSING_BITS

    def process(self, apart: Samples, first: int) -> None:
        """(channels, hops, frames), and the position of the first hop in the stream."""
        if self._fine:
            return
        scaled = apart[:, -first % self._EVERY :: self._EVERY] * np.float32(_GRID)
        if not scaled.size:
            return
        with np.errstate(invalid="ignore"):  # what does not fit comes out as something else, and is seen
            steps = scaled.astype(np.int32)
        if (steps != scaled).any():
            self._fine = True  # finer than 24 bit: floating point all the way
            return
        self._bits |= int(np.bitwise_or.reduce(steps, axis=None))
        self._seen += int(np.count_nonzero(steps))
        self._peak = max(self._peak, int(steps.max()), -int(steps.min()))
        self._fine = self._found_bits() > self._claimed - MISSING_BITS

    def faults(self) -> list[Fault]:
        if self._fine or self._seen < self._LEAST_VALUES:
            return []
        found = self._found_bits()
        if self._peak >> (24 - found) < self._LEAST_STEPS:
            return []
        return [Fault(FaultKind.LOW_RESOLUTION, value=float(found))]

    def _found_bits(self) -> int:
        if not self._bits:
            return 0
        zeros = (self._bits & -self._bits).bit_length() - 1
        return max(1, 24 - zeros)
