"""Clips at full scale: runs of frames at which the converter ran out of numbers.

No standard fixes how many frames in a row make a clip; three is the customary number, and it is a safe one:
an undistorted full-scale sine rounded to 16 bit holds its top code for three frames only below 42 Hz at
48 kHz, and at 24 bit only below 2.6 Hz.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dsp.decibels import amplitude_to_db
from dsp.reading import Clip, ClipKind
from dsp.types import Floats, Samples

FULL_SCALE = np.float32(0.9999)
"""A sample counts as full scale from here on: 32767/32768 (16 bit), −1.0 and everything beyond are in."""

JOIN_S = 0.050
"""Runs at most this far apart are one event. 50 ms is one period at 20 Hz, so that a held note that clips in
every period is one event, and still shorter than a sixteenth note at 240 beats a minute (62 ms)."""

_Ints = npt.NDArray[np.int64]


@dataclass(slots=True)
class _Run:
    """Frames in a row at the same rail, not known to be over yet."""

    positive: bool
    start: int
    frames: int
    peak: float

    @property
    def stop(self) -> int:
        return self.start + self.frames


@dataclass(slots=True)
class _Event:
    start: int
    stop: int
    peak: float
    runs: int

    def clip(self, channel: int) -> Clip:
        return Clip(
            kind=ClipKind.FULL_SCALE,
            channel=channel,
            start_frame=self.start,
            frames=self.stop - self.start,
            peak_dbfs=amplitude_to_db(self.peak),
            runs=self.runs,
        )


class _Channel:
    """One channel's open run and open event."""

    def __init__(self, least_frames: int, join_frames: int) -> None:
        self._least = least_frames
        self._join = join_frames
        self._run: _Run | None = None
        self._event: _Event | None = None
        self._begun = 0

    @property
    def idle(self) -> bool:
        return self._run is None and self._event is None

    @property
    def count(self) -> int:
        run = self._run
        fresh = run is not None and run.frames >= self._least and not self._joins(run.start)
        return self._begun + int(fresh)

    def process(self, frames: _Ints, values: Samples, end: int) -> list[_Event]:
        """Take in the frames at full scale (rising) and their samples; everything before ``end`` is seen."""
        finished: list[_Event] = []
        if frames.size:
            positive = values > 0
            breaks = np.flatnonzero((np.diff(frames) != 1) | (positive[1:] != positive[:-1])) + 1
            firsts = np.concatenate(([0], breaks))
            starts = frames[firsts]
            lengths = np.diff(np.append(firsts, frames.size))
            peaks = np.maximum.reduceat(np.abs(values), firsts).astype(np.float64)
            signs = positive[firsts]

            run = self._run
            if run is not None:
                if run.stop == starts[0] and run.positive == signs[0]:
                    starts[0] = run.start
                    lengths[0] += run.frames
                    peaks[0] = max(run.peak, peaks[0])
                else:
                    self._close_run(finished)
                self._run = None
            if starts[-1] + lengths[-1] == end:
                self._run = _Run(bool(signs[-1]), int(starts[-1]), int(lengths[-1]), float(peaks[-1]))
                starts, lengths, peaks = starts[:-1], lengths[:-1], peaks[:-1]
            long = lengths >= self._least
            self._add_runs(starts[long], lengths[long], peaks[long], finished)
        elif self._run is not None and self._run.stop < end:
            self._close_run(finished)
        earliest = end if self._run is None else self._run.start
        if self._event is not None and not self._joins(earliest):
            finished.append(self._event)
            self._event = None
        return finished

    def close(self) -> list[_Event]:
        """End what is open: nothing can follow."""
        finished: list[_Event] = []
        if self._run is not None:
            self._close_run(finished)
        if self._event is not None:
            finished.append(self._event)
            self._event = None
        return finished

    def _joins(self, start: int) -> bool:
        return self._event is not None and start - self._event.stop <= self._join

    def _close_run(self, finished: list[_Event]) -> None:
        run, self._run = self._run, None
        if run is not None and run.frames >= self._least:
            self._add_runs(np.array([run.start]), np.array([run.frames]), np.array([run.peak]), finished)

    def _add_runs(self, starts: _Ints, lengths: _Ints, peaks: Floats, finished: list[_Event]) -> None:
        if not starts.size:
            return
        stops = starts + lengths
        breaks = np.flatnonzero(starts[1:] - stops[:-1] > self._join) + 1
        firsts = np.concatenate(([0], breaks))
        lasts = np.append(breaks, starts.size) - 1
        tops = np.maximum.reduceat(peaks, firsts)
        for first, last, top in zip(firsts.tolist(), lasts.tolist(), tops.tolist(), strict=True):
            event = self._event
            if event is not None and self._joins(int(starts[first])):
                event.stop = int(stops[last])
                event.peak = max(event.peak, top)
                event.runs += last - first + 1
                continue
            if event is not None:
                finished.append(event)
            self._event = _Event(int(starts[first]), int(stops[last]), top, last - first + 1)
            self._begun += 1


class ClipFinder:
    """Finds every run of at least ``least_frames`` frames at one rail, exact to the frame, across blocks.

    Frames at the positive and at the negative rail are separate runs. Runs at most ``join_s`` apart make one
    :class:`~dsp.reading.Clip`, whose peak is the highest sample of its runs. Blocks may have any size.

    Parameters
    ----------
    rate_hz
        Sample rate.
    channels
        Columns of the blocks.
    least_frames
        Frames at full scale in a row that make a clip.
    join_s
        Longest pause inside one event, in seconds.
    """

    def __init__(self, rate_hz: int, channels: int, *, least_frames: int = 3, join_s: float = JOIN_S) -> None:
        if least_frames < 1:
            raise ValueError(f"least_frames is {least_frames}; 1 or more is expected")
        self._channels = [_Channel(least_frames, round(join_s * rate_hz)) for _ in range(channels)]
        self._next_frame: int | None = None

    @property
    def counts(self) -> npt.NDArray[np.int64]:
        """(channels,): events begun so far, those still under way included."""
        return np.array([channel.count for channel in self._channels], dtype=np.int64)

    def process(self, block: Samples, start_frame: int, peaks: Floats | None = None) -> tuple[Clip, ...]:
        """Take in a block and return the events that ended, in the order of their start.

        Parameters
        ----------
        block
            (frames, channels), full scale at ±1.0.
        start_frame
            Position of the first frame. One that does not follow on the block before counts as a gap.
        peaks
            (hops, channels): highest magnitude of each hop, where the caller has it already; the hops
            divide the block evenly. Hops without a sample near full scale are then never looked at.
        """
        finished: list[Clip] = []
        if self._next_frame is not None and start_frame != self._next_frame:
            finished += self.gap()
        frames = block.shape[0]
        end = start_frame + frames
        self._next_frame = end
        if not frames:
            return tuple(finished)
        # Over all channels at once: the maximum of a contiguous block is several times faster than by column.
        anywhere = max(block.max(), -block.min()) if peaks is None else peaks.max()
        for index, channel in enumerate(self._channels):
            if anywhere < FULL_SCALE and channel.idle:
                continue
            at, values = _at_full_scale(block[:, index], None if peaks is None else peaks[:, index])
            events = channel.process(at + start_frame, values, end)
            finished += [event.clip(index) for event in events]
        return tuple(sorted(finished, key=_place))

    def gap(self) -> tuple[Clip, ...]:
        """Close what is open, because the frames that follow do not follow on."""
        self._next_frame = None
        clips = [
            event.clip(index) for index, channel in enumerate(self._channels) for event in channel.close()
        ]
        return tuple(sorted(clips, key=_place))

    def flush(self) -> tuple[Clip, ...]:
        """Close what is open at the end of the stream."""
        return self.gap()


def _place(clip: Clip) -> tuple[int, int]:
    return clip.start_frame, clip.channel


def _at_full_scale(column: Samples, peaks: Floats | None) -> tuple[_Ints, Samples]:
    """Where a column is at full scale, and its samples there."""
    if peaks is None or column.shape[0] % peaks.shape[0]:
        at = np.flatnonzero(np.abs(column) >= FULL_SCALE)
        return at, column[at]
    hot = np.flatnonzero(peaks >= FULL_SCALE)
    hop = column.shape[0] // peaks.shape[0]
    # Not column.reshape: a column of a wider block is strided, and only the few hot hops are worth a copy.
    near = column[(hot[:, np.newaxis] * hop + np.arange(hop)).ravel()]
    inside = np.flatnonzero(np.abs(near) >= FULL_SCALE)
    return hot[inside // hop] * hop + inside % hop, near[inside]
