"""Flat tops below full scale: the sound was possibly overloaded before the converter.

An overloaded stage cuts every wave at one level, its ceiling, however loud the player is. Near a smooth
maximum a wave is a parabola, so of the time that it spends within a distance d of its top, it spends the
share √(e/d) within e, whatever its pitch and level. A ceiling breaks this: far more samples lie at one level
than right below it. What must hold before anything is claimed:

* a spike in the amplitude histogram of the last seconds, sharper than any sum of parabolas can make, with
  less above it than in it (an anti-alias filter rings beyond the ceiling),
* ordinary waves below it, without spikes of their own (a square wave is flat at every level), and
* many hops, over some time, whose highest samples agree on that level, and none far above it, and
* waves that stand still there: between two humps of one top, a valley slows a wave down at a level of its
  own, and a note that is played again and again piles such valleys up.

A coupling capacitor after the overloaded stage tilts the tops, y' = −ω·y, and smears the spike. With a
first-order high-pass at f the samples before it were x = y + 2πf·∫y dt, so the histogram is kept for a bank
of assumed corner frequencies. Histograms of clipped sound: Eaton and Naylor, EUSIPCO 2013; Aleinik and
Matveev 2014. The parabola, the tilt and the thresholds are our own; tests/bench/flat_tops.py measures them.

This is a statement about likelihood. A waveform that was made flat on purpose looks the same.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from dsp.clips import FULL_SCALE
from dsp.decibels import amplitude_to_db
from dsp.reading import Clip, ClipKind
from dsp.types import Floats, Samples

SEGMENT_HOPS = 100
"""Decisions fall once a second, at places that depend on the stream alone."""
MEMORY_SEGMENTS = 10
"""Seconds that the histogram remembers (time constant), and that a claim looks back."""
_FADE = np.float32(math.exp(-1 / MEMORY_SEGMENTS))

CORNERS_HZ = (0.0, 2.0, 4.0, 7.0, 12.0, 18.0)
"""Assumed corner frequencies of the coupling; 0 takes the samples as they are."""
_LEAK_HZ = 0.5
"""The integral forgets below this, so that a DC offset cannot run away."""

LEAST_SPIKE = 0.51
"""Share of the samples from 0.93 of the ceiling up to it that must lie at the ceiling. A steady sine comes to
√(2/8) = 0.50, wherever the ceiling is put."""
_FLAT_BELOW = 0.9 * LEAST_SPIKE
"""Share from which waves below the ceiling are flat at a level of their own, which no ceiling explains."""
_LEAST_SPIKE_S = 0.001
"""Time at the ceiling that counts as evidence."""
_LEAST_HOPS, _LEAST_SPAN_HOPS, _LEAST_PILE = 15, 20, 0.3
"""Evidence in hops: how many reach the ceiling, over which time, and their part of all that come near."""
_LEAST_STILL = 0.15
"""Share of the time in tops that reach the ceiling during which they must stand still."""
_STILL = 0.002
"""Standing still is to keep so close to a straight line over the middle of a top, beyond what noise adds. A
parabola leaves it by 0.011, a top as flat as a fourth power by 0.004."""
_STILL_HOPS = 48
"""How many hops are looked at for that."""
_LEAST_TOP = 4
"""Samples that a top must have to say anything about this."""
_RINGING = 1.15
"""What an anti-alias filter may add to a ceiling; tops above it contradict the ceiling."""
_JOIN_HOPS = 5
"""Hops up to 50 ms apart are one event, as with clips at full scale."""
_MOST_FULL_SCALE = 0.1
"""Where more of the tops are at full scale, the converter itself was overloaded: see dsp.clips."""

# Histogram bins are the exponent and the top eight mantissa bits of a float32: 256 bins an octave, 0.2 to
# 0.4 % wide, for the price of a shift. What is measured in them is a part of the level all the same.
_SHIFT = 15
_OCTAVE = 256
_LOWEST_PEAK = 2.0**-7
"""Nothing is claimed about sound whose peaks stay under −42 dBFS."""
_HIGHEST_PEAK = 4.0
"""Nor about floating-point sound whose peaks pass +12 dBFS: no converter made it."""
_LOWEST_BIN = int(np.float32(_LOWEST_PEAK / 8).view(np.int32)) >> _SHIFT
_BINS = (int(np.float32(_HIGHEST_PEAK).view(np.int32)) >> _SHIFT) - _LOWEST_BIN
_MAGNITUDE = np.int32(0xFFFF)
_HALF_SPIKE = 0.01
"""A spike reaches so far above and below its ceiling, as a part of it."""
_BELOW = 0.07
"""The spike is compared with what lies right below it, down to this far below the ceiling."""
_BELOW_BINS = math.ceil(2 * _OCTAVE * _BELOW) + 1
_SPIKE_BINS = math.ceil(2 * _OCTAVE * _HALF_SPIKE) + 1
"""No fewer bins than these two reach over, from anywhere in an octave."""
_ROUNDING = 1e-6
"""Samples; sums of as many as a histogram holds are off by a millionth of that."""

_LOUD, _QUIET = 0.6, 0.15
"""Hops above the first, relative to the recent maximum, may reach the ceiling; down to the second they show
what waves below it look like."""
_LOUD_HOPS, _QUIET_HOPS = 12, 4
"""How many of each go into the histogram, a second."""

_Ints = npt.NDArray[np.int64]
_Counts = npt.NDArray[np.float32]
_HopRange: TypeAlias = tuple[int, int, float]
"""First hop, last hop, highest sample."""


@dataclass(frozen=True, slots=True)
class Ceiling:
    """A level at which waves are possibly cut."""

    polarity: int
    """0 for positive samples, 1 for negative ones."""
    corner: int
    """Index into :data:`CORNERS_HZ`."""
    level: float
    """Magnitude at ±1.0 full scale."""


@dataclass(frozen=True, slots=True)
class _Tops:
    """The highest samples of the loud hops of one segment, one polarity."""

    hop: _Ints
    """Position in hops since the stream (or the last gap) began, rising."""
    peak: Floats
    integral: Floats
    """Leaky integral of the samples up to the peak."""


@dataclass(frozen=True)
class _Waves:
    """Some loud hops of one segment."""

    y: Samples
    """(hops, frames)."""
    starts: Floats
    """(hops,): leaky integrals at their beginnings."""

    @cached_property
    def integrals(self) -> Floats:
        """(hops, frames): the integral up to each sample. Needed seldom, but then every second."""
        return np.asarray(np.cumsum(self.y, axis=1) + self.starts[:, np.newaxis])


class _Channel:
    def __init__(self, rate_hz: int, hop_frames: int) -> None:
        # Bins are wider at the lower end of an octave. So that a gain cannot change what is found, the first
        # sound that is loud enough is brought to one place in its octave, and the rest with it.
        self._scale = 0.0
        # The integral at the start of each hop of a segment, and after the last, by the one before it.
        self._decay = math.exp(-2 * math.pi * _LEAK_HZ * hop_frames / rate_hz) ** np.arange(SEGMENT_HOPS + 1)
        corners_hz = np.array(CORNERS_HZ)
        self._tilts = 2 * np.pi * np.maximum(corners_hz - _LEAK_HZ, 0.0) / rate_hz
        self._tilt_column = self._tilts.astype(np.float32)[:, np.newaxis]
        self._least = _LEAST_SPIKE_S * rate_hz
        self._ones = np.ones(hop_frames, np.float32)
        self._integral = 0.0
        self._recent_peak = 0.0
        self._counts: _Counts = np.zeros((2, corners_hz.size, _BINS), np.float32)
        self._tops: deque[tuple[_Tops, _Tops]] = deque(maxlen=MEMORY_SEGMENTS)
        self._waves: deque[_Waves] = deque(maxlen=MEMORY_SEGMENTS)
        self._reported = -1

    def process(self, hops: Samples, first_hop: int) -> list[_HopRange]:
        """Take in a segment, (hops, frames) in one piece; return the events that it makes clear."""
        # numpy finds the place of a maximum three times faster than the maximum.
        hop = np.arange(hops.shape[0])
        high_at, low_at = hops.argmax(axis=1), hops.argmin(axis=1)
        high, low = hops[hop, high_at], -hops[hop, low_at]
        peaks = np.maximum(high, low)
        self._recent_peak = max(float(peaks.max()), self._recent_peak * 0.5 ** (1 / MEMORY_SEGMENTS))
        self._counts *= _FADE
        starts = self._integrals(hops)
        loudest, loud_from = self._recent_peak, _LOUD * self._recent_peak
        loud = np.flatnonzero(peaks >= loud_from)
        if not _LOWEST_PEAK <= loudest <= _HIGHEST_PEAK or not loud.size:
            self._tops.append((_NO_TOPS, _NO_TOPS))
            self._waves.append(_Waves(hops[:0].copy(), starts[:0]))
            return []
        self._scale = self._scale or 0.5 / math.frexp(loudest)[0]
        quiet = np.flatnonzero((peaks < loud_from) & (peaks >= _QUIET * loudest))
        loud = _some(loud, _LOUD_HOPS)
        counted = np.concatenate((loud, _some(quiet, _QUIET_HOPS)))
        waves, before = hops[counted], starts[counted]
        self._count(waves, before)
        self._waves.append(_Waves(waves[: loud.size], before[: loud.size]))
        above, below = np.flatnonzero(high >= loud_from), np.flatnonzero(low >= loud_from)
        both = np.concatenate((above, below))
        integrals = _integrals_at(hops, starts, both, np.concatenate((high_at[above], low_at[below])))
        self._tops.append(
            (
                _Tops(above + first_hop, high[above].astype(np.float64), integrals[: above.size]),
                _Tops(below + first_hop, low[below].astype(np.float64), -integrals[above.size :]),
            )
        )
        ceilings = find_ceilings(self._counts, self._least)
        return self._events(ceilings) if ceilings else []

    def _integrals(self, hops: Samples) -> Floats:
        """The leaky integral at the start of each hop; carries on to the next segment."""
        # Single precision will do here: the tilts take the integral down by three orders of magnitude.
        sums = np.vecdot(hops, self._ones).astype(np.float64)
        count = sums.size
        after = self._decay[1 : count + 1] * self._integral + np.convolve(sums, self._decay[:count])[:count]
        starts = np.concatenate(([self._integral], after[:-1]))
        self._integral = float(after[-1])
        return starts

    def _count(self, y: Samples, starts: Floats) -> None:
        """Add samples to the histograms, restored for every assumed corner frequency.

        Rows are hops; ``starts`` are the integrals at their beginnings.
        """
        integrals = np.cumsum(y, axis=1)
        integrals += starts.astype(np.float32)[:, np.newaxis]
        matter = np.flatnonzero(np.abs(y) >= np.float32(_QUIET * self._recent_peak))
        x = self._tilt_column * integrals.ravel().take(matter)
        x += y.ravel().take(matter)
        x *= np.float32(self._scale)
        corners, recent_peak = self._tilts.size, self._scale * self._recent_peak
        lowest = max(0, _bin(0.5 * _QUIET * recent_peak))
        bins = min(_BINS, _bin(2 * recent_peak)) - lowest
        # One histogram a polarity and corner, in one count. Numbers as wide as the samples, and in place:
        # anything else costs twice the time.
        bits = x.view(np.int32) >> np.int32(_SHIFT)
        offset = bits >> np.int32(16)  # all bits are the sign's
        offset &= np.int32(corners * bins)
        begin = lowest + _LOWEST_BIN
        offset += np.arange(-begin, corners * bins - begin, bins, dtype=np.int32)[:, np.newaxis]
        bits &= _MAGNITUDE
        np.clip(bits, np.int32(begin), np.int32(begin + bins - 1), out=bits)
        bits += offset
        counts = np.bincount(bits.ravel(), minlength=2 * corners * bins).reshape(2, corners, bins)
        # The outermost bins took what lies outside, too.
        self._counts[:, :, lowest + 1 : lowest + bins - 1] += counts[:, :, 1:-1]

    def _events(self, ceilings: list[Ceiling]) -> list[_HopRange]:
        """The moments within the memory that reach the ceilings, without those told before."""
        reaching = [_NO_TOPS, _NO_TOPS]
        for ceiling in ceilings:
            if not reaching[ceiling.polarity].hop.size:
                reaching[ceiling.polarity] = self._reaching(ceiling)
        hop = np.concatenate([tops.hop for tops in reaching])
        peak = np.concatenate([tops.peak for tops in reaching])
        order = np.argsort(hop, kind="stable")
        order = order[hop[order] > self._reported]
        if not order.size:
            return []
        hop, peak = hop[order], peak[order]
        self._reported = int(hop[-1])
        breaks = np.flatnonzero(np.diff(hop) > _JOIN_HOPS) + 1
        return [
            (int(group[0]), int(group[-1]), float(tops.max()))
            for group, tops in zip(np.split(hop, breaks), np.split(peak, breaks), strict=True)
        ]

    def _reaching(self, ceiling: Ceiling) -> _Tops:
        """The tops at a ceiling; none unless they pile up and stand still there, with nothing far above."""
        level = ceiling.level / self._scale
        tops = [segment[ceiling.polarity] for segment in self._tops]
        hop = np.concatenate([top.hop for top in tops])
        peak = np.concatenate([top.peak for top in tops])
        integral = np.concatenate([top.integral for top in tops])
        relative = (peak + self._tilts[ceiling.corner] * integral) / level
        at = (relative > 0.98) & (relative < 1.02)
        where = hop[at]
        if (
            where.size < _LEAST_HOPS
            or where[-1] - where[0] < _LEAST_SPAN_HOPS
            or where.size < _LEAST_PILE * np.count_nonzero(relative > 0.9)
            or np.count_nonzero(relative >= _RINGING) > 0.05 * where.size
        ):
            return _NO_TOPS
        reach = relative > 0.985
        if np.count_nonzero(peak[reach] >= FULL_SCALE) > _MOST_FULL_SCALE * np.count_nonzero(reach):
            return _NO_TOPS
        if self._still(ceiling, level) < _LEAST_STILL:
            return _NO_TOPS
        return _Tops(hop[reach], peak[reach], integral[reach])

    def _still(self, ceiling: Ceiling, level: float) -> float:
        """Share of the time in tops that reach a ceiling during which they stand still."""
        at_ceiling = []
        for waves in self._waves:
            x = self._tilts[ceiling.corner] * waves.integrals
            x += waves.y
            x /= -level if ceiling.polarity else level
            highest = x.max(axis=1)
            at_ceiling.append(x[(highest > 0.98) & (highest < _RINGING)])
        x = np.concatenate(at_ceiling)
        return still_share(x[_some(np.arange(x.shape[0]), _STILL_HOPS)])


def find_ceilings(counts: _Counts, least: float) -> list[Ceiling]:
    """The levels at which amplitude histograms show a cut, the sharpest first.

    Parameters
    ----------
    counts
        (2, corners, bins) samples for each polarity and assumed corner frequency.
    least
        Samples that a spike must hold.
    """
    occupied = np.flatnonzero(counts.reshape(-1, _BINS).max(axis=0) >= 0.3)
    if not occupied.size or occupied[-1] < _BELOW_BINS or occupied[-1] >= _BINS - _SPIKE_BINS:
        return []
    last = int(occupied[-1]) + 1
    # Ringing goes above the ceiling, and a wrong corner frequency can blow it up to more than twice.
    first = max(_BELOW_BINS, last - 3 * _OCTAVE // 2)
    begin, end = first - _BELOW_BINS, last + _SPIKE_BINS
    total = _running(counts[:, :, begin:end])
    at = _possible(total[:, :, first - begin - _SPIKE_BINS :], least)
    if not at.size:
        return []
    first, last = first + int(at[0]), first + int(at[-1]) + 1
    spike, below, upto = _spikes(total, begin, first, last)
    above = total[:, :, -1:] - upto
    clear = (spike >= LEAST_SPIKE * (spike + below)) & (spike >= least) & (above <= spike)
    if not clear.any():
        return []
    # A wrong corner frequency turns flat into sloping, so the right one has the least beside its spike.
    sharpness = np.where(clear, _share(spike, below) * spike / (spike + above + 1e-9), 0.0)
    found: list[tuple[float, Ceiling]] = []
    for polarity, corner in np.argwhere(clear.any(axis=2)).tolist():
        sharpest = int(sharpness[polarity, corner].argmax())
        level = _level(first + sharpest)
        held = float(spike[polarity, corner, sharpest])
        if _ordinary_below(counts[polarity, corner], first + sharpest, held):
            found.append((float(sharpness[polarity, corner, sharpest]), Ceiling(polarity, corner, level)))
    return [ceiling for _, ceiling in sorted(found, key=lambda item: -item[0])]


def still_share(x: Floats) -> float:
    """Share of the time in tops during which they stand still.

    Parameters
    ----------
    x
        (hops, frames) samples relative to a ceiling. A top is where a wave passes 0.9 and comes to 0.985.
    """
    near = np.flatnonzero(x >= 0.9)
    if not near.size:
        return 0.0
    t = near % x.shape[1]
    apart = (np.diff(near) > 1) | (t[1:] == 0)
    begin = np.concatenate(([0], np.flatnonzero(apart) + 1))
    end = np.append(begin[1:], near.size)
    y = x.ravel()[near]
    tops = (end - begin >= _LEAST_TOP) & (np.maximum.reduceat(y, begin) >= 0.985)
    begin, end = begin[tops], end[tops]
    length = end - begin
    if not length.size:
        return 0.0
    y -= 1.0
    # The flanks are left out, but the shortest tops keep three samples.
    margin = np.minimum(length // 5, (length - 3) // 2)
    begin, end = begin + margin, end - margin
    n = end - begin

    def mean(values: Floats) -> Floats:
        total = np.concatenate(([0.0], np.cumsum(values)))
        return np.asarray((total[end] - total[begin]) / n)

    mean_t, mean_y = mean(t), mean(y)
    slope = (mean(t * y) - mean_t * mean_y) / (mean(t * t.astype(np.float64)) - mean_t**2)
    variance = mean(y * y) - mean_y**2 - slope * (mean(t * y) - mean_t * mean_y)
    # Noise is rough, the course of a wave is not: second differences are six times white noise's variance.
    rough = np.concatenate(([0.0], np.cumsum(np.diff(y, 2) ** 2)))
    noise = (rough[end - 2] - rough[begin]) / (6 * (n - 2))
    return float(length[variance - noise <= _STILL**2].sum() / length.sum())


def _running(counts: _Counts) -> Floats:
    """How many samples lie below each bin, and below the end."""
    total = np.zeros((*counts.shape[:-1], counts.shape[-1] + 1))
    np.cumsum(counts, axis=-1, out=total[..., 1:])
    return total


def _possible(total: Floats, least: float) -> _Ints:
    """Bins that may hold a ceiling in some histogram, by bins that are whole: most of them do not.

    ``total`` begins :data:`_SPIKE_BINS` before the first bin that is meant, and ends as many after the last.
    """
    upto = total[:, :, 2 * _SPIKE_BINS : -1]
    most = upto - total[:, :, : -2 * _SPIKE_BINS - 1]
    most += _ROUNDING
    held = (most >= least) & (total[:, :, -1:] - upto <= most)
    return np.flatnonzero(held.any(axis=(0, 1)))


def _spikes(total: Floats, begin: int, first: int, last: int) -> tuple[Floats, Floats, Floats]:
    """How many samples lie at each of the bins, right below it, and anywhere up to its upper edge.

    The edges are parts of the level, and fall within bins, whose width changes by half over an octave.
    """

    def upto(edges: tuple[_Ints, Floats]) -> Floats:
        place, part = edges[0][first:last] - begin, edges[1][first:last]
        under = total.take(place, axis=-1)
        over = total.take(place + 1, axis=-1)
        over -= under
        over *= part
        over += under
        return over

    bottom, low, high = (upto(edges) for edges in _EDGES)
    return high - low, low - bottom, high


def _share(spike: Floats, below: Floats) -> Floats:
    return spike / np.maximum(spike + below, 1e-9)


def _ordinary_below(counts: _Counts, at: int, spike: float) -> bool:
    """Whether there are waves below a ceiling, and none of them is flat at its own level."""
    lowest = max(_BELOW_BINS, at - 7 * _OCTAVE // 4)
    begin = lowest - _BELOW_BINS
    total = _running(counts[begin : at + 1])
    highest = max(lowest, at - _OCTAVE // 6)
    waves = float(total[highest - begin] - total[lowest - begin])
    if waves < 0.1 * spike:
        return False  # nothing but the flat tops themselves: a square wave
    lower, below, _ = _spikes(total, begin, lowest, highest)
    return not bool(((_share(lower, below) >= _FLAT_BELOW) & (lower >= 0.1 * spike)).any())


def _integrals_at(hops: Samples, starts: Floats, at: _Ints, where: _Ints) -> Floats:
    """The integrals up to one sample in each of some hops; ``starts`` are those at the hops' beginnings."""
    begin = at * hops.shape[1]
    # Up to the sample, without it; where that is the hop's first, reduceat gives just this sample.
    between = np.stack((begin, begin + where), axis=1).ravel()
    before = np.add.reduceat(hops.reshape(-1), between)[::2]
    return np.asarray(starts[at] + np.where(where > 0, before, 0.0) + hops[at, where].astype(np.float64))


_NO_TOPS = _Tops(np.empty(0, np.int64), np.empty(0), np.empty(0))


def _some(places: _Ints, most: int) -> _Ints:
    """At most so many of them, evenly spread."""
    return places if places.size <= most else places[np.arange(most) * places.size // most]


def _bin(magnitude: float) -> int:
    return (int(np.float32(magnitude).view(np.int32)) >> _SHIFT) - _LOWEST_BIN


def _level(index: int) -> float:
    """The middle of a histogram bin."""
    bits = ((index + _LOWEST_BIN) << _SHIFT) + (1 << (_SHIFT - 1))
    return float(np.int32(bits).view(np.float32))


def _edges_at(relative: float) -> tuple[_Ints, Floats]:
    """For each bin, where a level relative to its middle lies: a bin, and the part of it that is below."""
    edges = (
        ((np.arange(_BINS + 1) + _LOWEST_BIN) << _SHIFT).astype(np.int32).view(np.float32).astype(np.float64)
    )
    level = (edges[:-1] + edges[1:]) / 2 * relative
    place = np.clip(np.searchsorted(edges, level, side="right") - 1, 0, _BINS - 1)
    return place, (level - edges[place]) / (edges[place + 1] - edges[place])


_EDGES = tuple(_edges_at(relative) for relative in (1 - _BELOW, 1 - _HALF_SPIKE, 1 + _HALF_SPIKE))


class FlatTopFinder:
    """Names moments at which the sound was possibly cut before the converter.

    Events are as exact as a hop; :attr:`~dsp.reading.Clip.frames` covers whole hops, ``runs`` counts the hops
    that reach the ceiling. A claim comes up to a few seconds late, once the evidence is there, and then also
    names what lies up to ten seconds back.
    """

    def __init__(self, rate_hz: int, channels: int, hop_frames: int) -> None:
        self._rate_hz = rate_hz
        self._hop = hop_frames
        self._buffer: Samples = np.empty((channels, SEGMENT_HOPS * hop_frames), np.float32)
        self._filled = 0
        self._start_frame = 0
        self._hops_before = 0
        self._next_frame: int | None = None
        self._channels = [_Channel(rate_hz, hop_frames) for _ in range(channels)]

    def process(self, hops: Samples, start_frame: int) -> tuple[Clip, ...]:
        """Take in whole hops, (n · hop_frames, channels); return the events that became clear."""
        found: list[Clip] = []
        if self._next_frame is not None and start_frame != self._next_frame:
            found += self.gap()
        if self._next_frame is None:
            self._start_frame = start_frame
        self._next_frame = start_frame + hops.shape[0]
        done = 0
        while done < hops.shape[0]:
            segment = self._buffer.shape[1]
            take = min(hops.shape[0] - done, segment - self._filled)
            some = hops[done : done + take].T
            if take < segment:
                self._buffer[:, self._filled : self._filled + take] = some
                some = self._buffer
            self._filled += take
            done += take
            if self._filled == segment:
                found += self._segment(some)
        return tuple(found)

    def gap(self) -> tuple[Clip, ...]:
        """Judge what is there: the frames that follow do not follow on."""
        found = self._segment(self._buffer[:, : self._filled]) if self._filled else []
        self._next_frame = None
        self._hops_before = 0
        channels = self._buffer.shape[0]
        self._channels = [_Channel(self._rate_hz, self._hop) for _ in range(channels)]
        return tuple(found)

    def flush(self) -> tuple[Clip, ...]:
        """Judge what is left at the end of the stream."""
        return self.gap()

    def _segment(self, apart: Samples) -> list[Clip]:
        hops = self._filled // self._hop
        found: list[Clip] = []
        for index, channel in enumerate(self._channels):
            samples = apart[index].reshape(hops, self._hop)
            for first, last, peak in channel.process(samples, self._hops_before):
                found.append(
                    Clip(
                        kind=ClipKind.FLAT_TOP,
                        channel=index,
                        start_frame=self._start_frame + first * self._hop,
                        frames=(last - first + 1) * self._hop,
                        peak_dbfs=amplitude_to_db(peak),
                        runs=last - first + 1,
                    )
                )
        self._hops_before += hops
        self._filled = 0
        return found
