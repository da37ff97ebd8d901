"""An input whose faults are scripted, so that each of them can be shown and tried without hardware.

It loses frames, delivers blocks of odd sizes and samples that are no numbers, stalls, is unplugged and
plugged in again. The script says at which frame; :meth:`FakeSource.stall`, :meth:`FakeSource.unplug` and
their opposites act now, and may be called from any thread while another one reads: each of them sets one
flag that the reader looks at.
"""

from __future__ import annotations

import bisect
import itertools
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from enum import Enum, auto

import numpy as np

from app.errors import DeviceError
from app.inputs.pacing import Pace
from app.inputs.source import Block, SourceInfo, SourceStats, empty_block
from app.words import inputs as words
from dsp.types import Samples


class _Kind(Enum):
    DROP = auto()
    FILL = auto()
    STALL = auto()
    UNPLUG = auto()


@dataclass(frozen=True, slots=True)
class _Fault:
    frame: int
    """Counted in the samples that were given, dropped ones included."""
    kind: _Kind
    frames: int = 0
    value: float = 0.0


class FakeSource:
    """Delivers given samples, with the faults of a script.

    Parameters
    ----------
    samples
        One array (frames, channels), or any iterable of such arrays, which may be endless. A
        one-dimensional array is taken as one channel.
    rate_hz
        Frames a second.
    paced
        True lets them arrive by the clock; False gives them as fast as they are read.
    block_frames
        Sizes of the blocks to deliver, taken in a circle, whatever the reader asks for (never more than
        it asks for). Empty: as the reader asks.
    spec, name, note
        What :attr:`info` is to say.
    clock
        Seconds that never run backwards.

    Raises
    ------
    ValueError
        When there is no first array to tell the channels from.

    Examples
    --------
    >>> source = FakeSource(np.zeros((480, 1), np.float32))
    >>> source.drop_at_frame(100, 32)
    >>> source.start()
    >>> first, second = source.read(480, 0.0), source.read(480, 0.0)
    >>> len(first.samples), second.lost_frames, len(second.samples)
    (100, 32, 348)
    """

    def __init__(
        self,
        samples: Samples | Iterable[Samples],
        *,
        rate_hz: int = 48_000,
        paced: bool = False,
        block_frames: Iterable[int] = (),
        spec: str = "fake",
        name: str = "",
        note: str = "",
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        blocks = iter((samples,)) if isinstance(samples, np.ndarray) else iter(samples)
        first = next(blocks, None)
        if first is None:
            raise ValueError("samples is empty; at least one array is needed to tell the channels")
        self._waiting = _as_frames(first)
        self._blocks: Iterator[Samples] = blocks
        sizes = tuple(block_frames)
        if any(size < 1 for size in sizes):
            raise ValueError(f"block_frames is {sizes}; every block needs at least one frame")
        self._sizes = itertools.cycle(sizes) if sizes else None
        channels = int(self._waiting.shape[1])
        self._info = SourceInfo(
            spec=spec,
            name=name or words.fake_name(),
            rate_hz=rate_hz,
            channels=channels,
            live=paced,
            channel_names=tuple(words.channel_name(n + 1) for n in range(channels)),
            note=note,
        )
        self._paced = paced
        self._clock = clock
        self._pace = Pace(rate_hz, paced=paced, clock=clock)
        self._faults: list[_Fault] = []
        self._frame = 0
        self._arrived = 0
        self._pending_lost = 0
        self._wake = threading.Event()
        self._stalled = False
        self._plugged = True
        self._running = False
        self._delivered = self._lost = self._gaps = self._smallest = self._largest = 0

    # The script.

    def drop_at_frame(self, frame: int, frames: int) -> None:
        """Lose ``frames`` frames from ``frame`` on, counted in the samples given."""
        self._add(_Fault(frame, _Kind.DROP, frames))

    def fill_at_frame(self, frame: int, frames: int = 1, value: float = float("nan")) -> None:
        """Deliver ``value`` instead of ``frames`` frames: NaN, an infinity, a denormal, digital silence."""
        self._add(_Fault(frame, _Kind.FILL, frames, value))

    def stall_at_frame(self, frame: int) -> None:
        """Stop delivering before ``frame`` until :meth:`resume`."""
        self._add(_Fault(frame, _Kind.STALL))

    def unplug_at_frame(self, frame: int) -> None:
        """Be unplugged before ``frame``."""
        self._add(_Fault(frame, _Kind.UNPLUG))

    def stall(self) -> None:
        """Stop delivering now, without a word, until :meth:`resume`."""
        self._stalled = True

    def resume(self) -> None:
        """Deliver again; what would have arrived meanwhile has waited."""
        self._stalled = False
        self._pace = Pace(self._info.rate_hz, paced=self._paced, clock=self._clock)
        self._arrived = 0

    def unplug(self) -> None:
        """Be gone now. Only :meth:`replug` and a new :meth:`start` bring it back."""
        self._plugged = False
        self._running = False

    def replug(self) -> None:
        """Be there again, for whoever calls :meth:`start`."""
        self._plugged = True

    def _add(self, fault: _Fault) -> None:
        if fault.frame < self._frame:
            raise ValueError(f"frame {fault.frame} has gone by; {self._frame} is next")
        bisect.insort(self._faults, fault, key=lambda each: each.frame)

    # The source.

    @property
    def info(self) -> SourceInfo:
        """What is open."""
        return self._info

    def start(self) -> None:
        """Begin to deliver, where it left off.

        Raises
        ------
        app.errors.DeviceError
            While it is unplugged.
        """
        if not self._plugged:
            raise DeviceError(words.fake_unplugged())
        self._wake.clear()
        self._running = True
        self.resume()

    def read(self, max_frames: int, timeout_s: float) -> Block:
        """Take the next frames; see :class:`app.inputs.source.Source`."""
        self._meet_instant_faults()
        if self._gone():
            return empty_block(self._info.channels, active=False)
        if self._stalled:
            self._wake.wait(timeout_s)
            return empty_block(self._info.channels)
        wanted = min(max_frames, next(self._sizes)) if self._sizes else max_frames
        wanted = self._up_to_next_fault(wanted)
        frames = self._pace.wait(self._arrived, wanted, timeout_s, self._wake)
        if self._gone():  # while waiting
            return empty_block(self._info.channels, active=False)
        samples = self._take(frames)
        got = int(samples.shape[0])
        ended = got < frames
        lost = 0
        if got or ended:
            lost, self._pending_lost = self._pending_lost, 0
        self._arrived += got
        self._count(got, lost)
        return Block(samples, lost, ended=ended)

    def stats(self) -> SourceStats:
        """What happened so far, over all starts."""
        return SourceStats(
            delivered_frames=self._delivered,
            lost_frames=self._lost,
            gaps=self._gaps,
            smallest_block_frames=self._smallest,
            largest_block_frames=self._largest,
            backend="fake",
        )

    def close(self) -> None:
        """Stop. Safe to call from any thread, and again."""
        self._running = False
        self._wake.set()

    def _gone(self) -> bool:
        return not self._running

    def _meet_instant_faults(self) -> None:
        """Carry out what the script has for the frame that is next, apart from fills."""
        while self._faults and self._faults[0].frame <= self._frame:
            fault = self._faults[0]
            if fault.kind is _Kind.FILL:
                self._fill_ahead(self._faults.pop(0))
                continue
            self._faults.pop(0)
            if fault.kind is _Kind.DROP:
                dropped = int(self._take(fault.frames).shape[0])
                self._pending_lost += dropped
                self._arrived += dropped
            elif fault.kind is _Kind.STALL:
                self.stall()
                return
            else:
                self.unplug()
                return

    def _fill_ahead(self, fault: _Fault) -> None:
        self._gather(fault.frames)
        filled = self._waiting.copy()  # what was given is not ours to change
        filled[: fault.frames] = fault.value
        self._waiting = filled

    def _up_to_next_fault(self, frames: int) -> int:
        if not self._faults:
            return frames
        return max(1, min(frames, self._faults[0].frame - self._frame))

    def _gather(self, frames: int) -> None:
        """Have ``frames`` frames waiting, if there are so many left."""
        parts, have = [self._waiting], int(self._waiting.shape[0])
        while have < frames:
            block = next(self._blocks, None)
            if block is None:
                break
            parts.append(_as_frames(block))
            have += int(parts[-1].shape[0])
        if len(parts) > 1:
            self._waiting = np.concatenate(parts)

    def _take(self, frames: int) -> Samples:
        self._gather(frames)
        taken = self._waiting[:frames].copy()
        self._waiting = self._waiting[frames:]
        self._frame += int(taken.shape[0])
        return taken

    def _count(self, got: int, lost: int) -> None:
        self._delivered += got
        self._lost += lost
        self._gaps += lost > 0
        if got:
            self._smallest = min(self._smallest or got, got)
            self._largest = max(self._largest, got)


def _as_frames(samples: Samples) -> Samples:
    array = np.asarray(samples, np.float32)
    return array[:, np.newaxis] if array.ndim == 1 else array
