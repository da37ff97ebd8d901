"""The built-in player: a musician of ours at home, so that everything works without sound hardware.

Threads: one thread reads. :attr:`PlayerSource.gain_db` may be set and :meth:`PlayerSource.close` called from
any thread; the reader takes the knob's place once for each :meth:`PlayerSource.read`.
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from app.errors import UsageError
from app.inputs.pacing import Pace
from app.inputs.source import Block, SourceInfo, SourceStats, empty_block
from app.inputs.synth import bass, drums, strum, voice
from app.inputs.synth.mix import Mix, Sound
from app.inputs.synth.preamp import Preamp
from app.inputs.synth.room import CHUNK_FRAMES, Room
from app.words import player as words
from dsp.types import Samples

GAIN_MIN_DB = -60.0
GAIN_MAX_DB = 60.0
"""Where the knob ends: it cannot be turned further."""
RATE_MIN_HZ = 8_000
RATE_MAX_HZ = 384_000
_PATIENCE_S = 2.0
"""Nobody asked for longer than this (the machine slept): the player waited, nothing is to be caught up."""


@dataclass(frozen=True, slots=True)
class _Part:
    play: Callable[[int, int], Iterator[Sound]]
    channels: int = 1
    noise_dbfs: float = -70.0
    rumble_hz: float = 0.0


_PARTS = {
    "bass": _Part(bass.play),
    "guitar": _Part(strum.play, noise_dbfs=-69.0, rumble_hz=200.0),
    "voice": _Part(voice.play, noise_dbfs=-69.0, rumble_hz=200.0),
    "drums": _Part(drums.play, channels=drums.CHANNELS, rumble_hz=120.0),
}
PARTS: tuple[str, ...] = tuple(_PARTS)
"""What the player can play."""


class PlayerSource:
    """A synthetic musician behind an interface whose gain knob can be turned.

    The samples at a frame depend on the part, the seed, the rate and the knob alone, never on how they are
    read. They never end.

    Parameters
    ----------
    part
        One of :data:`PARTS`.
    gain_db
        Where the knob stands at first. At 0 the part sits in Fair water.
    rate_hz
        Sample rate.
    hum
        Mains frequency in Hz of a hum, or None.
    overload
        Whether the preamp goes flat below full scale, before the converter.
    paced
        True delivers as time passes, False as fast as it is read.
    speed
        How fast time passes; 10 is ten times as fast as in life.
    seed
        Another seed is another evening; 0 or more.
    clock
        Seconds that never run backwards; a test brings its own.

    Raises
    ------
    app.errors.UsageError
        When a parameter makes no sense.
    """

    def __init__(
        self,
        part: str = "bass",
        gain_db: float = 0.0,
        *,
        rate_hz: int = 48_000,
        hum: float | None = None,
        overload: bool = False,
        paced: bool = True,
        speed: float = 1.0,
        seed: int = 1,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        if part not in _PARTS:
            raise UsageError(words.unknown_part(part, PARTS))
        if not RATE_MIN_HZ <= rate_hz <= RATE_MAX_HZ:
            raise UsageError(words.bad_rate(rate_hz, RATE_MIN_HZ, RATE_MAX_HZ))
        if not (speed > 0.0 and math.isfinite(speed)):
            raise UsageError(words.bad_speed(speed))
        if seed < 0:
            raise ValueError(f"seed is {seed}; 0 or more is expected")
        if hum is not None and not 10.0 <= hum <= 400.0:
            raise UsageError(words.bad_hum(hum))
        self._name = part
        self._part = _PARTS[part]
        self._rate_hz = rate_hz
        self._hum = hum
        self._overload = overload
        self._paced = paced
        self._seed = seed
        self._gain_db = _knob(gain_db)
        self._closed = threading.Event()
        self._performance: _Performance | None = None
        self._clock = clock
        self._pace = Pace(max(1, round(rate_hz * speed)), paced=paced, clock=clock)
        self._paced_from = 0
        self._asked_s = 0.0
        self._stats = SourceStats(backend=words.made_by())

    @property
    def gain_db(self) -> float:
        """Where the gain knob stands; may be set at any time, from any thread."""
        return self._gain_db

    @gain_db.setter
    def gain_db(self, gain_db: float) -> None:
        self._gain_db = _knob(gain_db)

    @property
    def info(self) -> SourceInfo:
        """What plays; ``spec`` carries the knob as it stands now."""
        return SourceInfo(
            spec=f"player:{self._name}:{self._gain_db:g}",
            name=words.input_name(self._name),
            rate_hz=self._rate_hz,
            channels=self._part.channels,
            live=self._paced,
            channel_names=words.channel_names(self._name),
            note=words.note(hum_hz=self._hum, overload=self._overload),
        )

    def start(self) -> None:
        """Begin the evening."""
        self._closed.clear()
        self._performance = _Performance(
            self._part,
            self._seed,
            self._rate_hz,
            self._hum,
            Preamp(self._gain_db, self._rate_hz, overload=self._overload),
        )
        self._stats = SourceStats(backend=words.made_by())
        self._pace.restart()
        self._paced_from = 0
        self._asked_s = self._clock()

    def read(self, max_frames: int, timeout_s: float) -> Block:
        """Wait until ``max_frames`` frames were played, or the timeout, and take what was."""
        performance = self._performance
        if performance is None:
            raise RuntimeError("start() comes before read()")
        frames = self._wait_for(max_frames, timeout_s)
        if self._closed.is_set():
            return empty_block(self._part.channels, ended=True)
        if frames <= 0:
            return empty_block(self._part.channels)
        samples = performance.take(frames, self._gain_db)
        self._count(frames)
        return Block(samples)

    def stats(self) -> SourceStats:
        """What was played so far; nothing is ever lost."""
        return self._stats

    def close(self) -> None:
        """Send the musician home and wake up whoever waits in :meth:`read`."""
        self._closed.set()

    def _wait_for(self, max_frames: int, timeout_s: float) -> int:
        """Frames to take now: ``max_frames``, or fewer when the time is up."""
        asked_s = self._clock()
        if asked_s - self._asked_s > _PATIENCE_S + timeout_s:
            self._pace.restart()
            self._paced_from = self._stats.delivered_frames
        frames = self._pace.wait(
            self._stats.delivered_frames - self._paced_from, max_frames, timeout_s, self._closed
        )
        self._asked_s = self._clock()
        return frames

    def _count(self, frames: int) -> None:
        before = self._stats
        self._stats = SourceStats(
            delivered_frames=before.delivered_frames + frames,
            smallest_block_frames=min(before.smallest_block_frames or frames, frames),
            largest_block_frames=max(before.largest_block_frames, frames),
            backend=before.backend,
        )


class _Performance:
    """The evening from its first frame on: player, room, preamp."""

    def __init__(self, part: _Part, seed: int, rate_hz: int, hum_hz: float | None, preamp: Preamp) -> None:
        self._mix = Mix(part.play(seed, rate_hz), part.channels, ahead_frames=rate_hz)
        self._room = Room(
            seed=seed,
            rate_hz=rate_hz,
            channels=part.channels,
            noise_dbfs=part.noise_dbfs,
            rumble_hz=part.rumble_hz,
            hum_hz=hum_hz,
        )
        self._preamp = preamp
        self._chunk: Samples = np.empty((0, part.channels), np.float32)
        self._chunks = 0

    def take(self, frames: int, gain_db: float) -> Samples:
        """Return the next frames: (frames, channels)."""
        pieces = []
        missing = frames
        while missing:
            if not self._chunk.shape[0]:
                self._chunk = self._mix.render(CHUNK_FRAMES) + self._room.chunk(self._chunks)
                self._chunks += 1
            pieces.append(self._chunk[:missing])
            self._chunk = self._chunk[missing:]
            missing -= pieces[-1].shape[0]
        return self._preamp.process(np.concatenate(pieces), gain_db)


def _knob(gain_db: float) -> float:
    """Where the knob ends up when it is turned to a gain."""
    if not math.isfinite(gain_db):
        raise UsageError(words.gain_is_no_number(gain_db))
    return float(min(GAIN_MAX_DB, max(GAIN_MIN_DB, gain_db)))
