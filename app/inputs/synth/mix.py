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
    ahead_frames
        How early a sound may be fetched. Making one takes time: when there is nothing else to do, one that
        is not due yet is fetched in each call, so that a full chord does not come as a surprise.
    """

    def __init__(self, sounds: Iterator[Sound], channels: int, *, ahead_frames: int = 0) -> None:
        self._sounds = sounds
        self._channels = channels
        self._ahead = ahead_frames
        self._next: Sound | None = None
        self._ringing: list[tuple[int, int, float, Samples]] = []
        self._position = 0

    def render(self, frames: int) -> Samples:
        """Return the next frames: (frames, channels)."""
        begin, end = self._position, self._position + frames
        self._position = end
        while self._fetch(end):
            pass
        self._fetch(end + self._ahead)
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

    def _fetch(self, before: int) -> bool:
        """Fetch the next sound if it begins before a frame; tell whether it did."""
        sound = self._next if self._next is not None else next(self._sounds)
        due = sound.start_frame < before
        self._next = None if due else sound
        if due:
            self._ringing += [
                (
                    max(0, sound.start_frame) + tap.delay_frames,
                    tap.channel,
                    sound.gain * tap.gain,
                    sound.samples,
                )
                for tap in sound.taps
            ]
        return due
