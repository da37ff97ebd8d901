"""The two ways from the driver into memory, behind one face.

:class:`CCapture` lets rtmixer fill PortAudio's lock-free ring in C, so that a busy interpreter can never make
the input drop samples. :class:`PythonCapture` does the same copy in a Python callback, for systems on which
rtmixer cannot be loaded.

Threads: the constructor, ``start``, ``stop`` and ``is_active`` run in the audio-control thread, the callback
in PortAudio's own; everything else belongs to the one thread that reads. Each number that the callback writes
is written by nobody else, and the reader takes it once into a local.

What happens in rtmixer when the ring is full (rtmixer 0.1.7, ``src/rtmixer.c``): the callback writes the
frames that still fit, ends the recording action, and drops everything until a new action comes. So a second
action runs beside it that copies nothing and counts every frame (it records into a buffer, zero channels
wide), and the difference between the two counts tells to the frame what is missing.
"""

from __future__ import annotations

import time
from collections import deque
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from app.inputs.stderr import let_threads_be_freed
from dsp.types import Samples

RING_S = 4.0
"""How long the reader may be away before anything is lost."""
PYTHON_LATENCY_S = 0.100
"""A Python callback may have to wait this long for its turn."""
_RING_BYTES = 32 * 1024 * 1024
_FRAME_BYTES = 4
"""Of one float32 sample."""


@dataclass(frozen=True, slots=True)
class StreamRequest:
    """What to open."""

    device: int
    stream_channels: int
    """How many the driver is asked for."""
    picks: tuple[int, ...]
    """The ones to keep, from 1."""
    rate_hz: float
    extra_settings: Any = None


class Capture(Protocol):
    """A stream into a ring."""

    backend: str
    rate_hz: float
    """As the stream says it runs."""
    latency_s: float

    def start(self) -> None:
        """Let the driver deliver."""
        ...

    def stop(self, *, at_once: bool = False) -> None:
        """Stop and close, once; ``at_once`` without waiting for what the driver may still deliver."""
        ...

    def is_active(self) -> bool:
        """Ask PortAudio whether the stream still runs."""
        ...

    @property
    def finished(self) -> bool:
        """Whether PortAudio has said that the stream is over."""
        ...

    def delivered(self) -> int:
        """Frames that the driver has delivered so far, kept or not."""
        ...

    def overflows(self) -> int:
        """Losses that the driver has flagged so far."""
        ...

    def block_sizes(self) -> tuple[int, int]:
        """The smallest and the largest block so far, in frames."""
        ...

    def take(self, max_frames: int) -> tuple[Samples, int]:
        """Take what is in the ring, up to the next place where the ring was full.

        Returns
        -------
        samples
            (frames, channels), up to ``max_frames``, perhaps none.
        lost_frames
            What the ring could not hold directly before them.
        """
        ...


def ring_frames(rate_hz: float, channels: int) -> int:
    """Size a ring: a power of two, :data:`RING_S` or more, at most 32 MiB."""
    frames = 1 << int(np.ceil(np.log2(max(2.0, rate_hz * RING_S))))
    while frames * channels * _FRAME_BYTES > _RING_BYTES:
        frames //= 2
    return frames


def stream_arguments(request: StreamRequest, latency: float | str = "high") -> dict[str, Any]:
    """Name what both ways ask of PortAudio: shared, roomy, untouched."""
    return {
        "device": request.device,
        "samplerate": request.rate_hz,
        "channels": request.stream_channels,
        "latency": latency,
        "clip_off": True,
        "dither_off": True,
        "extra_settings": request.extra_settings,
    }


class _Stream:
    """What both ways do alike with PortAudio's stream."""

    _stream: Any
    _finished = False

    def _on_finished(self) -> None:
        self._finished = True

    def start(self) -> None:
        """Let the driver deliver."""
        let_threads_be_freed()
        self._stream.start()

    def stop(self, *, at_once: bool = False) -> None:
        """Stop and close, once; see :class:`Capture`."""
        end = self._stream.abort if at_once else self._stream.stop
        end(ignore_errors=True)
        self._stream.close(ignore_errors=True)

    def is_active(self) -> bool:
        """Ask PortAudio whether the stream still runs."""
        return bool(self._stream.active)


class CCapture(_Stream):
    """Through rtmixer's C callback."""

    backend = "rtmixer"

    def __init__(self, sd: Any, request: StreamRequest, frames: int = 0) -> None:
        import rtmixer  # imports sounddevice, so only the audio-control thread may

        del sd
        self._rtmixer = rtmixer
        self._stream = rtmixer.Recorder(finished_callback=self._on_finished, **stream_arguments(request))
        self._picks = request.picks
        self.rate_hz = float(self._stream.samplerate)
        self.latency_s = float(self._stream.latency)
        width = len(request.picks)
        self._frames = frames or ring_frames(self.rate_hz, width)
        self._ring = rtmixer.RingBuffer(width * _FRAME_BYTES, self._frames)
        try:
            self._counter = self._start_counter()
            self._segments: deque[_Segment] = deque((self._record(),))
        except Exception:  # another rtmixer than the one this was written against
            self._stream.close(ignore_errors=True)
            raise
        self._segments[0].first = 0  # both actions begin in the first callback
        self._taken = 0
        """Frames taken out of the present segment."""

    def _start_counter(self) -> Any:
        # rtmixer has no public way to record zero channels; its C callback copies none and counts the frames.
        ffi = self._rtmixer._ffi
        counter = ffi.new(
            "struct action*",
            {
                "type": self._rtmixer.RECORD_BUFFER,
                "actual_time": -1.0,
                "requested_time": 0.0,
                "buffer": ffi.NULL,
                "total_frames": self._rtmixer.ULONG_MAX,
                "channels": 0,
                "mapping": [],
            },
        )
        self._stream._enqueue(counter)
        return counter

    def _record(self) -> _Segment:
        return _Segment(self._stream.record_ringbuffer(self._ring, channels=self._picks))

    @property
    def finished(self) -> bool:
        """Whether PortAudio has said that the stream is over."""
        # Where C counts with 32 bits (Windows), actions end after a day at 48 kHz: then the stream is over.
        return self._finished or int(self._counter.done_frames) >= self._rtmixer.ULONG_MAX

    def delivered(self) -> int:
        """Frames that the driver has delivered so far, kept or not."""
        return int(self._counter.done_frames)

    def overflows(self) -> int:
        """Losses that the driver has flagged so far."""
        return int(self._counter.stats.input_overflows)

    def block_sizes(self) -> tuple[int, int]:
        """The smallest and the largest block so far, in frames."""
        stats = self._counter.stats
        return int(stats.min_blocksize), int(stats.max_blocksize)

    def take(self, max_frames: int) -> tuple[Samples, int]:
        """Take what is in the ring; see :class:`Capture`."""
        newest = self._segments[-1]
        # The order matters: an action that has ended before the ring is looked at adds nothing more to it.
        newest.ended = newest.action not in self._stream.actions
        available = int(self._ring.read_available)
        if newest.ended and available <= self._frames // 2 and not self._finished:
            self._segments.append(self._record())
        self._segments[-1].measure(self._counter)
        lost = self._next_segment() if self._is_taken_out() else 0
        now = self._segments[0]
        in_segment = int(now.action.done_frames) - self._taken if now.ended else available
        frames = min(max_frames, available, in_segment)
        samples = np.empty((frames, len(self._picks)), np.float32)
        if frames:
            self._ring.readinto(samples)
            self._taken += frames
        return samples, lost

    def _is_taken_out(self) -> bool:
        """Whether the present segment is over and the next one has begun."""
        if len(self._segments) < 2:
            return False
        now, following = self._segments[0], self._segments[1]
        return self._taken == int(now.action.done_frames) and int(following.action.done_frames) > 0

    def _next_segment(self) -> int:
        """Go on to the next segment; how many frames lie between the two."""
        over = self._segments.popleft()
        following = self._segments[0]
        for _ in range(4):  # a callback that is running just now must not be taken for a gap
            following.measure(self._counter)
            time.sleep(0.000_5)
        lost = following.first - (over.first + self._taken)
        self._taken = 0
        return max(0, lost)


class _Segment:
    """One recording action: what went into the ring between two moments at which it was full."""

    def __init__(self, action: Any) -> None:
        self.action = action
        self.ended = False
        self.first = 2**63
        """Which of the delivered frames was its first. Only ever too high, until it has been measured between
        two callbacks."""

    def measure(self, counter: Any) -> None:
        # The action first, then the counter: whatever the callback does in between can only add to the
        # difference, so that the smallest one is the true one.
        done = int(self.action.done_frames)
        if done:
            self.first = min(self.first, int(counter.done_frames) - done)


class PythonCapture(_Stream):
    """Through a Python callback."""

    backend = "python"

    _MOST_GAPS = 1024

    def __init__(self, sd: Any, request: StreamRequest, frames: int = 0) -> None:
        # Before the stream exists, so that its first callback finds everything in place. The driver may run
        # at another rate than asked for, which changes the length of the ring in seconds and nothing else.
        self._picks = np.array(request.picks, np.intp) - 1
        width = len(request.picks)
        self._frames = frames or ring_frames(request.rate_hz, width)
        self._ring = np.zeros((self._frames, width), np.float32)
        self._gap_at = np.zeros(self._MOST_GAPS, np.int64)
        self._gap_frames = np.zeros(self._MOST_GAPS, np.int64)
        # Written by the callback alone:
        self._written = self._delivered = self._overflows = self._gaps = 0
        self._smallest = self._largest = 0
        # Written by the reader alone:
        self._read = self._gaps_read = self._gap_part = 0
        high_s = float(sd.query_devices(request.device)["default_high_input_latency"])
        self._stream = sd.InputStream(
            dtype="float32",
            callback=self._callback,
            finished_callback=self._on_finished,
            **stream_arguments(request, max(high_s, PYTHON_LATENCY_S)),
        )
        self.rate_hz = float(self._stream.samplerate)
        self.latency_s = float(self._stream.latency)

    def _callback(self, indata: Samples, frames: int, _time: Any, status: Any) -> None:
        """Copy and count, nothing else: it holds up the driver and needs the interpreter."""
        written = self._written
        fits = min(frames, self._frames - (written - self._read))
        at = written % self._frames
        first = min(fits, self._frames - at)
        # Straight into the ring: mode="clip" is what lets take() do without a buffer of its own.
        np.take(indata[:first], self._picks, axis=1, out=self._ring[at : at + first], mode="clip")
        if fits > first:
            np.take(indata[first:fits], self._picks, axis=1, out=self._ring[: fits - first], mode="clip")
        if fits < frames:
            self._note_gap(written + fits, frames - fits)
        if status and status.input_overflow:
            self._overflows += 1
        self._smallest = min(self._smallest or frames, frames)
        self._largest = max(self._largest, frames)
        self._delivered += frames
        self._written = written + fits  # last: from here on the reader sees the frames

    def _note_gap(self, at: int, frames: int) -> None:
        slot = (self._gaps - 1) % self._MOST_GAPS
        if self._gaps > self._gaps_read and self._gap_at[slot] == at:
            self._gap_frames[slot] += frames  # still the same gap: nothing was written since
            return
        if self._gaps - self._gaps_read == self._MOST_GAPS:
            self._gap_frames[slot] += frames  # nobody has read for very long; the sum stays right
            return
        slot = self._gaps % self._MOST_GAPS
        self._gap_at[slot] = at
        self._gap_frames[slot] = frames
        self._gaps += 1

    @property
    def finished(self) -> bool:
        """Whether PortAudio has said that the stream is over."""
        return self._finished

    def delivered(self) -> int:
        """Frames that the driver has delivered so far, kept or not."""
        return self._delivered

    def overflows(self) -> int:
        """Losses that the driver has flagged so far."""
        return self._overflows

    def block_sizes(self) -> tuple[int, int]:
        """The smallest and the largest block so far, in frames."""
        return self._smallest, self._largest

    def take(self, max_frames: int) -> tuple[Samples, int]:
        """Take what is in the ring; see :class:`Capture`."""
        written = self._written  # before the gaps: a gap that lies further on is not due yet
        lost = 0
        limit = written - self._read
        if self._gaps > self._gaps_read:
            slot = self._gaps_read % self._MOST_GAPS
            ahead = int(self._gap_at[slot]) - self._read
            if ahead > 0:
                limit = min(limit, ahead)
            elif limit > 0:  # frames follow, so the gap is over and its size is final
                lost = int(self._gap_frames[slot])
                self._gaps_read += 1
                limit = self._up_to_next_gap(limit)
        frames = min(max_frames, limit)
        at = self._read % self._frames
        first = min(frames, self._frames - at)
        samples = np.concatenate((self._ring[at : at + first], self._ring[: frames - first]))
        self._read += frames  # last: from here on the callback may overwrite them
        return samples, lost

    def _up_to_next_gap(self, frames: int) -> int:
        if self._gaps == self._gaps_read:
            return frames
        return min(frames, int(self._gap_at[self._gaps_read % self._MOST_GAPS]) - self._read)
