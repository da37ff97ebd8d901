"""Sounds at places in time, added up into channels."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from dsp.types import Samples


@dataclass(frozen=True, slots=True)
class Tap:
    """A microphone (or cable) that hears a sound, later and weaker."""

    channel: int
    gain: float = 1.0
    delay_frames: int = 0


DIRECT = (Tap(0),)


@dataclass(frozen=True, slots=True)
class Sound:
    """One sound of one instrument."""

    start_frame: int
    samples: Samples
    """(frames,): shared with the instrument's store, so nobody may write to it."""
    gain: float = 1.0
    taps: tuple[Tap, ...] = DIRECT


class Mix:
    """Adds up an endless run of sounds; the sum does not depend on how it is cut into blocks.

    Parameters
    ----------
    sounds
        In the order of their start.
    channels
        Columns of the result.
    """

    def __init__(self, sounds: Iterator[Sound], channels: int) -> None:
        self._sounds = sounds
        self._channels = channels
        self._next: Sound | None = None
        self._ringing: list[tuple[int, int, float, Samples]] = []
        self._position = 0

    def render(self, frames: int) -> Samples:
        """Return the next frames: (frames, channels)."""
        begin, end = self._position, self._position + frames
        self._position = end
        self._take_until(end)
        # Channels first while adding: runs of memory instead of strides.
        out = np.zeros((self._channels, frames), np.float32)
        still_ringing = []
        for ringing in self._ringing:
            start, channel, gain, samples = ringing
            first, last = max(start, begin), min(start + samples.shape[0], end)
            if first < last:
                out[channel, first - begin : last - begin] += samples[
                    first - start : last - start
                ] * np.float32(gain)
            if start + samples.shape[0] > end:
                still_ringing.append(ringing)
        self._ringing = still_ringing
        return out.T

    def _take_until(self, end: int) -> None:
        """Move every sound that begins before ``end`` to those that ring."""
        while True:
            sound = self._next if self._next is not None else next(self._sounds)
            if sound.start_frame >= end:
                self._next = sound
                return
            self._next = None
            self._ringing += [
                (
                    max(0, sound.start_frame) + tap.delay_frames,
                    tap.channel,
                    sound.gain * tap.gain,
                    sound.samples,
                )
                for tap in sound.taps
            ]
