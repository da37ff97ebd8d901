"""Mains hum: a steady 50 or 60 Hz with its harmonics, found while somebody plays.

The input is brought down to 2 kHz and cut into frames of one second, four a second. In each frequency bin the
tenth percentile over ten seconds keeps what is there nearly all the time, which hum is and notes are not
(after Brandt and Bitzer, J. Audio Eng. Soc. 62(9), 2014, who compare quantiles over time). Hum is claimed
where at least three of the first six harmonics stand out of their neighbourhood at their exact places, an
odd one among them, so that a held bass note is not accused: it has one or two harmonics there, or only even
ones. 300 Hz belongs to both combs and counts for neither.

Frames that hold notes say nothing about the hum under them: pauses of a second or more are what is needed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from dsp.decibels import mean_square_to_dbfs
from dsp.hops import planar
from dsp.reading import Hum
from dsp.types import Floats, Samples

_Ints: TypeAlias = npt.NDArray[np.intp]

_SAMPLES_A_HOP = 20
_FRAME = 2000
_STEP_HOPS = 25
_FRAMES = 37  # ten seconds: (37 - 1) / 4 s + 1 s
_LEAST_FRAMES = 17  # five seconds, with less nobody can tell
_PERCENTILE = 10.0
_HARMONICS = range(1, 7)
_SHARED_HZ = 300.0
_STANDS_OUT_DB = 10.0
_LEAST_HITS, _LEAST_LEAD = 3, 2
_SIDE_BINS = tuple(side for far in range(6, 16) for side in (-far, far))
"""Beyond the window's main lobe of ±4 bins, within 15 Hz."""
_GRID_HZ = 0.5
"""Grids stay within ±0.2 Hz in normal operation; the low G of a bass lies 1 Hz under 50 Hz."""
_LOBE = 4
_NOTE_RATIO = 2.5
"""The percentile reads hum up to 3 dB low; what differs by more is a note."""


@dataclass(frozen=True, slots=True)
class _Comb:
    """One mains frequency in one channel's steady spectrum."""

    mains_hz: int
    hits: int
    odd_hits: int
    peaks: _Ints
    """Bins of the harmonics that stand out."""
    lines: Floats
    """Mean square of each, in the percentile over time."""


class HumFinder:
    """Watches for hum on each channel.

    Parameters
    ----------
    rate_hz, channels, frames_per_hop
        The grid that :meth:`process` is fed on.
    """

    def __init__(self, rate_hz: int, channels: int, frames_per_hop: int) -> None:
        self._channels = channels
        self._hop = frames_per_hop
        self._slow_rate_hz = _SAMPLES_A_HOP * rate_hz / frames_per_hop
        decimator = _decimator(frames_per_hop)
        # What a hop's outputs owe to the end of the hop before, and to the hop itself.
        self._reach = decimator.shape[0] - frames_per_hop
        self._of_before, self._of_own = decimator[: self._reach], decimator[self._reach :]
        self._before: Samples = np.zeros((channels, self._reach), np.float32)
        self._slow: npt.NDArray[np.float32] = np.zeros((channels, _FRAME), np.float32)
        self._hops = 0
        self._spectra: Floats = np.zeros((_FRAMES, channels, _bins()))
        self._count = 0
        self._judged = 0
        self._found: tuple[Hum | None, ...] = (None,) * channels
        self._tallies = [_Tally() for _ in range(channels)]

    @property
    def found(self) -> tuple[Hum | None, ...]:
        """The hum on each channel over the last ten seconds."""
        self._judge()
        return self._found

    @property
    def overall(self) -> tuple[Hum | None, ...]:
        """The hum on each channel over everything: what was found in a tenth of the time at least."""
        self._judge(last=True)
        return tuple(tally.verdict() for tally in self._tallies)

    def process(self, hops: Samples) -> None:
        """Take in whole hops, ``(n * frames_per_hop, channels)``."""
        slow = self._decimate(hops)
        done, count = 0, hops.shape[0] // self._hop
        while done < count:
            take = min(count - done, _STEP_HOPS - self._hops % _STEP_HOPS)
            new = slow[:, done * _SAMPLES_A_HOP : (done + take) * _SAMPLES_A_HOP]
            self._slow = np.concatenate((self._slow[:, new.shape[1] :], new), axis=1)
            self._hops += take
            done += take
            if self._hops % _STEP_HOPS == 0 and self._hops * _SAMPLES_A_HOP >= _FRAME:
                self._spectra[self._count % _FRAMES] = _spectrum(self._slow)
                self._count += 1
                if self._count % _FRAMES == 0:
                    self._judge()
                    self._tally()

    def _decimate(self, hops: Samples) -> npt.NDArray[np.float32]:
        """20 samples a hop: (channels, samples)."""
        apart = planar(hops, self._hop)
        slow = apart @ self._of_own
        slow[:, 0] += self._before @ self._of_before
        slow[:, 1:] += apart[:, :-1, -self._reach :] @ self._of_before
        self._before = apart[:, -1, -self._reach :].copy()
        return slow.reshape(self._channels, -1)

    def _judge(self, *, last: bool = False) -> None:
        """Bring :attr:`found` up to the newest spectrum."""
        if last and self._count % _FRAMES >= _LEAST_FRAMES and not any(t.count for t in self._tallies):
            self._judge()
            self._tally()
            return
        if self._judged == self._count or self._count < _LEAST_FRAMES:
            return
        self._judged = self._count
        spectra = self._spectra[: min(self._count, _FRAMES)]
        steady = _percentile(spectra, _PERCENTILE)
        bin_hz = self._slow_rate_hz / _FRAME
        at_50, at_60 = (_combs(steady, bin_hz, mains_hz) for mains_hz in (50, 60))
        self._found = tuple(
            _hum(spectra[:, channel], *combs) for channel, combs in enumerate(zip(at_50, at_60, strict=True))
        )

    def _tally(self) -> None:
        for tally, hum in zip(self._tallies, self._found, strict=True):
            tally.add(hum)


class _Tally:
    """How often hum was found, and how loud."""

    def __init__(self) -> None:
        self.count = 0
        self._levels_dbfs: dict[int, list[float]] = {50: [], 60: []}

    def add(self, hum: Hum | None) -> None:
        self.count += 1
        if hum is not None:
            self._levels_dbfs[hum.mains_hz].append(hum.level_dbfs)

    def verdict(self) -> Hum | None:
        mains_hz, levels_dbfs = max(self._levels_dbfs.items(), key=lambda item: len(item[1]))
        if not levels_dbfs or len(levels_dbfs) < self.count / 10:
            return None
        return Hum(mains_hz, float(np.median(levels_dbfs)))


def _percentile(spectra: Floats, percent: float) -> Floats:
    """Percentile along the first axis, between neighbours by a straight line.

    numpy's own partitions where it could sort, which for so few numbers takes five times as long.
    """
    rank = percent / 100.0 * (spectra.shape[0] - 1)
    below = min(int(rank), spectra.shape[0] - 2)
    ordered = np.sort(spectra, axis=0)
    return np.asarray(ordered[below] + (rank - below) * (ordered[below + 1] - ordered[below]))


def _hum(spectra: Floats, at_50: _Comb, at_60: _Comb) -> Hum | None:
    """The hum in one channel, (frames, bins), from what both combs find in its steady spectrum."""
    best, other = (at_50, at_60) if at_50.hits >= at_60.hits else (at_60, at_50)
    if best.hits < _LEAST_HITS or not best.odd_hits or best.hits - other.hits < _LEAST_LEAD:
        return None
    return Hum(best.mains_hz, mean_square_to_dbfs(_mean_square(spectra, best)))


def _mean_square(spectra: Floats, comb: _Comb) -> float:
    """Mean square of the hum, each line from the frames in which its neighbourhood is calmest.

    The percentile that finds hum reads it a little low where notes come and go around it; the calmest quarter
    of the frames does not. But where notes stay on the line itself, only the percentile sees past them.
    """
    peaks = comb.peaks[:, np.newaxis]
    lobes = spectra[:, peaks + np.arange(-_LOBE, _LOBE + 1)].sum(axis=2)
    sides = np.median(spectra[:, peaks + np.array(_SIDE_BINS)], axis=2)
    calmest = np.argsort(sides, axis=0)[: max(1, spectra.shape[0] // 4)]
    calm = np.median(np.take_along_axis(lobes - (2 * _LOBE + 1) * sides, calmest, axis=0), axis=0)
    return float(np.where(calm > _NOTE_RATIO * comb.lines, comb.lines, np.maximum(0.0, calm)).sum())


def _combs(steady: Floats, bin_hz: float, mains_hz: int) -> list[_Comb]:
    """One mains frequency in the steady spectrum of each channel, (channels, bins)."""
    harmonics = np.array(_HARMONICS)
    centre = harmonics * mains_hz / bin_hz
    reach = harmonics * _GRID_HZ / bin_hz
    near = np.floor(centre - reach).astype(int)[:, np.newaxis] + np.arange(math.ceil(2.0 * reach[-1]) + 2)
    inside = near <= np.ceil(centre + reach)[:, np.newaxis]
    peak = near[:, 0] + np.where(inside, steady[:, near], -1.0).argmax(axis=2)
    channel = np.arange(steady.shape[0])[:, np.newaxis, np.newaxis]
    lobe = steady[channel, peak[..., np.newaxis] + np.arange(-_LOBE, _LOBE + 1)]
    sides = np.sort(steady[channel, peak[..., np.newaxis] + np.array(_SIDE_BINS)], axis=2)
    side = sides[..., len(_SIDE_BINS) // 2 - 1 : len(_SIDE_BINS) // 2 + 1].mean(axis=2)
    top = lobe[..., _LOBE]
    hit = (lobe[..., _LOBE - 1] < top) & (top > lobe[..., _LOBE + 1]) & (top > 0.0)
    hit &= top >= side * 10.0 ** (_STANDS_OUT_DB / 10.0)
    lines = np.maximum(0.0, lobe.sum(axis=2) - lobe.shape[2] * side)
    own = hit & (harmonics * mains_hz != _SHARED_HZ)
    odd = own & (harmonics % 2 == 1)
    return [
        _Comb(mains_hz, int(own[row].sum()), int(odd[row].sum()), peak[row, hit[row]], lines[row, hit[row]])
        for row in range(steady.shape[0])
    ]


def _spectrum(frames: npt.NDArray[np.float32]) -> Floats:
    """Power spectrum of one-second frames, (channels, samples) → (channels, bins).

    The bins of a line's main lobe add up to its mean square.
    """
    spectrum = np.fft.rfft(frames * _window(), axis=1)[:, : _bins()]
    power: Floats = spectrum.real.astype(np.float64) ** 2 + spectrum.imag.astype(np.float64) ** 2
    return power * (2.0 / _FRAME**2)


@cache
def _window() -> npt.NDArray[np.float32]:
    """Four-term Blackman-Harris, sidelobes at -92 dB (Harris, Proc. IEEE 66(1), 1978)."""
    phase = 2.0 * np.pi * np.arange(_FRAME) / _FRAME
    terms = (0.35875, -0.48829, 0.14128, -0.01168)
    window = sum(term * np.cos(k * phase) for k, term in enumerate(terms))
    return np.asarray(window / np.sqrt(np.mean(np.square(window))), np.float32)


def _bins() -> int:
    """Enough for the sixth harmonic of 60 Hz with its neighbourhood."""
    return 400


@cache
def _decimator(frames_per_hop: int) -> npt.NDArray[np.float32]:
    """A low-pass and decimator in one matrix: a window of samples in, the 20 samples of a hop out.

    Passes 360 Hz and stops 1640 Hz, where the first alias of 360 Hz lies: a windowed sinc at 1 kHz, Kaiser
    window for 90 dB (Kaiser's design formula).
    """
    step = frames_per_hop / _SAMPLES_A_HOP
    half = math.ceil(0.5 * (90.0 - 7.95) / (14.36 * 1280.0 / (2000.0 * step)))
    taps = frames_per_hop + 2 * half
    # Output n looks at the input around n * step; a fractional step moves the sinc, not the sample.
    at = np.arange(taps)[:, np.newaxis] - half - step * np.arange(_SAMPLES_A_HOP)[np.newaxis, :]
    inside = np.clip(1.0 - np.square(at / half), 0.0, None)
    kernel = np.sinc(at / step) * np.i0(0.1102 * (90.0 - 8.7) * np.sqrt(inside)) * (np.abs(at) <= half)
    return np.asarray(kernel / kernel.sum(axis=0), np.float32)
