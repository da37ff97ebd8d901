"""Whether lines at multiples of a mains frequency are hum: tones that stand still while notes come and go.

Mains lines are told from notes by what no player does: several multiples of one frequency, 50 or 60 Hz give
or take what a grid strays, go on for seconds, each with one amplitude and one phase. They are looked at in
frames, and a frame counts the less, the more there is at a line and beside it, so that calm moments decide
(weights of a robust mean: Huber, Robust Statistics, 1981, chapter 7). How far the frames z of a line agree is
its coherence, the squared weighted mean of z over the weighted mean of |z|²: 1 for a tone, towards 0 for
noise and for notes. All multiples must agree on one frequency. Equal temperament has no tone nearer to 50 or
60 Hz than 2 %, which is five times what a grid strays.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from dsp.types import Floats

Phasors: TypeAlias = npt.NDArray[np.complexfloating]

MAINS_HZ = (50, 60)
HARMONICS = np.arange(1, 7)
LINES_HZ = np.concatenate([mains_hz * HARMONICS for mains_hz in MAINS_HZ])
"""Where the lines lie, first those of the one mains, then those of the other."""
_SHARED_HZ = 300
"""Belongs to both and speaks for neither."""

_STRAY = 0.004
"""Grids stay within 0.4 % in normal operation (0.2 Hz of 50 Hz)."""
_STRAY_STEP = 0.0002
"""Of the search: at its worst the sixth harmonic turns by a third within ten seconds."""
_LEAST_HITS, _LEAST_LEAD = 3, 2
_SEEN = 0.4
"""Of what finds hum: enough to count a line in once hum, and with it the frequency, is certain."""
_CALM_SHARE = 0.1
"""So much of the time, at least, shares the greatest weight: no single moment decides."""
_ROUNDS = 5
_TINY = 1e-30


@dataclass(frozen=True, slots=True)
class Lens:
    """How frames of one length look at lines."""

    frame_s: float
    step_s: float
    window: tuple[float, ...]
    """The window's cosine terms about its middle."""
    places_hz: Floats
    """(lines,): where each of :data:`LINES_HZ` was really looked at, the middle of its bin."""
    coherent: float
    """The coherence over ten seconds that playing does not reach on three lines at once."""
    full: int
    """Frames in ten seconds; fewer of them agree more easily by chance."""


@dataclass(frozen=True, slots=True)
class View:
    """What one lens saw, in the order of time."""

    lens: Lens
    phasors: Phasors
    """(frames, channels, lines): amplitude and phase, counted from each frame's beginning."""
    beside: npt.NDArray[np.floating]
    """(frames, channels, lines): mean squared amplitude beside each line."""


@dataclass(frozen=True, slots=True)
class Mains:
    """Hum in one channel."""

    mains_hz: int
    """50 or 60."""
    squares: Floats
    """Mean square of each of the six harmonics; nan where notes hide it."""


def find_mains(views: Sequence[View]) -> list[Mains | None]:
    """Judge the same seconds, seen through several lenses: one answer a channel.

    Hum is claimed where at least three of the first six harmonics stand still at places that belong to one
    frequency, an odd one among them (100 Hz and its multiples are a note), and two more than of the other
    mains.
    """
    looks = [_Look(view) for view in views]
    sureness = functools.reduce(np.maximum, (look.sureness() for look in looks))
    by_mains = [_Comb(mains_hz, part) for mains_hz, part in zip(MAINS_HZ, np.split(sureness, 2), strict=True)]
    found: list[Mains | None] = []
    for channel in range(sureness.shape[2]):
        best, other = sorted(by_mains, key=lambda comb: -comb.hits[channel])
        lead = best.hits[channel] - other.hits[channel]
        certain = best.hits[channel] >= _LEAST_HITS and lead >= _LEAST_LEAD and best.odd[channel]
        found.append(_measure(looks, channel, best) if certain else None)
    return found


class _Comb:
    """How sure the lines of one mains are at the frequency on which they agree best, channel by channel."""

    def __init__(self, mains_hz: int, sureness: npt.NDArray[np.floating]) -> None:
        own = mains_hz * HARMONICS != _SHARED_HZ
        at = np.log1p(sureness[own]).sum(axis=0).argmax(axis=0)
        self.mains_hz = mains_hz
        self.f_hz = mains_hz * (1.0 + _strays()[at])
        self.sureness = np.take_along_axis(sureness, at[np.newaxis, np.newaxis], axis=1)[:, 0]
        hit = (self.sureness >= 1.0) & own[:, np.newaxis]
        self.hits = hit.sum(axis=0)
        self.odd = hit[HARMONICS % 2 == 1].any(axis=0)


def _measure(looks: list[_Look], channel: int, comb: _Comb) -> Mains | None:
    """The lines of hum; None where more may be hidden than is seen."""
    f_hz = float(comb.f_hz[channel])
    squares, doubts = np.stack([look.squares(channel, comb.mains_hz, f_hz) for look in looks], axis=1)
    surer = doubts.argmin(axis=0), np.arange(HARMONICS.size)
    squares, doubts = squares[surer], doubts[surer]
    seen = comb.sureness[:, channel] >= _SEEN
    if np.maximum(squares, doubts)[~seen].sum() > squares[seen].sum():
        return None
    return Mains(comb.mains_hz, np.where(seen, squares, np.nan))


class _Look:
    """All lines through one lens."""

    def __init__(self, view: View) -> None:
        self._lens = view.lens
        # (lines, frames, channels)
        self._phasors = np.ascontiguousarray(view.phasors.transpose(2, 0, 1))
        self._beside = np.ascontiguousarray(view.beside.transpose(2, 0, 1))
        self._power = self._phasors.real**2 + self._phasors.imag**2
        self._weights = _weights(self._beside + self._power)

    def sureness(self) -> npt.NDArray[np.floating]:
        """Coherence at every frequency that is tried, against what finds hum: (lines, tries, channels)."""
        frames = self._phasors.shape[1]
        turns = _turns(self._lens.full, self._lens.step_s)[:, :, :frames]
        sums = turns @ (self._weights * self._phasors)
        energy = np.sum(self._weights * self._power, axis=1) * np.sum(self._weights, axis=1)
        coherence = (sums.real**2 + sums.imag**2) / np.maximum(energy, _TINY)[:, np.newaxis]
        finds = min(0.9, self._lens.coherent * self._lens.full / frames)
        return np.asarray(coherence / np.float32(finds))

    def squares(self, channel: int, mains_hz: int, f_hz: float) -> tuple[Floats, Floats]:
        """Mean square of each harmonic of a frequency, and of what it may be off by."""
        mine = slice(first := MAINS_HZ.index(mains_hz) * HARMONICS.size, first + HARMONICS.size)
        lines_hz = f_hz * HARMONICS
        t_s = np.arange(self._phasors.shape[1]) * self._lens.step_s
        still = self._phasors[mine, :, channel] * np.exp(-2j * np.pi * lines_hz[:, np.newaxis] * t_s)
        beside, weights = self._beside[mine, :, channel], self._weights[mine, :, channel]
        for _ in range(_ROUNDS):
            total = np.maximum(weights.sum(axis=1), _TINY)
            mean = (weights * still).sum(axis=1) / total
            off = np.abs(still - mean[:, np.newaxis]) ** 2
            # Not over the square of the total, which may be too small a number to be squared.
            doubt = ((weights / total[:, np.newaxis]) ** 2 * off).sum(axis=1)
            weights = _weights(beside + off)
        bins_off = (lines_hz - self._lens.places_hz[mine]) * self._lens.frame_s
        gain = _window_gain(self._lens.window, bins_off)
        return np.abs(mean / gain) ** 2 / 2.0, doubt / gain**2 / 2.0


def _weights(around: npt.NDArray[np.floating]) -> npt.NDArray[np.floating]:
    """How much each frame counts, (lines, frames, …): the calmest 1, others less; digital silence nothing."""
    around = np.where(around > _TINY, around, np.inf)
    calm = np.sort(around, axis=1)[:, int(_CALM_SHARE * (around.shape[1] - 1)), np.newaxis]
    calm = np.where(np.isfinite(calm), calm, 0.0)
    return np.asarray(calm / np.maximum(around, calm))


@cache
def _strays() -> Floats:
    steps = round(_STRAY / _STRAY_STEP)
    return np.asarray(np.arange(-steps, steps + 1) * _STRAY_STEP, np.float64)


@cache
def _turns(frames: int, step_s: float) -> npt.NDArray[np.complex64]:
    """Turns the lines of every frequency that is tried to stand still: (lines, tries, frames)."""
    f_hz = np.multiply.outer(LINES_HZ, 1.0 + _strays())
    turns = np.exp(-2j * np.pi * f_hz[:, :, np.newaxis] * (np.arange(frames) * step_s))
    return np.asarray(turns, np.complex64)


def _window_gain(window: tuple[float, ...], off_bins: Floats) -> Floats:
    """What a window leaves of a tone beside the middle of its bin, relative to one at it."""
    gain = window[0] * np.sinc(off_bins)
    for k, term in enumerate(window[1:], 1):
        gain += 0.5 * term * (np.sinc(off_bins - k) + np.sinc(off_bins + k))
    return np.asarray(gain / window[0], np.float64)
