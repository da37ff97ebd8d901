"""The chain: every measurement over one stream of samples, for live audio and files alike."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Protocol, TypeVar

import numpy as np

from dsp.average import SlowAverage
from dsp.clips import ClipFinder
from dsp.decibels import AES17_OFFSET_DB, amplitude_to_db, mean_square_to_dbfs
from dsp.hops import HopBuffer, hop_frames
from dsp.longterm import LongTerm
from dsp.loudness import Loudness
from dsp.mending import mend
from dsp.peaks import PeakHold
from dsp.reading import Clip, Fault, FaultKind, Reading, Summary
from dsp.truepeak import TruePeak
from dsp.types import Floats, Samples
from dsp.watch import Watching

MAX_CHANNELS = 32
MIN_RATE_HZ = 8_000
MAX_RATE_HZ = 384_000

_Result = TypeVar("_Result")


class Together(Protocol):
    """Does two things that share nothing, and returns what the first one returned when both are done."""

    def __call__(self, first: Callable[[], _Result], second: Callable[[], None], /) -> _Result:
        """Do both."""
        ...


def in_turn(first: Callable[[], _Result], second: Callable[[], None], /) -> _Result:
    """One after the other."""
    result = first()
    second()
    return result


class Chain:
    """Runs every measurement over a stream and reports hop by hop.

    Blocks may have any size: figures do not depend on how the stream was cut. The last frames of a block
    wait until their 10 ms hop is whole.

    Parameters
    ----------
    rate_hz
        8000 to 384000.
    channels
        1 to 32.
    hold_s
        How long the peak hold holds; None = until :meth:`reset_hold`.
    noise_memory_s
        How far back quiet counts for the noise floor; None = everything, for a whole file.
    claimed_bits
        Resolution that the input claims, where that is known (a file's header), for the fault finder.
    together
        Does the two halves of a block's work. There are no threads in here; a caller who has one to spare,
        and blocks long enough to be worth it, passes a function that uses it.
    watch
        Looks for flat tops, hum and faults in the same stream, for a caller who has that done elsewhere; it
        must have been fed in the same pieces (:class:`dsp.watch.WatchedStream`).

    Raises
    ------
    ValueError
        For a rate or a channel count outside these bounds.
    """

    def __init__(
        self,
        rate_hz: int,
        channels: int,
        *,
        hold_s: float | None = None,
        noise_memory_s: float | None = 60.0,
        claimed_bits: int | None = None,
        together: Together = in_turn,
        watch: Watching | None = None,
    ) -> None:
        if not 1 <= channels <= MAX_CHANNELS:
            raise ValueError(f"channels is {channels}; 1 to {MAX_CHANNELS} can be measured")
        if not MIN_RATE_HZ <= rate_hz <= MAX_RATE_HZ:
            raise ValueError(f"rate_hz is {rate_hz}; {MIN_RATE_HZ} to {MAX_RATE_HZ} can be measured")
        self.rate_hz = rate_hz
        self.channels = channels
        self.hop_frames = hop = hop_frames(rate_hz)
        self._buffer = HopBuffer(hop, channels)
        self._average = SlowAverage(rate_hz, channels, hop)
        self._hold = PeakHold(channels, rate_hz, hop, hold_s)
        self._true_peak = TruePeak(rate_hz, channels, hop)
        self._loudness = Loudness(rate_hz, channels, hop)
        self._clips = ClipFinder(rate_hz, channels)
        self._long_term = LongTerm(
            rate_hz, channels, hop, noise_memory_s=noise_memory_s, claimed_bits=claimed_bits, watch=watch
        )
        self._together = together
        self._totals = _Totals(channels)
        self._position = 0

    @property
    def position_frames(self) -> int:
        """Where in the stream the next hop begins, lost frames included."""
        return self._position

    def process(self, block: Samples) -> Reading | None:
        """Measure a block, ``(frames, channels)``; None when it completed no hop."""
        hops = self._buffer.push(block)
        return self._measure(hops, hops.shape[0]) if hops.shape[0] else None

    def gap(self, lost_frames: int) -> Reading:
        """Note that frames were lost here: positions go on behind the gap, and no clip spans it.

        The hop that the gap cut short is filled up with silence and measured.
        """
        reading = self._drain()
        self._position += lost_frames
        return reading

    def finish(self) -> Reading:
        """End the stream: measure the last, short hop, and let every stage report what it still holds."""
        reading = self._drain()
        self._true_peak.flush()
        self._long_term.estimate_noise()
        return replace(
            reading,
            true_peak_dbtp=self._true_peak.max_dbtp,
            noise_floor_dbfs=self._long_term.noise_floor_dbfs,
            noise_floor_dba=self._long_term.noise_floor_dba,
        )

    def reset_hold(self) -> None:
        """Let go of the held peaks, sample and true."""
        self._hold.reset()
        self._true_peak.reset()

    def forget_noise(self) -> None:
        """Learn the noise floor afresh, because the gain was turned."""
        self._long_term.forget_noise()

    def summary(self) -> Summary:
        """Figures over everything so far; those of the long term reach up to the last whole 100 ms."""
        long_term, totals = self._long_term, self._totals
        long_term.estimate_noise()
        peak_dbfs = amplitude_to_db(totals.peak)
        rms_dbfs = mean_square_to_dbfs(long_term.mean_squares)
        with np.errstate(invalid="ignore"):  # silence has no crest: -inf - -inf
            crest_db = peak_dbfs - rms_dbfs + AES17_OFFSET_DB
        return Summary(
            rate_hz=self.rate_hz,
            frames=totals.frames,
            peak_dbfs=peak_dbfs,
            true_peak_dbtp=self._true_peak.overall_dbtp,
            average_max_dbfs=totals.average_max_dbfs.copy(),
            rms_dbfs=rms_dbfs,
            crest_db=crest_db,
            dc_offset=long_term.means,
            noise_floor_dbfs=long_term.noise_floor_dbfs,
            noise_floor_dba=long_term.noise_floor_dba,
            integrated_lufs=self._loudness.integrated_lufs,
            range_lu=self._loudness.range_lu,
            momentary_max_lufs=self._loudness.momentary_max_lufs,
            short_term_max_lufs=self._loudness.short_term_max_lufs,
            hum=long_term.overall_hum,
            faults=self._with_bad_samples(long_term.overall_faults),
            inter_sample_overs=self._true_peak.overs,
            bad_samples=totals.bad_samples,
        )

    def _drain(self) -> Reading:
        real_frames = self._buffer.pending_frames
        reading = self._measure(self._buffer.take_padded(), real_frames)
        self._long_term.drain()
        still_open = (*self._clips.flush(), *self._long_term.take_clips())
        return replace(
            reading,
            noise_floor_dbfs=self._long_term.noise_floor_dbfs,
            noise_floor_dba=self._long_term.noise_floor_dba,
            clips=(*reading.clips, *still_open),
            hum=self._long_term.hum,
            faults=self._with_bad_samples(self._long_term.faults),
        )

    def _measure(self, hops: Samples, real_frames: int) -> Reading:
        """Run every stage over whole hops, of which the last may hold fewer real frames."""
        start_frame = self._position
        self._position += real_frames
        if hops.shape[0]:
            hops, peaks, bad_samples = mend(hops, self.hop_frames)
            batches = self._long_term.gather(hops, start_frame, real_frames)
            average_dbfs, momentary_lufs, short_term_lufs, clips = self._together(
                lambda: self._measure_now(hops, peaks, start_frame, batches),
                lambda: self._long_term.watch(batches),
            )
            self._totals.add(real_frames, bad_samples, peaks, average_dbfs)
        else:
            average_dbfs = peaks = np.empty((0, self.channels))
            momentary_lufs = short_term_lufs = np.empty(0)
            clips, bad_samples = (), 0
        return Reading(
            rate_hz=self.rate_hz,
            start_frame=start_frame,
            frames=real_frames,
            hop_frames=self.hop_frames,
            average_dbfs=average_dbfs,
            peak_dbfs=amplitude_to_db(peaks),
            momentary_lufs=momentary_lufs,
            short_term_lufs=short_term_lufs,
            peak_hold_dbfs=amplitude_to_db(self._hold.hold),
            true_peak_dbtp=self._true_peak.max_dbtp,
            noise_floor_dbfs=self._long_term.noise_floor_dbfs,
            noise_floor_dba=self._long_term.noise_floor_dba,
            clips=(*clips, *self._long_term.take_clips()),
            hum=self._long_term.hum,
            faults=self._with_bad_samples(self._long_term.faults),
            bad_samples=bad_samples,
        )

    def _measure_now(
        self, hops: Samples, peaks: Floats, start_frame: int, batches: Samples
    ) -> tuple[Floats, Floats, Floats, tuple[Clip, ...]]:
        """Run the stages that must not wait, and of those that can wait the lighter half."""
        average_dbfs = self._average.process(hops)
        self._hold.process(peaks)
        self._true_peak.process(hops, peaks)
        momentary_lufs, short_term_lufs = self._loudness.process(hops)
        clips = self._clips.process(hops, start_frame, peaks)
        self._long_term.listen(batches)
        return average_dbfs, momentary_lufs, short_term_lufs, clips

    def _with_bad_samples(self, faults: tuple[Fault, ...]) -> tuple[Fault, ...]:
        count = self._totals.bad_samples
        return (*faults, Fault(FaultKind.BAD_SAMPLES, value=float(count))) if count else faults


class _Totals:
    """Extremes over the whole stream."""

    def __init__(self, channels: int) -> None:
        self.frames = 0
        self.bad_samples = 0
        self.peak: Floats = np.zeros(channels)
        self.average_max_dbfs: Floats = np.full(channels, -np.inf)

    def add(self, frames: int, bad_samples: int, peaks: Floats, average_dbfs: Floats) -> None:
        """Add hops; arrays are (hops, channels)."""
        self.frames += frames
        self.bad_samples += bad_samples
        np.maximum(self.peak, peaks.max(axis=0), out=self.peak)
        np.maximum(self.average_max_dbfs, average_dbfs.max(axis=0), out=self.average_max_dbfs)
