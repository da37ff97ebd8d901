"""The part as it is played: measured from the input's own samples, for the headphone balance.

Threads: the analysis thread hands blocks in (:meth:`LivePart.__call__`, a listener of the engine), which
costs it a copy of one channel and nothing more. Whoever wants to know measures what has gathered since
(:meth:`LivePart.measure`), one thread at a time. The queue between them is a deque, whose two ends may be
used by two threads, and is bounded: if nobody measures for a minute, the oldest is forgotten.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from app.coach.ticks import playing_threshold_dbfs
from app.inputs.source import Block, SourceInfo
from dsp.track import STEP_S, Track, TrackMeter
from dsp.types import Samples

MEMORY_S = 90.0
"""How much of the playing counts: longer than a verse and a chorus, short enough to follow a change."""
ENOUGH_S = 3.0
"""How long somebody must have played before it is called a part."""
_MOST_WAITING = 6_000
"""Blocks of 10 ms: a minute."""


@dataclass(frozen=True, slots=True, eq=False)
class _Waiting:
    info: SourceInfo
    channel: int
    samples: Samples


@dataclass(frozen=True, slots=True, eq=False)
class Played:
    """What was played up to now."""

    track: Track
    playing_s: float
    """How long it stood clear of the noise."""

    @property
    def enough(self) -> bool:
        """Whether that is a part to advise for."""
        return self.playing_s >= ENOUGH_S


class LivePart:
    """Listens to one channel of the input that is open.

    Parameters
    ----------
    channel
        Column index, from 0; of an input with fewer the last.
    """

    def __init__(self, channel: int = 0) -> None:
        self.channel = channel
        """May be changed at any time: what was played into another channel is then forgotten."""
        self._waiting: deque[_Waiting] = deque(maxlen=_MOST_WAITING)
        self._of: tuple[SourceInfo, int] | None = None
        self._meter: TrackMeter | None = None

    def __call__(self, info: SourceInfo, block: Block) -> None:
        """Take in a block. On the analysis thread."""
        if block.samples.shape[0]:
            channel = min(self.channel, info.channels - 1)
            self._waiting.append(_Waiting(info, channel, block.samples[:, channel : channel + 1].copy()))

    def forget(self) -> None:
        """Begin afresh: another part, another setting. On the thread that measures."""
        self._waiting.clear()
        self._of = self._meter = None

    def measure(self, noise_floor_dbfs: float) -> Played | None:
        """Measure what came since the last call, and tell of the last :data:`MEMORY_S`.

        What was lost on the way is left out: it was not heard, and leaves no rest behind.

        Parameters
        ----------
        noise_floor_dbfs
            Of the channel; ``nan`` while it is not known.

        Returns
        -------
        Played or None
            None before anything came.
        """
        for (info, channel), samples in self._gathered():
            if self._of != (info, channel):
                self._of = (info, channel)
                self._meter = TrackMeter(info.rate_hz, 1, memory_s=MEMORY_S)
            assert self._meter is not None  # noqa: S101 - for the type checker: made with what it is of
            self._meter.process(samples)
        if self._meter is None:
            return None
        track = self._meter.so_far()
        clear = track.short_term_lufs >= playing_threshold_dbfs(noise_floor_dbfs)
        return Played(track, float(np.count_nonzero(clear)) * STEP_S)

    def _gathered(self) -> list[tuple[tuple[SourceInfo, int], Samples]]:
        """Everything that waits, in stretches of one input and channel: long blocks cost less."""
        stretches: list[tuple[tuple[SourceInfo, int], list[Samples]]] = []
        while self._waiting:
            block = self._waiting.popleft()
            of = (block.info, block.channel)
            if not stretches or stretches[-1][0] != of:
                stretches.append((of, []))
            stretches[-1][1].append(block.samples)
        return [(of, np.concatenate(blocks)) for of, blocks in stretches]
