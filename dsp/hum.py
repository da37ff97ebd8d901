"""Mains hum: a steady 50 or 60 Hz with its harmonics, found while somebody plays.

The input is brought down to 2 kHz and looked at in frames of two lengths: one second tells lines from notes
close in pitch, and a fifth of a second fits between notes that leave no longer rest. :mod:`dsp.mains` judges
what both saw in the last ten seconds (after Brandt and Bitzer, J. Audio Eng. Soc. 62(9), 2014: hum is what
stays, whatever else comes and goes).
"""

from __future__ import annotations

import math
from functools import cache
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from dsp.decibels import mean_square_to_dbfs
from dsp.hops import planar, windows
from dsp.mains import LINES_HZ, Lens, Mains, Phasors, View, find_mains
from dsp.reading import Hum
from dsp.types import Samples

_Slow: TypeAlias = npt.NDArray[np.float32]

_SAMPLES_A_HOP = 20
_PIECE_HOPS = 1000
"""Ten seconds: as much as is taken in at once."""

_LONG, _LONG_STEP = 2000, 500
_SHORT, _SHORT_STEP = 400, 100
_BLACKMAN_HARRIS = (0.35875, 0.48829, 0.14128, 0.01168)
"""Four terms, sidelobes at -92 dB (Harris, Proc. IEEE 66(1), 1978)."""
_HANN = (0.5, 0.5)
_LONG_SIDES = tuple(side for far in range(5, 13) for side in (-far, far))
_SHORT_SIDES = (-4, -3, 3, 4)
"""Bins beyond the windows' main lobes, where nothing of the line is left."""
_LONG_COHERENT, _SHORT_COHERENT = 0.65, 0.15
"""In 20 minutes each of twelve parts without hum, three lines at once reached 0.56 and 0.06 at most."""

# Judgements fall where a long frame ends, on a grid of their own: after 5 s, 7.5 s, 10 s and so on.
_WHOLE = 37  # long frames in ten seconds: (37 - 1) / 4 s + 1 s
_LEAST = 17  # and in five; with less nobody can tell
_EVERY = 10
_TALLY_EVERY = 40
_LEAST_SHARE = 0.1
_LINE_SHARE = 0.25


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
        slow_rate_hz = _SAMPLES_A_HOP * rate_hz / frames_per_hop
        decimator = _decimator(frames_per_hop)
        # What a hop's outputs owe to the end of the hop before, and to the hop itself.
        self._reach = decimator.shape[0] - frames_per_hop
        self._of_before, self._of_own = decimator[: self._reach], decimator[self._reach :]
        self._before: Samples = np.zeros((channels, self._reach), np.float32)
        self._long = _Frames(
            slow_rate_hz, channels, _LONG, _LONG_STEP, _BLACKMAN_HARRIS, _LONG_SIDES, _LONG_COHERENT
        )
        self._short = _Frames(
            slow_rate_hz, channels, _SHORT, _SHORT_STEP, _HANN, _SHORT_SIDES, _SHORT_COHERENT
        )
        self._waiting: list[_Slow] = []
        self._samples = 0
        self._judged = 0
        self._found: tuple[Mains | None, ...] = (None,) * channels
        self._tallied = 0
        self._tallies: list[list[Mains]] = [[] for _ in range(channels)]

    @property
    def found(self) -> tuple[Hum | None, ...]:
        """The hum on each channel over the last ten seconds."""
        return tuple(None if mains is None else _hum([mains]) for mains in self._latest())

    @property
    def overall(self) -> tuple[Hum | None, ...]:
        """The hum on each channel over everything: what was found in a tenth of the time at least."""
        if not self._tallied:
            return self.found
        return tuple(_overall(found, self._tallied) for found in self._tallies)

    def process(self, hops: Samples) -> None:
        """Take in whole hops, ``(n * frames_per_hop, channels)``."""
        for start in range(0, hops.shape[0], _PIECE_HOPS * self._hop):
            slow = self._decimate(hops[start : start + _PIECE_HOPS * self._hop])
            self._waiting.append(slow)
            before, self._samples = self._samples, self._samples + slow.shape[1]
            if before // _LONG_STEP != self._samples // _LONG_STEP:  # a long frame ends
                self._look(np.concatenate(self._waiting, axis=1))
                self._waiting = []

    def _look(self, slow: _Slow) -> None:
        """Add frames, and remember the verdicts on ten seconds each."""
        self._long.push(slow)
        self._short.push(slow)
        while (frames := _WHOLE + self._tallied * _TALLY_EVERY) <= self._long.count:
            self._tallied += 1
            self._judged, self._found = frames, self._judge(frames)
            for tally, mains in zip(self._tallies, self._found, strict=True):
                if mains is not None:
                    tally.append(mains)

    def _latest(self) -> tuple[Mains | None, ...]:
        """The newest judgement that is due."""
        frames = self._long.count - (self._long.count - _LEAST) % _EVERY
        if frames >= _LEAST and frames != self._judged:
            self._found = self._judge(frames)
            self._judged = frames
        return self._found

    def _judge(self, long_frames: int) -> tuple[Mains | None, ...]:
        """What the ten seconds show that end with a long frame."""
        of_long = min(long_frames, _WHOLE)
        of_short = (_LONG - _SHORT + (of_long - 1) * _LONG_STEP) // _SHORT_STEP + 1
        short_frames = (_LONG - _SHORT + (long_frames - 1) * _LONG_STEP) // _SHORT_STEP + 1
        views = (self._long.view(long_frames, of_long), self._short.view(short_frames, of_short))
        return tuple(find_mains(views))

    def _decimate(self, hops: Samples) -> _Slow:
        """20 samples a hop: (channels, samples)."""
        apart = planar(hops, self._hop)
        slow = apart @ self._of_own
        slow[:, 0] += self._before @ self._of_before
        slow[:, 1:] += apart[:, :-1, -self._reach :] @ self._of_before
        self._before = apart[:, -1, -self._reach :].copy()
        return slow.reshape(self._channels, -1)


def _hum(found: list[Mains]) -> Hum:
    """One hum out of several findings: each line's median, if it was seen often enough."""
    squares = np.array([mains.squares for mains in found])
    often = np.mean(~np.isnan(squares), axis=0) >= _LINE_SHARE
    total = np.nanmedian(squares[:, often], axis=0).sum()
    return Hum(found[0].mains_hz, mean_square_to_dbfs(float(total)))


def _overall(found: list[Mains], count: int) -> Hum | None:
    alike = [[mains for mains in found if mains.mains_hz == mains_hz] for mains_hz in (50, 60)]
    most = max(alike, key=len)
    return _hum(most) if most and len(most) >= _LEAST_SHARE * count else None


class _Frames:
    """Frames of one length as they come: amplitude and phase at each line, and what there is beside it."""

    def __init__(
        self,
        rate_hz: float,
        channels: int,
        frame: int,
        step: int,
        window: tuple[float, ...],
        sides: tuple[int, ...],
        coherent: float,
    ) -> None:
        bins = np.rint(LINES_HZ * frame / rate_hz).astype(np.intp)
        full = (_LONG + (_WHOLE - 1) * _LONG_STEP - frame) // step + 1
        self._lens = Lens(frame / rate_hz, step / rate_hz, window, bins * rate_hz / frame, coherent, full)
        self._frame, self._step = frame, step
        self._bins, first = bins, int(bins.min()) + min(sides)
        self._around = slice(first, int(bins.max()) + max(sides) + 1)
        # The mean over the side bins of each line, as a matrix.
        self._mean_beside = np.zeros((self._around.stop - first, bins.size), np.float32)
        for side in sides:
            self._mean_beside[bins + side - first, np.arange(bins.size)] = 1.0 / len(sides)
        phase = 2.0 * np.pi * np.arange(frame) / frame
        shape = sum((-1) ** k * term * np.cos(k * phase) for k, term in enumerate(window))
        self._window = np.asarray(shape * (2.0 / (window[0] * frame)), np.float32)
        self._rest: _Slow = np.empty((channels, 0), np.float32)
        # Ten seconds to look at, ten that may come at once, and room to move seldom.
        room = 4 * (full + 1)
        self._phasors: Phasors = np.empty((room, channels, LINES_HZ.size), np.complex64)
        self._beside = np.empty((room, channels, LINES_HZ.size), np.float32)
        self._end = 0
        self.count = 0
        """Frames that ever came."""

    def push(self, slow: _Slow) -> None:
        """Take in samples, (channels, samples)."""
        wave = np.concatenate((self._rest, slow), axis=1)
        count = max(0, (wave.shape[1] - self._frame) // self._step + 1)
        self._rest = wave[:, count * self._step :]
        if not count:
            return
        frames = windows(wave, self._frame, self._step)
        spectra = np.fft.rfft(frames[:, :count] * self._window, axis=2)
        around = spectra[:, :, self._around]
        beside = (np.square(around.real) + np.square(around.imag)) @ self._mean_beside
        if self._end + count > self._phasors.shape[0]:
            self._make_room()
        rows = slice(self._end, self._end + count)
        self._phasors[rows] = spectra[:, :, self._bins].transpose(1, 0, 2)
        self._beside[rows] = beside.transpose(1, 0, 2)
        self._end += count
        self.count += count

    def view(self, count: int, frames: int) -> View:
        """The last frames of the first so many."""
        end = self._end - (self.count - count)
        return View(self._lens, self._phasors[end - frames : end], self._beside[end - frames : end])

    def _make_room(self) -> None:
        kept = min(self._end, self._phasors.shape[0] // 2)
        for rows in (self._phasors, self._beside):
            rows[:kept] = rows[self._end - kept : self._end].copy()
        self._end = kept


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
