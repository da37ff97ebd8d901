"""What shows over seconds rather than within a hop: noise floor, hum, flat tops, faults, and plain sums."""

from __future__ import annotations

import numpy as np

from dsp.hops import HopBuffer
from dsp.noise import NoiseFloor
from dsp.reading import Clip, Fault, Hum
from dsp.sums import hop_mean_squares, hop_means
from dsp.types import Floats, Samples
from dsp.watch import BATCH_HOPS, Watch, Watching

__all__ = ["BATCH_HOPS", "LongTerm"]


class LongTerm:
    """Feeds the stages that can wait, in batches on a grid of 100 ms.

    The grid begins with the stream and anew after every :meth:`drain`, so that figures depend on the places
    of those alone, and not on how hops were grouped.

    Parameters
    ----------
    rate_hz, channels, frames_per_hop
        The grid that :meth:`gather` is fed on.
    noise_memory_s, claimed_bits, watch
        As for :class:`dsp.chain.Chain`.
    """

    def __init__(
        self,
        rate_hz: int,
        channels: int,
        frames_per_hop: int,
        *,
        noise_memory_s: float | None,
        claimed_bits: int | None,
        watch: Watching | None = None,
    ) -> None:
        self._hop = frames_per_hop
        self._buffer = HopBuffer(BATCH_HOPS * frames_per_hop, channels)
        self._start_frame = 0
        self._silence_added = 0
        self._noise = NoiseFloor(rate_hz, channels, frames_per_hop, noise_memory_s)
        self._watch: Watching = watch or Watch(rate_hz, channels, frames_per_hop, claimed_bits=claimed_bits)
        self._frames = 0
        self._sums: Floats = np.zeros(channels)
        self._squares: Floats = np.zeros(channels)
        self.faults: tuple[Fault, ...] = ()
        """The faults that hold now."""

    @property
    def hum(self) -> tuple[Hum | None, ...]:
        """The hum on each channel over the last ten seconds."""
        return self._watch.hum

    @property
    def noise_floor_dbfs(self) -> Floats:
        """(channels,): nan while not known."""
        return self._noise.level_dbfs.copy()

    @property
    def noise_floor_dba(self) -> Floats:
        """(channels,): the same, A-weighted."""
        return self._noise.level_dba.copy()

    @property
    def overall_hum(self) -> tuple[Hum | None, ...]:
        """The hum on each channel over everything."""
        return self._watch.overall_hum

    @property
    def overall_faults(self) -> tuple[Fault, ...]:
        """The faults of everything since the start."""
        return self._watch.overall_faults

    @property
    def mean_squares(self) -> Floats:
        """(channels,): over everything."""
        return self._squares / max(1, self._frames)

    @property
    def means(self) -> Floats:
        """(channels,): over everything."""
        return self._sums / max(1, self._frames)

    def gather(self, hops: Samples, start_frame: int, real_frames: int) -> Samples:
        """Take in whole hops and give back whole batches, for :meth:`listen` and :meth:`watch`.

        Where the last hop was filled up with silence, ``real_frames`` is shorter than the hops.
        """
        if not self._buffer.pending_frames:
            self._start_frame = start_frame
        self._silence_added += hops.shape[0] - real_frames
        return self._buffer.push(hops)

    def listen(self, batches: Samples) -> None:
        """Measure what was gathered: noise and sums. Shares nothing with :meth:`watch`."""
        if not batches.shape[0]:
            return
        mean_squares = hop_mean_squares(batches, self._hop)
        self._noise.process(batches, mean_squares)
        self._sums += self._hop * hop_means(batches, self._hop).sum(axis=0)
        self._squares += self._hop * mean_squares.sum(axis=0)
        self._frames += batches.shape[0]

    def watch(self, batches: Samples) -> None:
        """Look for flat tops, hum and faults in what was gathered. Shares nothing with :meth:`listen`."""
        if not batches.shape[0]:
            return
        self._watch.process(batches, self._start_frame)
        self.faults = self._watch.faults
        self._start_frame += batches.shape[0]

    def drain(self) -> None:
        """Take in what waits, because the frames that follow do not follow on, or none do."""
        self._take_rest()
        self._frames -= self._silence_added
        self._silence_added = 0
        self._watch.drain()

    def take_clips(self) -> tuple[Clip, ...]:
        """The flat tops that became clear since the last call."""
        return self._watch.take_clips()

    def forget_noise(self) -> None:
        """Learn the noise floor afresh."""
        self._take_rest()
        self._noise.reset()

    def estimate_noise(self) -> None:
        """Bring the noise floor up to the last hop."""
        self._noise.estimate()

    def _take_rest(self) -> None:
        rest = self._buffer.take()
        self.listen(rest)
        self.watch(rest)
