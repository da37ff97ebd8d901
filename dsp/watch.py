"""What has to be watched for seconds before anything is claimed: flat tops, hum and faults."""

from __future__ import annotations

from typing import Protocol

from dsp.faults import FaultFinder
from dsp.flattops import FlatTopFinder
from dsp.hops import HopBuffer, hop_frames
from dsp.hum import HumFinder
from dsp.mending import mend
from dsp.reading import Clip, Fault, Hum
from dsp.types import Samples

BATCH_HOPS = 10
"""100 ms: nobody can tell that these figures are so much late, and ten hops cost little more than one."""


class Fed(Protocol):
    """What takes in a stream by pieces."""

    def process(self, batches: Samples, start_frame: int) -> None:
        """Take in whole hops, one after the other."""

    def drain(self) -> None:
        """The frames that follow do not follow on, or none do."""


class Watching(Fed, Protocol):
    """What the chain needs to know of a watch, here or elsewhere."""

    @property
    def hum(self) -> tuple[Hum | None, ...]:
        """The hum on each channel over the last ten seconds."""

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The faults that hold now."""

    @property
    def overall_hum(self) -> tuple[Hum | None, ...]:
        """The hum on each channel over everything."""

    @property
    def overall_faults(self) -> tuple[Fault, ...]:
        """The faults of everything since the start."""

    def take_clips(self) -> tuple[Clip, ...]:
        """The flat tops that became clear since the last call."""


class Watch:
    """Looks for flat tops, hum and faults.

    Parameters
    ----------
    rate_hz, channels, frames_per_hop
        The grid that :meth:`process` is fed on.
    claimed_bits
        As for :class:`dsp.chain.Chain`.
    """

    def __init__(
        self, rate_hz: int, channels: int, frames_per_hop: int, *, claimed_bits: int | None = None
    ) -> None:
        self._hum = HumFinder(rate_hz, channels, frames_per_hop)
        self._flat_tops = FlatTopFinder(rate_hz, channels, frames_per_hop)
        self._faults = FaultFinder(rate_hz, channels, frames_per_hop, claimed_bits=claimed_bits)
        self._clips: list[Clip] = []

    @property
    def hum(self) -> tuple[Hum | None, ...]:
        """The hum on each channel over the last ten seconds."""
        return self._hum.found

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The faults that hold now."""
        return self._faults.faults

    @property
    def overall_hum(self) -> tuple[Hum | None, ...]:
        """The hum on each channel over everything."""
        return self._hum.overall

    @property
    def overall_faults(self) -> tuple[Fault, ...]:
        """The faults of everything since the start."""
        return self._faults.final()

    def process(self, batches: Samples, start_frame: int) -> None:
        """Take in whole hops, ``(n * frames_per_hop, channels)``."""
        self._clips += self._flat_tops.process(batches, start_frame)
        self._hum.process(batches)
        self._faults.process(batches)

    def drain(self) -> None:
        """Judge what is there: the frames that follow do not follow on, or none do."""
        self._clips += self._flat_tops.flush()

    def take_clips(self) -> tuple[Clip, ...]:
        """The flat tops that became clear since the last call."""
        clips, self._clips = self._clips, []
        return tuple(clips)


class WatchedStream:
    """A watch fed with blocks of any size, in the very pieces in which the chain would feed it.

    Parameters
    ----------
    watch
        What is fed.
    rate_hz, channels
        Of the stream, which has no gaps.
    """

    def __init__(self, watch: Fed, rate_hz: int, channels: int) -> None:
        self._watch = watch
        self._hop = hop_frames(rate_hz)
        self._hops = HopBuffer(self._hop, channels)
        self._batches = HopBuffer(BATCH_HOPS * self._hop, channels)
        self._position = 0

    def process(self, block: Samples) -> None:
        """Take in a block, ``(frames, channels)``."""
        self._take(self._hops.push(block))

    def finish(self) -> None:
        """End the stream."""
        self._take(self._hops.take_padded())
        self._feed(self._batches.take())
        self._watch.drain()

    def _take(self, hops: Samples) -> None:
        if hops.shape[0]:
            self._feed(self._batches.push(mend(hops, self._hop).hops))

    def _feed(self, batches: Samples) -> None:
        if batches.shape[0]:
            self._watch.process(batches, self._position)
            self._position += batches.shape[0]
