"""Reads a file in long pieces, ahead of whoever measures them.

Threads: one decodes a few pieces ahead. libsndfile lets go of the interpreter lock.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from typing import Protocol

import numpy as np

from app.inputs.files import FileSource
from app.inputs.source import Block
from dsp.hops import hop_frames
from dsp.longterm import BATCH_HOPS
from dsp.types import Samples

_BLOCK_SAMPLES, _MOST_BLOCK_S = 1 << 19, 4.0
"""All channels together: long blocks save overhead, and this much stays in a second-level cache."""
_BLOCKS_AHEAD = 3
_KEEP_BYTES = 24 << 20


def piece_frames(rate_hz: int, channels: int) -> int:
    """A length on the chain's grid of batches, so that nothing has to be pieced together."""
    batch_frames = BATCH_HOPS * hop_frames(rate_hz)
    most = min(_BLOCK_SAMPLES // channels, round(_MOST_BLOCK_S * rate_hz))
    return max(1, most // batch_frames) * batch_frames


def claimed_bits(file_format: str) -> int | None:
    """Bits a sample that a coding promises; None where it has no fixed resolution."""
    return {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24}.get(file_format.partition("/")[2])


class Tap(Protocol):
    """Who wants the samples as soon as they are read."""

    def give(self, samples: Samples, leaving: threading.Event) -> None:
        """Take in a block; nobody wants it any more once ``leaving`` is set."""

    def finish(self) -> None:
        """The file is over."""


@contextmanager
def blocks_ahead(source: FileSource, frames: int, tap: Tap | None = None) -> Iterator[Iterator[Block]]:
    """Read blocks on a thread of their own; an error there is raised where the blocks are used.

    A ``tap`` gets them first, on that thread.
    """
    _let_freed_memory_stay()
    ahead: queue.Queue[Block | BaseException] = queue.Queue(_BLOCKS_AHEAD)
    leaving = threading.Event()

    def hand_over(item: Block | BaseException) -> None:
        handed_over = False
        while not handed_over and not leaving.is_set():
            with suppress(queue.Full):
                ahead.put(item, timeout=0.1)
                handed_over = True

    def run() -> None:
        try:
            ended = False
            while not ended and not leaving.is_set():
                block = source.read(frames, 0.0)
                # The layout that the chain works in: this thread has the time for it.
                samples = np.asfortranarray(block.samples)
                ended = block.ended
                if tap is not None and samples.shape[0]:
                    tap.give(samples, leaving)
                if tap is not None and ended:
                    tap.finish()
                hand_over(replace(block, samples=samples))
        except BaseException as error:  # handed over whole: it belongs to whoever uses the blocks
            hand_over(error)

    def blocks() -> Iterator[Block]:
        ended = False
        while not ended:
            item = ahead.get()
            if isinstance(item, BaseException):
                raise item
            ended = item.ended
            if item.samples.shape[0]:
                yield item

    thread = threading.Thread(target=run, name="swellmark-decoder", daemon=True)
    thread.start()
    try:
        yield blocks()
    finally:
        leaving.set()
        thread.join()


def _let_freed_memory_stay() -> None:
    """Spare the system from clearing the same pages for every block.

    Once a piece of this size was freed, glibc keeps so much for the next one instead of giving it back
    (mallopt(3), M_MMAP_THRESHOLD and M_TRIM_THRESHOLD). It is never touched, so it costs nothing, here or
    where malloc works otherwise.
    """
    np.empty(_KEEP_BYTES, np.uint8)
