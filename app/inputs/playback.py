"""Playing along: the files of a backing, each as far down as advised, through an output.

The player's own part is never routed here: it would come late (the round trip is shown, to say why).

Care for ears, in this order: nothing is ever louder than its file less what it is turned down by; playing
begins 40 dB under that and rises over two seconds; a level that is changed glides up and drops fast; what
would pass full scale is held there; stopping takes the next buffer, faded over a few milliseconds.

Threads: a feeder reads, converts the rate (soxr) and mixes into a ring; the output's thread copies out of it
(:meth:`Playback._fill`: no allocation that grows, no lock, no log). Each of the two counters is written by
one of them alone. Everybody else starts, stops and looks.
"""

from __future__ import annotations

import logging
import math
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from app.errors import DeviceError, SwellmarkError
from app.inputs.files import FileSource
from app.inputs.outputs import DeviceOutput, Output
from app.words import playback as words
from dsp.types import Samples

RAMP_S = 2.0
RAMP_DB = 40.0
"""Playing begins so far under the advised level and reaches it after :data:`RAMP_S`."""
_UP_DB_PER_S = 10.0
_DOWN_DB_PER_S = 200.0
"""How fast a level that was changed while playing follows."""
_RING_S = 0.4
_CHUNK_S = 0.02
_FADE_S = 0.004
_NAP_S = 0.02
_END_S = 3.0
_LOST_S = 3.0
"""An output that took nothing for so long is gone: a driver may say nothing when a device is pulled out."""
_MOST_REFERENCE = 1_000
"""Chunks: 20 s of what went out, for whoever compares it with the input."""
_EVIDENCE_DOWN_DB = 12.0
_EVIDENCE_RAMP_S = 0.3
_HALF_POWER = math.sqrt(0.5)

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Turned:
    """A file, and how far it is turned down."""

    path: Path
    pull_down_db: float = 0.0
    """0 or more: playing is never louder than the file."""


class Playback:
    """Plays files that begin together, mixed to both ears, through one output, once.

    Parameters
    ----------
    files
        One or several.
    output
        Not yet open.
    ramp_s
        How long it takes from :data:`RAMP_DB` under the level to the level.

    Raises
    ------
    ValueError
        Without files, or for one that would be turned up.
    """

    def __init__(self, files: Sequence[Turned], output: Output, *, ramp_s: float = RAMP_S) -> None:
        if not files or any(file.pull_down_db < 0.0 for file in files):
            raise ValueError(f"{list(files)}: one file or more, none turned up, are expected")
        self.files = tuple(files)
        self.output = output
        self._ramp_s = ramp_s
        self._wanted_db = tuple(-file.pull_down_db for file in files)
        self._sources: list[FileSource] = []
        self._ring: Samples = np.empty((0, 2), np.float32)
        self._written = 0
        self._played = 0
        self._all_written = False
        self._leaving = threading.Event()
        self._silent = False
        self._stopping = threading.Lock()
        self._feeder: threading.Thread | None = None
        self._reference: deque[tuple[int, Samples]] = deque(maxlen=_MOST_REFERENCE)
        self.underruns = 0
        """How often the output had to wait; each is a gap in the headphones."""
        self.problem: SwellmarkError | None = None
        """What ended it too early."""

    def start(self) -> None:
        """Open files and output and begin to play.

        Raises
        ------
        app.errors.SwellmarkError
            With a sentence for the user: a file cannot be read, the output cannot be opened.
        """
        try:
            for file in self.files:
                source = FileSource(file.path, paced=False)
                self._sources.append(source)
                source.start()
            self.output.open()
            rate_hz = self.output.rate_hz
            self._ring = np.zeros((round(_RING_S * rate_hz), self.output.channels), np.float32)
            feed = _Feed(self._sources, rate_hz, self._wanted_db, self._ramp_s)
            self._top_up(feed)  # the first buffers are there before they are asked for
            self._feeder = threading.Thread(
                target=self._run, args=(feed,), name="swellmark-playback", daemon=True
            )
            self._feeder.start()
            self.output.start(self._fill)
        except BaseException:
            self.stop()
            raise
        if self._leaving.is_set():  # it was stopped while the driver took its time to open
            self.stop()

    def stop(self) -> None:
        """Fall silent at once, and let go of output and files. Safe to call from any thread, and again."""
        self._leaving.set()
        with self._stopping:
            self.output.stop()
            if self._feeder is not None and self._feeder is not threading.current_thread():
                self._feeder.join(_END_S)
            for source in self._sources:
                source.close()

    def hush(self) -> None:
        """Fall silent with the next buffer, without waiting for anything; :meth:`stop` is still to come."""
        self._leaving.set()

    def set_pull_down(self, pull_down_db: Sequence[float]) -> None:
        """Turn the files further down or less far, one amount each, 0 or more; they glide there.

        Raises
        ------
        ValueError
            For a negative amount, or not one a file.
        """
        if len(pull_down_db) != len(self.files) or any(amount < 0.0 for amount in pull_down_db):
            raise ValueError(f"{list(pull_down_db)}: {len(self.files)} amounts of 0 or more are expected")
        self._wanted_db = tuple(-amount for amount in pull_down_db)

    @property
    def playing(self) -> bool:
        """Whether it sounds, or is about to."""
        return not (self.output.finished or self._leaving.is_set() or self.problem)

    @property
    def position_s(self) -> float:
        """How far into the backing the output is."""
        return self._played / self.output.rate_hz if self.output.rate_hz else 0.0

    @property
    def rate_hz(self) -> int:
        """The output's; valid once it plays."""
        return self.output.rate_hz

    @property
    def played_frames(self) -> int:
        """What the output took so far."""
        return self._played

    def take_reference(self) -> tuple[int, Samples]:
        """What went out since the last call, for one thread that asks at least every few seconds.

        Returns
        -------
        first_frame
            Of the samples in what was played; a step from the last call's end means that some were missed.
        samples
            (frames,): the mean of both ears, at the output's rate; perhaps none.
        """
        played, taken, end = self._played, [np.empty(0, np.float32)], 0
        while self._reference and self._reference[0][0] <= played:
            end, samples = self._reference.popleft()
            taken.append(samples)
        together = np.concatenate(taken)
        return end - together.shape[0], together

    # On the output's thread.

    def _fill(self, out: Samples) -> bool:
        if self._silent:
            out.fill(0.0)
            return False
        frames, ring = out.shape[0], self._ring
        all_written = self._all_written  # asked first: what was written before it counts
        there = min(frames, self._written - self._played)
        place = self._played % ring.shape[0]
        first = min(there, ring.shape[0] - place)
        out[:first] = ring[place : place + first]
        out[first:there] = ring[: there - first]
        out[there:] = 0.0
        if self._leaving.is_set():
            self._fade(out)
            self._silent = True
            return False
        if there < frames and not all_written:
            self.underruns += 1
        self._played += there
        return not (all_written and self._played == self._written)

    def _fade(self, out: Samples) -> None:
        frames = min(out.shape[0], max(1, round(_FADE_S * self.output.rate_hz)))
        out[:frames] *= np.linspace(1.0, 0.0, frames, dtype=np.float32)[:, np.newaxis]
        out[frames:] = 0.0

    # The feeder.

    def _run(self, feed: _Feed) -> None:
        played, moved_s = -1, time.monotonic()
        try:
            while not self._leaving.is_set() and not self.output.finished:
                if self._all_written or not self._top_up(feed):
                    self._leaving.wait(_NAP_S)
                if self._played != played:
                    played, moved_s = self._played, time.monotonic()
                elif time.monotonic() - moved_s > _LOST_S:
                    break
            if not self._leaving.is_set() and self._played < self._written:
                self.problem = DeviceError(words.output_lost(self.output.name))
        except SwellmarkError as error:
            self.problem = error
        except Exception as error:  # a fault of ours: told where the playing is shown
            _log.exception("playing along failed")
            self.problem = SwellmarkError(words.playback_failed(), repr(error))
        finally:
            self._all_written = True  # the output ends when it has played what there is

    def _top_up(self, feed: _Feed) -> bool:
        """Write until the ring is full; whether anything was written."""
        ring, wrote = self._ring, False
        chunk = round(_CHUNK_S * self.output.rate_hz)
        while not self._all_written and ring.shape[0] - (self._written - self._played) >= chunk:
            samples = feed.next(chunk, self._wanted_db)
            wrote = True
            if samples.shape[0] < chunk:
                self._all_written = samples.shape[0] == 0
            mono = samples.mean(axis=1)
            if ring.shape[1] == 1:
                samples = mono[:, np.newaxis]
            place = self._written % ring.shape[0]
            first = min(samples.shape[0], ring.shape[0] - place)
            ring[place : place + first] = samples[:first]
            ring[: samples.shape[0] - first] = samples[first:]
            self._reference.append((self._written + samples.shape[0], mono))
            self._written += samples.shape[0]
        return wrote


class _Feed:
    """Reads files, converts their rate, turns each to its level and adds them up."""

    def __init__(
        self, sources: Sequence[FileSource], rate_hz: int, levels_db: Sequence[float], ramp_s: float
    ) -> None:
        self._streams = [_AtRate(source, rate_hz) for source in sources]
        self._rate_hz = rate_hz
        self._levels_db = np.array(levels_db, np.float64)
        self._ramp_s = ramp_s
        self._frames = 0

    def next(self, frames: int, wanted_db: Sequence[float]) -> Samples:
        """Up to so many frames for two ears; fewer at the end, then none."""
        parts = [stream.next(frames) for stream in self._streams]
        count = max(part.shape[0] for part in parts)
        out = np.zeros((count, 2), np.float32)
        for file, part in enumerate(parts):
            gains = self._glide(file, wanted_db[file], part.shape[0])
            out[: part.shape[0]] += part * gains[:, np.newaxis].astype(np.float32)
        out *= self._ramp(count)[:, np.newaxis]
        self._frames += count
        return np.clip(out, -1.0, 1.0, out=out)

    def _glide(self, file: int, wanted_db: float, frames: int) -> np.ndarray[Any, Any]:
        """Gains that go towards the wanted level, linearly in decibels, and never past it."""
        now_db = self._levels_db[file]
        per_s = _UP_DB_PER_S if wanted_db > now_db else -_DOWN_DB_PER_S
        levels_db = now_db + per_s * np.arange(1, frames + 1) / self._rate_hz
        levels_db = np.minimum(levels_db, wanted_db) if per_s > 0 else np.maximum(levels_db, wanted_db)
        if frames:
            self._levels_db[file] = levels_db[-1]
        return np.asarray(10.0 ** (levels_db / 20.0))

    def _ramp(self, frames: int) -> np.ndarray[Any, Any]:
        t_s = (self._frames + np.arange(frames)) / self._rate_hz
        share = np.minimum(t_s / self._ramp_s, 1.0) if self._ramp_s > 0.0 else np.ones(frames)
        return np.asarray(10.0 ** (-RAMP_DB * (1.0 - share) / 20.0), np.float32)


class _AtRate:
    """One file for two ears at another rate."""

    def __init__(self, source: FileSource, rate_hz: int) -> None:
        info = source.info
        self._source = source
        self._channels = info.channels
        self._resampler: Any = None
        if info.rate_hz != rate_hz:
            import soxr  # late: most backings have the rate of the output

            self._resampler = soxr.ResampleStream(info.rate_hz, rate_hz, 2, dtype="float32")
        self._step = max(1, round(_CHUNK_S * info.rate_hz))
        self._ready: Samples = np.empty((0, 2), np.float32)
        self._ended = False

    def next(self, frames: int) -> Samples:
        """Up to so many frames; fewer only at the end."""
        while self._ready.shape[0] < frames and not self._ended:
            block = self._source.read(self._step, 0.0)
            self._ended = block.ended
            ears = to_ears(np.nan_to_num(block.samples, nan=0.0, posinf=0.0, neginf=0.0))
            if self._resampler is not None:
                ears = self._resampler.resample_chunk(np.ascontiguousarray(ears), last=self._ended)
            self._ready = np.concatenate((self._ready, ears))
        out, self._ready = self._ready[:frames], self._ready[frames:]
        return out


def to_ears(samples: Samples) -> Samples:
    """Mix (frames, channels) down to two ears: mono to both; five and six channels after ITU-R BS.775-3,
    Annex 4 (centre and surround 3 dB down, no LFE); other numbers evenly to both, at their power.
    """  # noqa: D205 - one sentence with its source
    channels = samples.shape[1]
    if channels == 2:
        return samples
    if channels == 1:
        return np.repeat(samples, 2, axis=1)
    if channels in (5, 6):
        centre, surround = samples[:, 2:3] * np.float32(_HALF_POWER), samples[:, channels - 2 :]
        return np.asarray(samples[:, :2] + centre + surround * np.float32(_HALF_POWER), np.float32)
    return np.repeat(samples.sum(axis=1, keepdims=True) / np.float32(math.sqrt(channels)), 2, axis=1)


class Headphones:
    """The one place where the program plays: whatever begins to play ends what played before.

    Parameters
    ----------
    make_output
        Makes an output from its full name; empty is the system's choice.
    """

    def __init__(self, make_output: Callable[[str], Output] = DeviceOutput) -> None:
        self._make_output = make_output
        self._lock = threading.Lock()
        self._current: Playback | None = None
        self.output_name = ""
        """Where to play from now on, ``HOST API/NAME``; empty is the system's choice."""

    @property
    def current(self) -> Playback | None:
        """What plays, or played last."""
        return self._current

    def play_along(self, files: Sequence[Turned]) -> Playback:
        """Play a backing, each file as far down as it says, rising from 40 dB under that in two seconds.

        Raises
        ------
        app.errors.SwellmarkError
            With a sentence for the user.
        """
        return self._begin(Playback(files, self._make_output(self.output_name)))

    def play(self, path: Path, pull_down_db: float = _EVIDENCE_DOWN_DB) -> Playback:
        """Play one file once, well under its own level: an excerpt of a take may be at full scale.

        Raises
        ------
        app.errors.SwellmarkError
            With a sentence for the user.
        """
        output = self._make_output(self.output_name)
        return self._begin(Playback([Turned(path, pull_down_db)], output, ramp_s=_EVIDENCE_RAMP_S))

    def stop(self) -> None:
        """Fall silent at once. Safe to call from any thread, and again."""
        with self._lock:
            current = self._current
        if current is not None:
            current.stop()

    def _begin(self, playback: Playback) -> Playback:
        self.stop()
        with self._lock:
            self._current = playback
        playback.start()
        return playback


_headphones: Headphones | None = None
_making = threading.Lock()


def headphones() -> Headphones:
    """Get the one of this process; nothing opens before something plays."""
    global _headphones  # noqa: PLW0603 -- PortAudio itself exists once per process
    with _making:
        if _headphones is None:
            _headphones = Headphones()
        return _headphones
