"""Whether what is played over headphones is heard in the microphone.

A musician who plays along has the rhythm, the notes and the beats of the backing, but never its waveform at
one fixed delay: every note begins some milliseconds earlier or later, with phases of its own. What leaks from
the headphones has exactly that. So the input is correlated with what was played at all delays that buffers
and air can cause, each frequency counted alike (phase transform: Knapp & Carter, IEEE Trans. ASSP 24, 1976),
and bleed is found where one and the same delay, to half a millisecond, stands out of the correlation again
and again. The notes of somebody in time stand out too, each look at another delay.

What cannot be told from bleed is the same sound, sample by sample, that a clock starts: a synthesizer that is
driven by the backing's own sequencer and is a part of the backing already.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dsp.decibels import power_to_db
from dsp.types import Floats, Samples

RATE_HZ = 8_000
"""Of both signals: whoever calls converts. What leaks from headphones is heard below 4 kHz too."""
EARLIEST_S, LATEST_S = -0.3, 0.7
"""Delays that are looked at: buffers on both ways, the air, and how far the two streams were apart when they
were laid side by side."""
GROUP_S = 4.096
"""One look; bleed must show at the same delay in three of four."""

_WINDOW = 8_192
_SIZE = 16_384
"""Of the transform: a window and all delays, so that nothing wraps around."""
_WINDOWS = round(GROUP_S * RATE_HZ) // _WINDOW
_EARLIEST, _LATEST = round(EARLIEST_S * RATE_HZ), round(LATEST_S * RATE_HZ)
_LOW_HZ, _HIGH_HZ = 100.0, 3_500.0
_LOOKS, _AGREEING = 4, 3
_DEVIATIONS = 5.5
"""How far the looks that agree must stand out on average; the highest of 8000 chance values reaches 4.5."""
_DRIFT = 4
"""Samples within which they agree: two clocks that are 100 ppm apart drift by three from look to look."""
_GAUSSIAN_MEDIAN = 0.6745
_SILENCE = 1e-8
"""Mean square under which nothing is played, -80 dBFS: such a window says nothing."""
_BEFORE, _AFTER = 8, 320
"""Samples around the delay in which headphones and the air nearby ring."""
_FLOOR = 1e-4
"""Of the strongest frequency of what is played: what is fainter says nothing about how loud it leaks."""


@dataclass(frozen=True, slots=True)
class Bleed:
    """The backing in the microphone."""

    delay_s: float
    """Against the two streams as they were laid side by side."""
    level_dbfs: float
    """Of what leaks, AES17."""
    under_input_db: float
    """How far that lies under everything that the microphone hears; 0 = it hears nothing else."""


@dataclass(frozen=True, slots=True)
class _Look:
    place: int
    """Of the highest value, counted from the earliest delay."""
    deviations: float
    """How far it stands out."""
    cross: npt.NDArray[np.complex128]
    power_played: Floats
    mean_square_heard: float
    mean_square_played: float


class BleedCheck:
    """Compares an input with what is played, as both go on."""

    def __init__(self) -> None:
        self._heard: Samples = np.zeros(-_EARLIEST, np.float32)
        self._played: Samples = np.empty(0, np.float32)
        self._pairs: list[tuple[Samples, Samples]] = []
        self._looks: deque[_Look] = deque(maxlen=_LOOKS)
        frequencies = np.fft.rfftfreq(_SIZE, 1.0 / RATE_HZ)
        self._band = (frequencies >= _LOW_HZ) & (frequencies <= _HIGH_HZ)
        self._window = np.hanning(_WINDOW)
        self.looks = 0
        """How often it has looked; before the third it cannot know."""
        self.bleed: Bleed | None = None
        """What was found in the last looks."""

    @property
    def knows(self) -> bool:
        """Whether it has looked often enough to say that there is none."""
        return self.looks >= _AGREEING

    def process(self, heard: Samples, played: Samples) -> None:
        """Take in both streams, (frames,) each, not necessarily equally long, at :data:`RATE_HZ`."""
        self._heard = np.concatenate((self._heard, heard))
        self._played = np.concatenate((self._played, played))
        # The input's window reaches from the earliest delay before the window to the latest one behind it.
        needed = _WINDOW + _LATEST - _EARLIEST
        while self._played.size >= _WINDOW and self._heard.size >= needed:
            pair = self._heard[:needed], self._played[:_WINDOW]
            self._heard, self._played = self._heard[_WINDOW:], self._played[_WINDOW:]
            if np.mean(np.square(pair[1])) >= _SILENCE and pair[0].any():
                self._pairs.append(pair)
            if len(self._pairs) == _WINDOWS:
                self._looks.append(self._look())
                self._pairs.clear()
                self.looks += 1
                self.bleed = self._judge()

    def _look(self) -> _Look:
        heard, played = (np.stack(each) for each in zip(*self._pairs, strict=True))
        x = np.fft.rfft(heard, _SIZE, axis=1)
        r = np.fft.rfft(played * self._window, _SIZE, axis=1)
        cross = x * np.conj(r)
        size = np.abs(cross)
        phases = np.divide(cross, size, out=np.zeros_like(cross), where=self._band & (size > 0.0))
        # Index 0 is the earliest delay: the input's window begins that much before the other.
        correlation = np.abs(np.fft.irfft(phases.sum(axis=0), _SIZE)[: _LATEST - _EARLIEST])
        spread = float(np.median(correlation)) / _GAUSSIAN_MEDIAN
        place = int(np.argmax(correlation))
        return _Look(
            place=place,
            deviations=float(correlation[place]) / max(spread, 1e-30),
            cross=cross.sum(axis=0),
            power_played=np.square(np.abs(r)).sum(axis=0),
            mean_square_heard=float(np.mean(np.square(heard, dtype=np.float64))),
            mean_square_played=float(np.mean(np.square(played, dtype=np.float64))),
        )

    def _judge(self) -> Bleed | None:
        places = np.array([look.place for look in self._looks])
        near = np.abs(places[:, np.newaxis] - places) <= _DRIFT
        agreeing = near[np.argmax(near.sum(axis=1))]
        strength = np.mean(
            [look.deviations for look, agrees in zip(self._looks, agreeing, strict=True) if agrees]
        )
        if agreeing.sum() < _AGREEING or strength < _DEVIATIONS:
            return None
        return self._measure(int(np.median(places[agreeing])))

    def _measure(self, place: int) -> Bleed:
        """How strong what comes at this place of the correlation is, from the way that it took.

        The impulse response from the headphones to the microphone is the cross spectrum over the power of
        what is played. Around the delay it holds the way; elsewhere what is played beside it, spread over
        all delays alike, which tells how much of that lies under the way too.
        """
        looks = self._looks
        power = np.sum([look.power_played for look in looks], axis=0)
        cross = np.sum([look.cross for look in looks], axis=0)
        spectrum = np.where(self._band, cross / (power + _FLOOR * power.max()), 0.0)
        # The input is not under the window that the other is.
        scale = float(np.square(self._window).sum() / self._window.sum())
        way = np.square(scale * np.fft.irfft(spectrum, _SIZE)[: _LATEST - _EARLIEST])
        beside = float(np.median(way)) / _GAUSSIAN_MEDIAN**2
        inside = way[max(0, place - _BEFORE) : place + _AFTER]
        gain = max(float((inside - beside).sum()), float(inside.max()))
        leaked = gain * float(np.mean([look.mean_square_played for look in looks]))
        heard = float(np.mean([look.mean_square_heard for look in looks]))
        return Bleed(
            delay_s=(place + _EARLIEST) / RATE_HZ,
            level_dbfs=power_to_db(2.0 * leaked),  # a full-scale sine is 0 dBFS (AES17)
            under_input_db=max(0.0, power_to_db(heard / leaked)),
        )
