"""Watches whether the backing that plays is heard in the microphone, while somebody plays along.

Threads: the analysis thread hands blocks in (a listener of the engine), which costs it a copy of one channel;
whoever wants to know calls :meth:`BleedWatch.look`, one thread at a time, at least every few seconds.

The two streams are laid side by side once, when the first block comes, and counted from there: what was lost
counts too. Whatever breaks the count (a gap in the headphones, another input) begins the comparison afresh.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from app.inputs.source import Block, SourceInfo
from dsp.bleed import RATE_HZ, Bleed, BleedCheck
from dsp.types import Samples

_MOST_WAITING = 3_000
"""Blocks of 10 ms: half a minute."""


class Plays(Protocol):
    """What it needs of :class:`app.inputs.playback.Playback`."""

    underruns: int

    @property
    def rate_hz(self) -> int:
        """Of what is played."""
        ...

    @property
    def played_frames(self) -> int:
        """What the output took so far."""
        ...

    def take_reference(self) -> tuple[int, Samples]:
        """The first frame of what went out since the last call, and its samples."""
        ...


@dataclass(frozen=True, slots=True)
class BleedView:
    """What is known."""

    knows: bool
    """False while too little was compared to say anything."""
    bleed: Bleed | None


class BleedWatch:
    """Compares one channel of the input with what a playback plays.

    Parameters
    ----------
    playback
        What plays.
    channel
        Column index, from 0; of an input with fewer the last.
    """

    def __init__(self, playback: Plays, channel: int = 0) -> None:
        self._playback = playback
        self._channel = channel
        self._waiting: deque[tuple[int, SourceInfo, Samples, int]] = deque(maxlen=_MOST_WAITING)
        self._came = 0
        self._end = 0
        """Frames of the playback that were taken."""
        self._begin_afresh()

    def __call__(self, info: SourceInfo, block: Block) -> None:
        """Take in a block. On the analysis thread."""
        if block.samples.shape[0]:
            samples = block.samples[:, min(self._channel, info.channels - 1)].copy()
            if block.lost_frames:
                samples = np.concatenate((np.zeros(block.lost_frames, np.float32), samples))
            self._came += 1
            self._waiting.append((self._came, info, samples, self._playback.played_frames))

    def look(self) -> BleedView:
        """Compare what came since the last call, and tell what is known."""
        first, reference = self._playback.take_reference()
        if self._playback.underruns != self._underruns or (reference.size and first != self._end):
            self._begin_afresh()
        if reference.size:
            self._end = first + reference.size
        heard = self._heard(first)
        if self._side_by_side is not None and reference.size:
            early = max(0, self._side_by_side - first)
            played = self._convert_played.resample_chunk(np.ascontiguousarray(reference[early:]))
        else:
            played = np.empty(0, np.float32)
        self._check.process(heard, played)
        return BleedView(self._check.knows, self._check.bleed)

    def _begin_afresh(self) -> None:
        self._check = BleedCheck()
        self._underruns = self._playback.underruns
        self._info: SourceInfo | None = None
        self._number = 0
        self._side_by_side: int | None = None
        """The frame of the playback that lies beside the input's first."""
        self._convert_heard: Any = None
        self._convert_played: Any = None

    def _heard(self, reference_begins: int) -> Samples:
        """The input since the last call, at the rate of the comparison."""
        gathered = [np.empty(0, np.float32)]
        while self._waiting:
            number, info, samples, played_frames = self._waiting.popleft()
            if self._info is not None and (info != self._info or number != self._number + 1):
                self._begin_afresh()
                gathered = gathered[:1]
            if self._info is None:
                import soxr  # late: nobody needs it before something plays

                # What was played before this look is gone: the reference cannot begin earlier.
                if played_frames < reference_begins:
                    continue
                self._info, self._side_by_side = info, played_frames
                self._convert_heard = soxr.ResampleStream(info.rate_hz, RATE_HZ, 1, dtype="float32")
                self._convert_played = soxr.ResampleStream(
                    self._playback.rate_hz, RATE_HZ, 1, dtype="float32"
                )
            self._number = number
            gathered.append(self._convert_heard.resample_chunk(np.ascontiguousarray(samples)))
        return np.concatenate(gathered)
