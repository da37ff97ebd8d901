"""Flat tops below full scale: the sound was possibly overloaded before the converter.

An overloaded stage cuts every wave at one level, its ceiling, however loud the player is. Near a smooth
maximum a wave is a parabola, so of the time that it spends within a distance d of its top, it spends the
share √(e/d) within e, whatever its pitch and level. A ceiling breaks this: far more samples lie at one level
than right below it. What must hold before anything is claimed:

* a spike in the amplitude histogram of the last seconds that no sum of parabolas can make,
* next to nothing above it,
* ordinary waves below it, without spikes of their own (a square wave is flat at every level), and
* at least two moments that reach it.

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

import numpy as np
import numpy.typing as npt

from dsp.decibels import amplitude_to_db
from dsp.reading import Clip, ClipKind
from dsp.types import Floats, Samples

SEGMENT_HOPS = 100
"""Decisions fall once a second, at places that depend on the stream alone."""
MEMORY_SEGMENTS = 10
"""Seconds that the histogram remembers (time constant), and that a claim looks back."""

CORNERS_HZ = (0.0, 1.5, 3.0, 5.0, 8.0, 12.0, 16.0, 20.0)
"""Assumed corner frequencies of the coupling; 0 takes the samples as they are."""
_LEAK_HZ = 0.5
"""The integral forgets below this, so that a DC offset cannot run away."""

LEAST_SPIKE = 0.45
"""Share of the samples from 0.9 of the ceiling up to it that must lie at the ceiling. A steady sine reaches
√(5/32) = 0.40."""
_LEAST_SAMPLES_S = 0.001
"""Time at the ceiling, within the memory, that counts as evidence."""
_HIGHEST_CEILING = 0.995
"""From here on it is the converter's own full scale."""

# Histogram bins are the exponent and the top eight mantissa bits of a float32: 256 bins an octave, 0.2 to
# 0.4 % wide, for the price of a shift.
_SHIFT = 15
_OCTAVE = 256
_LOWEST_BIN = int(np.float32(2.0**-9).view(np.int32)) >> _SHIFT
_BINS = (int(np.float32(4.0).view(np.int32)) >> _SHIFT) - _LOWEST_BIN
_HALF_SPIKE = 2
_BELOW = 32
"""Bins below the ceiling that the spike is compared with: about 10 %."""

_LOUD, _QUIET = 0.6, 0.15
"""Hops above the first, relative to the recent maximum, may reach the ceiling; down to the second they show
what waves below it look like."""
_LOUD_HOPS, _QUIET_HOPS = 24, 8
"""How many of each go into the histogram, a second."""

_Counts = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class _Tops:
    """The loud hops of one segment and one polarity."""

    hop: npt.NDArray[np.int64]
    """Position in hops since the stream (or the last gap) began, rising."""
    peak: Floats
    integral: Floats
    """Of the samples, leaky, at the peak."""


class _Channel:
    def __init__(self, rate_hz: int, hop_frames: int) -> None:
        self._hop = hop_frames
        self._per_hop = math.exp(-2 * math.pi * _LEAK_HZ * hop_frames / rate_hz)
        corners = np.array(CORNERS_HZ)
        self._tilts = 2 * np.pi * np.maximum(corners - _LEAK_HZ, 0.0) / rate_hz
        self._least = _LEAST_SAMPLES_S * rate_hz
        self._integral = 0.0
        self._recent_peak = 0.0
        self._counts: _Counts = np.zeros((2, corners.size, _BINS), np.float32)
        self._tops: deque[tuple[_Tops, _Tops]] = deque(maxlen=MEMORY_SEGMENTS)
        self._reported: int = -1

    def process(self, hops: Samples, first_hop: int) -> list[tuple[int, int, float]]:
        """Take in a segment, (hops, frames); return [(first hop, last hop, highest sample)] of new events."""
        high, low = hops.max(axis=1), -hops.min(axis=1)
        peaks = np.maximum(high, low)
        loudest = float(peaks.max())
        self._recent_peak = max(loudest, self._recent_peak * 0.5 ** (1 / MEMORY_SEGMENTS))
        starts = self._integrals(hops)
        self._counts *= np.float32(math.exp(-1 / MEMORY_SEGMENTS))
        loud = np.flatnonzero(peaks >= _LOUD * self._recent_peak)
        if self._recent_peak < 2.0**-7 or not loud.size:
            self._tops.append((_NO_TOPS, _NO_TOPS))
            return []
        quiet = np.flatnonzero((peaks < _LOUD * self._recent_peak) & (peaks >= _QUIET * self._recent_peak))
        self._count(hops, np.concatenate((_spread(loud, _LOUD_HOPS), _spread(quiet, _QUIET_HOPS))), starts)
        self._tops.append(
            (
                self._loud_tops(hops, high, starts, first_hop, 1.0),
                self._loud_tops(hops, low, starts, first_hop, -1.0),
            )
        )
        ceilings = self._ceilings()
        return self._events(ceilings) if ceilings else []

    def _integrals(self, hops: Samples) -> Floats:
        """The leaky integral at the start of each hop; carries on to the next segment."""
        sums = hops.sum(axis=1, dtype=np.float64)
        powers = self._per_hop ** np.arange(sums.size + 1)
        after = powers[1:] * self._integral + np.convolve(sums, powers[:-1])[: sums.size]
        starts = np.concatenate(([self._integral], after[:-1]))
        self._integral = float(after[-1])
        return starts

    def _count(self, hops: Samples, chosen: npt.NDArray[np.int64], starts: Floats) -> None:
        y = hops[chosen]
        integral = (starts[chosen, np.newaxis] + np.cumsum(y, axis=1, dtype=np.float64)).astype(np.float32)
        for index, tilt in enumerate(self._tilts):
            x = y + np.float32(tilt) * integral if tilt else y
            bits = np.abs(x).view(np.int32) >> _SHIFT
            bits -= _LOWEST_BIN
            # Both polarities in one count: negative samples lie one histogram further.
            inside = (bits >= 0) & (bits < _BINS)
            bits += (x < 0) * np.int32(_BINS)
            self._counts[:, index] += np.bincount(bits[inside], minlength=2 * _BINS).reshape(2, _BINS)

    def _loud_tops(self, hops: Samples, peaks: Samples, starts: Floats, first_hop: int, sign: float) -> _Tops:
        at = np.flatnonzero(peaks >= _LOUD * self._recent_peak)
        y = hops[at] * np.float32(sign)
        where = y.argmax(axis=1)
        running = np.cumsum(y, axis=1, dtype=np.float64)[np.arange(at.size), where]
        return _Tops(at + first_hop, peaks[at].astype(np.float64), sign * starts[at] + running)

    def _ceilings(self) -> list[tuple[int, int, float]]:
        """[(polarity, corner, level)] that the histograms show, at most one a polarity."""
        occupied = np.flatnonzero((self._counts >= 0.3).any(axis=(0, 1)))
        if not occupied.size:
            return []
        end = int(occupied[-1]) + 1 + _HALF_SPIKE
        begin = max(0, end - 2 * _OCTAVE)
        counts = self._counts[:, :, begin:end].astype(np.float64)
        total = np.concatenate((np.zeros((*counts.shape[:2], 1)), np.cumsum(counts, axis=2)), axis=2)
        bins = np.arange(_BELOW + _HALF_SPIKE, end - begin - _HALF_SPIKE)
        if not bins.size:
            return []
        upto = total[:, :, bins - _HALF_SPIKE]
        spike = total[:, :, bins + _HALF_SPIKE + 1] - upto
        below = upto - total[:, :, bins - _BELOW]
        above = total[:, :, -1:] - total[:, :, bins + _HALF_SPIKE + 1]
        share = spike / np.maximum(spike + below, 1e-9)
        clear = (share >= LEAST_SPIKE) & (spike >= self._least) & (above <= spike)
        if not clear.any():
            return []
        found: list[tuple[int, int, float]] = []
        for polarity in range(2):
            score = np.where(clear[polarity], share[polarity], 0.0)
            corner, place = np.unravel_index(int(score.argmax()), score.shape)
            if not score[corner, place]:
                continue
            at = int(bins[place])
            level = _level(at + begin + _LOWEST_BIN)
            if level >= _HIGHEST_CEILING:
                continue
            waves = (
                total[polarity, corner, at - _BELOW] - total[polarity, corner, max(0, at - 7 * _OCTAVE // 4)]
            )
            if waves < 0.1 * spike[polarity, corner, place]:
                continue  # nothing but the flat tops themselves: a square wave
            lower = place - _BELOW
            spikes = (share[polarity, corner, :lower] >= 0.4) & (
                spike[polarity, corner, :lower] >= 0.1 * spike[polarity, corner, place]
            )
            if lower > 0 and spikes.any():
                continue  # flat at other levels too: the sound is made that way
            found.append((polarity, int(corner), level))
        return found

    def _events(self, ceilings: list[tuple[int, int, float]]) -> list[tuple[int, int, float]]:
        hops: list[npt.NDArray[np.int64]] = []
        peaks: list[Floats] = []
        for polarity, corner, level in ceilings:
            tops = [segment[polarity] for segment in self._tops]
            hop = np.concatenate([top.hop for top in tops])
            peak = np.concatenate([top.peak for top in tops])
            before = peak + self._tilts[corner] * np.concatenate([top.integral for top in tops])
            reach = before >= 0.985 * level
            hop, peak = hop[reach], peak[reach]
            if hop.size < 3 or not (np.diff(hop) > 20).any():
                continue  # one moment is not enough
            hops.append(hop)
            peaks.append(peak)
        if not hops:
            return []
        hop, peak = np.concatenate(hops), np.concatenate(peaks)
        order = np.argsort(hop, kind="stable")
        hop, peak = hop[order], peak[order]
        fresh = hop > self._reported
        hop, peak = hop[fresh], peak[fresh]
        if not hop.size:
            return []
        self._reported = int(hop[-1])
        breaks = np.flatnonzero(np.diff(hop) > 5) + 1
        return [
            (int(group[0]), int(group[-1]), float(tops.max()))
            for group, tops in zip(np.split(hop, breaks), np.split(peak, breaks), strict=True)
        ]


_NO_TOPS = _Tops(np.empty(0, np.int64), np.empty(0), np.empty(0))


def _spread(items: npt.NDArray[np.int64], most: int) -> npt.NDArray[np.int64]:
    """At most so many of the items, evenly spread."""
    if items.size <= most:
        return items
    return items[np.arange(most) * items.size // most]


def _level(index: int) -> float:
    """The middle of a histogram bin."""
    return float(np.int32((index << _SHIFT) + (1 << (_SHIFT - 1))).view(np.float32))


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
            take = min(hops.shape[0] - done, self._buffer.shape[1] - self._filled)
            self._buffer[:, self._filled : self._filled + take] = hops[done : done + take].T
            self._filled += take
            done += take
            if self._filled == self._buffer.shape[1]:
                found += self._segment()
        return tuple(found)

    def gap(self) -> tuple[Clip, ...]:
        """Judge what is there: the frames that follow do not follow on."""
        found = self._segment() if self._filled else []
        self._next_frame = None
        self._hops_before = 0
        channels = self._buffer.shape[0]
        self._channels = [_Channel(self._rate_hz, self._hop) for _ in range(channels)]
        return tuple(found)

    def flush(self) -> tuple[Clip, ...]:
        """Judge what is left at the end of the stream."""
        return self.gap()

    def _segment(self) -> list[Clip]:
        hops = self._filled // self._hop
        found: list[Clip] = []
        for index, channel in enumerate(self._channels):
            samples = self._buffer[index, : hops * self._hop].reshape(hops, self._hop)
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
