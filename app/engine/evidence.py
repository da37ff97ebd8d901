"""Two seconds of sound around each clip, gathered while it happens. Off unless somebody asked for it.

A listener of the engine that keeps references to the newest blocks, and copies nothing: what is asked for is
handed on as the blocks that it lies in, and whoever writes it cuts and joins them, on another thread.

Threads: blocks, requests and ends come on the analysis thread; the switch may be turned by any.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from app.inputs.source import Block, SourceInfo
from dsp.reading import Clip
from dsp.types import Samples

AROUND_S = 1.0
"""Before a clip begins, and after it has ended."""

LONGEST_S = 10.0
"""Clips one after the other share a stretch, up to this; what goes on begins another."""

_REPORTED_LATE_S = 2.0
"""A clip is reported once it is over and known to be one."""

_Piece = tuple[int, Samples]


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of an input, in the pieces in which it came."""

    uid: str
    """The take that it belongs to."""
    rate_hz: int
    take_frame: int
    """Where the take begins in the stream."""
    start_frame: int
    end_frame: int
    """In the stream; the first not in it."""
    channels: tuple[int, ...]
    """Column indices, from 0: those that clipped."""
    pieces: tuple[_Piece, ...]

    def samples(self) -> Samples:
        """(frames, channels): the sound; silence where frames were lost. A copy, and slow."""
        channels = list(self.channels)
        sound = np.zeros((self.end_frame - self.start_frame, len(channels)), np.float32)
        for at, piece in self.pieces:
            first, last = max(at, self.start_frame), min(at + piece.shape[0], self.end_frame)
            if last > first:
                sound[first - self.start_frame : last - self.start_frame] = piece[
                    first - at : last - at, channels
                ]
        return sound


@dataclass(slots=True)
class _Open:
    """A stretch that still grows."""

    uid: str
    rate_hz: int
    take_frame: int
    start_frame: int
    end_frame: int
    channels: set[int]
    pieces: list[_Piece] = field(default_factory=list)

    def close(self, end_frame: int) -> Stretch:
        return Stretch(
            self.uid,
            self.rate_hz,
            self.take_frame,
            self.start_frame,
            min(self.end_frame, end_frame),
            tuple(sorted(self.channels)),
            tuple(self.pieces),
        )


class EvidenceTaker:
    """Gathers the sound around clips.

    Parameters
    ----------
    keep
        Takes a stretch once it is whole; must not block.
    on
        Whether anything is gathered at all.
    """

    def __init__(self, keep: Callable[[Stretch], None], *, on: bool = False) -> None:
        self.on = on
        """May be set by any thread; what is gathered when it is turned off is let go."""
        self._keep = keep
        self._ring: deque[_Piece] = deque()
        self._open: list[_Open] = []
        self._position = 0

    def __call__(self, info: SourceInfo, block: Block) -> None:
        """Take in the newest block; a listener of the engine, there before its first input."""
        at = self._position + block.lost_frames
        self._position = at + int(block.samples.shape[0])
        if not self.on:
            if self._ring or self._open:
                self._ring.clear()
                self._open.clear()
            return
        if block.samples.shape[0]:
            piece = (at, block.samples)
            self._ring.append(piece)
            for stretch in self._open:
                stretch.pieces.append(piece)
        oldest = self._position - (AROUND_S + _REPORTED_LATE_S) * info.rate_hz
        while self._ring and self._ring[0][0] + self._ring[0][1].shape[0] <= oldest:
            self._ring.popleft()
        if self._open:
            self._hand_on_whole()

    def note(self, uid: str, rate_hz: int, take_frame: int, clip: Clip) -> None:
        """Keep what lies around this clip of this take."""
        if not self.on or clip.start_frame + clip.frames <= take_frame:
            return
        around = round(AROUND_S * rate_hz)
        start, end = max(0, take_frame, clip.start_frame - around), clip.start_frame + clip.frames + around
        for stretch in self._open:
            longest = stretch.start_frame + round(LONGEST_S * rate_hz)
            if stretch.uid == uid and stretch.start_frame <= start <= stretch.end_frame and end <= longest:
                stretch.end_frame = max(stretch.end_frame, end)
                stretch.channels.add(clip.channel)
                return
        start = max(start, self._ring[0][0] if self._ring else self._position)
        end = min(end, start + round(LONGEST_S * rate_hz))
        pieces = [piece for piece in self._ring if piece[0] + piece[1].shape[0] > start]
        self._open.append(_Open(uid, rate_hz, take_frame, start, end, {clip.channel}, pieces))

    def input_gone(self, _ended: bool = False) -> None:
        """No more will come from this input; an end watcher of the engine."""
        for stretch in self._open:
            self._hand_on(stretch)
        self._open.clear()
        self._ring.clear()
        self._position = 0

    def _hand_on_whole(self) -> None:
        for stretch in [each for each in self._open if each.end_frame <= self._position]:
            self._open.remove(stretch)
            self._hand_on(stretch)

    def _hand_on(self, stretch: _Open) -> None:
        whole = stretch.close(self._position)
        if whole.end_frame > whole.start_frame and whole.pieces:
            self._keep(whole)
