"""Where samples come from: the one small protocol that every input speaks.

A source is opened with :meth:`Source.start`, pulled with :meth:`Source.read` by one thread (the analysis
thread), and ended with :meth:`Source.close`, which any thread may call and which may be called twice;
after that, :meth:`Source.start` opens it afresh. It never calls back. A live source that stops delivering
returns empty blocks: whoever reads notices it by the clock. One that knows that it is gone says so
(:attr:`Block.active`) and stays gone until it is started again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from dsp.types import Samples

MOST_CHANNELS = 32
"""More are refused: memory and time are planned for this many, and a header can claim anything."""


@dataclass(frozen=True, slots=True)
class SourceInfo:
    """What was really opened, which is not always what was asked for."""

    spec: str
    """Opens the same input again: ``device:…``, ``file:…`` or ``player…``."""
    name: str
    """For people."""
    rate_hz: int
    channels: int
    live: bool
    """True where samples arrive by the clock, False where they wait for the reader (a file at full speed)."""
    channel_names: tuple[str, ...] = ()
    note: str = ""
    """What a user should know about this input ("resampled by the system"), or nothing."""
    latency_s: float | None = None
    """What the driver reports of a device; None for anything else."""
    doubt: str = ""
    """What a user should look at, because the input was away and may be another one now; or nothing."""


@dataclass(frozen=True, slots=True)
class Block:
    """Samples in the order in which they came, and what is missing before them."""

    samples: Samples
    """(frames, channels); frames may be 0. The reader owns it."""
    lost_frames: int = 0
    """Frames that were lost directly before the first sample of this block."""
    ended: bool = False
    """Nothing will follow: the file is over."""
    active: bool = True
    """False once the source itself knows that it is gone (unplugged)."""


@dataclass(frozen=True, slots=True)
class SourceStats:
    """What happened on the way in, since the start."""

    delivered_frames: int = 0
    lost_frames: int = 0
    """All that is known or estimated to be missing: the sum over :attr:`Block.lost_frames`."""
    estimated_lost_frames: int = 0
    """The part of :attr:`lost_frames` whose size could only be told by the clock, to about a driver block."""
    gaps: int = 0
    overflows: int = 0
    """Overflows that the driver itself reported."""
    smallest_block_frames: int = 0
    largest_block_frames: int = 0
    backend: str = ""
    """How samples reach the ring: in C, or through a Python callback."""


class Source(Protocol):
    """An input: a device, a file, the built-in player, or the fake."""

    @property
    def info(self) -> SourceInfo:
        """What is open. Valid after :meth:`start`."""
        ...

    def start(self) -> None:
        """Open and begin to deliver.

        Raises
        ------
        app.errors.InputError
            With a sentence for the user, when it cannot be opened.
        """
        ...

    def read(self, max_frames: int, timeout_s: float) -> Block:
        """Wait until ``max_frames`` frames are there, or the timeout, and take what is there.

        A gap always lies between two blocks, so a block before a gap may be short. After :meth:`close`
        an empty block comes back, ended or not active, never an error.

        Raises
        ------
        app.errors.InputError
            When what was opened turns out to be damaged further in.
        """
        ...

    def stats(self) -> SourceStats:
        """What happened so far."""
        ...

    def close(self) -> None:
        """Stop and let go of the device. Safe to call from any thread, and again."""
        ...


def empty_block(channels: int, *, lost_frames: int = 0, ended: bool = False, active: bool = True) -> Block:
    """Build a block without samples."""
    return Block(np.empty((0, channels), np.float32), lost_frames, ended, active)
