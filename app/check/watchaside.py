"""Half of a long file's measuring in a process of its own.

The process looks for flat tops, hum and faults, while this one measures everything else. It gets the samples
through shared memory, as they were decoded here, and cuts them into the same pieces, so that the figures are
those of one process, to the last bit. What it finds comes back piece by piece, and is waited for where a
reading is made of it.

Threads: the one that decodes hands out the samples, the one that measures hears what was found.
"""

from __future__ import annotations

import ctypes
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import Any

import numpy as np

from app.check import aside
from dsp.hops import hop_frames
from dsp.reading import Clip, Fault, Hum
from dsp.types import Samples
from dsp.watch import Watch, WatchedStream

_SLOTS = 4
"""Pieces that the shared memory holds."""
_PATIENCE_S = 0.1


class OutOfStep(Exception):  # noqa: N818 - no error of the program's or the user's
    """The other process has died, or was not to be had."""


@dataclass(frozen=True, slots=True)
class _Found:
    """What the other process knows after one piece; at the end, over everything too."""

    end_frame: int
    hum: tuple[Hum | None, ...]
    faults: tuple[Fault, ...]
    clips: tuple[Clip, ...]
    overall: tuple[tuple[Hum | None, ...], tuple[Fault, ...]] | None = None


class WatchAside:
    """A watch that is kept by another process: a :class:`dsp.watch.Watching`."""

    def __init__(self, connection: Connection, channels: int) -> None:
        self._connection = connection
        self._clips: list[Clip] = []
        self._found = _Found(0, (None,) * channels, (), ())

    @property
    def hum(self) -> tuple[Hum | None, ...]:
        """The hum on each channel over the last ten seconds."""
        return self._found.hum

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The faults that hold now."""
        return self._found.faults

    @property
    def overall_hum(self) -> tuple[Hum | None, ...]:
        """The hum on each channel over everything; valid at the end."""
        return self._overall[0]

    @property
    def overall_faults(self) -> tuple[Fault, ...]:
        """The faults of everything since the start; valid at the end."""
        return self._overall[1]

    @property
    def _overall(self) -> tuple[tuple[Hum | None, ...], tuple[Fault, ...]]:
        if self._found.overall is None:
            raise OutOfStep
        return self._found.overall

    def process(self, batches: Samples, start_frame: int) -> None:
        """Hear what the other process found in this piece."""
        self._hear(start_frame + batches.shape[0])

    def drain(self) -> None:
        """Hear its last word."""
        self._hear(self._found.end_frame)
        if self._found.overall is None:
            raise OutOfStep

    def take_clips(self) -> tuple[Clip, ...]:
        """The flat tops that became clear since the last call."""
        clips, self._clips = self._clips, []
        return tuple(clips)

    def _hear(self, end_frame: int) -> None:
        try:
            found = self._connection.recv()
        except (EOFError, OSError) as error:
            raise OutOfStep from error
        if not isinstance(found, _Found) or found.end_frame != end_frame:
            raise OutOfStep
        self._found = found
        self._clips += found.clips


class Feeder:
    """Hands the samples to the other process, on the thread that decodes them."""

    def __init__(self, connection: Connection, memory: _Memory) -> None:
        self._connection = connection
        self._memory = memory
        self._free = list(range(_SLOTS))

    def give(self, samples: Samples, leaving: threading.Event) -> None:
        """Hand over a piece, ``(frames, channels)``; waits for room, but not for one who is ``leaving``."""
        with suppress(EOFError, OSError):  # the other process has gone: who waits for its word will notice
            while not self._free:
                if leaving.is_set():
                    return
                if self._connection.poll(_PATIENCE_S):
                    self._free.append(self._connection.recv())
            slot = self._free.pop()
            self._memory.piece(slot, samples.shape[0])[...] = samples
            self._connection.send((slot, samples.shape[0]))

    def finish(self) -> None:
        """There are no more samples."""
        with suppress(OSError):
            self._connection.send(None)


class _Memory:
    """Shared memory for some pieces, each channel in one stretch as the chain wants it."""

    def __init__(self, shared: Any, channels: int) -> None:
        self._slots = np.frombuffer(shared, np.float32).reshape(_SLOTS, -1)
        self._channels = channels

    def piece(self, slot: int, frames: int) -> Samples:
        """(frames, channels)."""
        return self._slots[slot, : frames * self._channels].reshape((frames, self._channels), order="F")


@dataclass(frozen=True, slots=True)
class Stream:
    """What the other process has to know of the samples."""

    rate_hz: int
    channels: int
    claimed_bits: int | None
    piece_frames: int
    """The most that come in one piece."""


@contextmanager
def watch_aside(stream: Stream) -> Iterator[tuple[WatchAside, Feeder]]:
    """Have a stream watched by another process, which is gone when this is left.

    Raises
    ------
    OutOfStep
        No process is to be had.
    """
    context = get_context("spawn")
    shared = context.RawArray(ctypes.c_float, _SLOTS * stream.piece_frames * stream.channels)
    feed, fed = context.Pipe()
    try:
        try:
            process, connection = aside.start(_serve, fed, shared, stream)
        except OSError as error:
            raise OutOfStep from error
        finally:
            fed.close()
        ended = False
        try:
            yield WatchAside(connection, stream.channels), Feeder(feed, _Memory(shared, stream.channels))
            ended = True
        finally:
            aside.end(process, connection, at_once=not ended)
    finally:
        feed.close()


class _Telling:
    """Tells the process that asked what a watch finds in each piece."""

    def __init__(self, watch: Watch, connection: Connection) -> None:
        self._watch = watch
        self._connection = connection
        self._end_frame = 0

    def process(self, batches: Samples, start_frame: int) -> None:
        self._watch.process(batches, start_frame)
        self._end_frame = start_frame + batches.shape[0]
        self._tell()

    def drain(self) -> None:
        self._watch.drain()
        self._tell((self._watch.overall_hum, self._watch.overall_faults))

    def _tell(self, overall: tuple[tuple[Hum | None, ...], tuple[Fault, ...]] | None = None) -> None:
        watch = self._watch
        self._connection.send(_Found(self._end_frame, watch.hum, watch.faults, watch.take_clips(), overall))


def _serve(connection: Connection, feed: Connection, shared: Any, stream: Stream) -> None:
    """What the other process runs: until the end of the stream, or until nobody listens."""
    aside.leave_interrupts()
    rate_hz, channels = stream.rate_hz, stream.channels
    watch = Watch(rate_hz, channels, hop_frames(rate_hz), claimed_bits=stream.claimed_bits)
    watched = WatchedStream(_Telling(watch, connection), rate_hz, channels)
    memory = _Memory(shared, channels)
    with connection, feed, suppress(EOFError, OSError):
        while (piece := feed.recv()) is not None:
            slot, frames = piece
            watched.process(memory.piece(slot, frames))
            feed.send(slot)
        watched.finish()
