"""An input that comes back by itself: unplugged and plugged in again, the same stream goes on.

While it is away, every read says so, and the device is looked for again and again: by its host API and name,
so that no other one is opened in its place. When it is back, the first block says how much time went by, as
lost frames: whoever counts frames stays in step with the clock.

Threads: as for any source. Opening anew happens in the thread that reads.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import replace

from app.errors import InputError, SilentSystemError, UsageError
from app.inputs.source import Block, Source, SourceInfo, SourceStats, empty_block
from app.words import inputs as words

RETRY_S = 0.5
"""Between two attempts to open what is away."""
SILENT_S = 10.0
"""A sound system that has not answered anything for so long will not let it come back."""
_NAP_S = 0.1


class ReturningSource:
    """Wraps a live source, and opens it again when it has gone.

    Parameters
    ----------
    source
        The input. Its :meth:`~app.inputs.source.Source.start` is called again and again while it is away.
    retry_s
        Seconds between two attempts.
    clock
        Seconds that never run backwards.
    on_close
        Told what happened over every return, once for each :meth:`start`.
    """

    def __init__(
        self,
        source: Source,
        *,
        retry_s: float = RETRY_S,
        clock: Callable[[], float] = time.monotonic,
        on_close: Callable[[SourceInfo, SourceStats], None] | None = None,
    ) -> None:
        self._source = source
        self._on_close = on_close
        self._retry_s = retry_s
        self._clock = clock
        self._lock = threading.Lock()
        self._wanted = False
        self._info: SourceInfo | None = None
        self._away = False
        self._open = False
        self._heard_s = self._retry_at_s = 0.0
        self._silent_since_s: float | None = None
        """Since when the sound system has not answered."""
        self._past = SourceStats()

    @property
    def info(self) -> SourceInfo:
        """What was opened at first, with the doubts about what is open now. Valid after :meth:`start`."""
        if self._info is None:
            raise RuntimeError("start() has not been called")
        return self._info

    def start(self) -> None:
        """Open it, and fail if it is not there: only what has been there can come back.

        Raises
        ------
        app.errors.InputError
            As the source does.
        """
        self.close()
        self._info = None
        with self._lock:
            self._wanted = True
        self._source.start()
        # From now on every return opens what was really opened, and not what a loose name may mean by then.
        self._info = self._source.info
        self._open, self._away = True, False
        self._heard_s = self._clock()
        self._past = SourceStats()

    def read(self, max_frames: int, timeout_s: float) -> Block:
        """Take the next frames; see :class:`app.inputs.source.Source`.

        Raises
        ------
        app.errors.InputError
            When it came back with another rate or other channels, so that the stream cannot go on, or when
            the sound system does not answer any more.
        """
        if not self._open and not self._try_again(timeout_s):
            return empty_block(self.info.channels, active=False)
        block = self._source.read(max_frames, timeout_s)
        frames = int(block.samples.shape[0])
        if not block.active:
            self._leave()
            return block
        if not frames:
            return replace(block, active=not self._away)
        now_s = self._clock()
        if self._away:
            missed = max(0, round((now_s - self._heard_s) * self.info.rate_hz) - frames)
            self._away = False
            self._past = _sum(
                self._past, SourceStats(lost_frames=missed, estimated_lost_frames=missed, gaps=missed > 0)
            )
            block = replace(block, lost_frames=block.lost_frames + missed)
        self._heard_s = now_s
        return block

    def stats(self) -> SourceStats:
        """What happened since the start, over every return."""
        return _sum(self._past, self._source.stats()) if self._open else self._past

    def close(self) -> None:
        """Let go of it, and look for it no more. Safe to call from any thread, and again."""
        with self._lock:
            wanted, self._wanted = self._wanted, False
        self._source.close()
        if wanted and self._info is not None and self._on_close is not None:
            self._on_close(self._info, self.stats())

    def _leave(self) -> None:
        """Close what has gone: only then can the system look for it anew."""
        self._past = _sum(self._past, self._source.stats())
        self._open, self._away = False, True
        self._source.close()
        self._retry_at_s = self._clock() + self._retry_s

    def _is_closed(self) -> bool:
        with self._lock:
            return not self._wanted

    def _try_again(self, timeout_s: float) -> bool:
        left_s = self._retry_at_s - self._clock()
        if left_s > 0 or self._is_closed():
            time.sleep(min(timeout_s, _NAP_S))
            return False
        try:
            began_s = self._clock()
            self._source.start()
        except SilentSystemError:
            self._silent_since_s = self._silent_since_s or began_s
            if self._clock() - self._silent_since_s >= SILENT_S and not self._is_closed():
                raise
            self._retry_at_s = self._clock() + self._retry_s
            return False
        except (InputError, UsageError):  # not there yet, or there without the channel that was asked for
            self._silent_since_s = None
            self._retry_at_s = self._clock() + self._retry_s
            return False
        self._silent_since_s = None
        if self._is_closed():  # by another thread, meanwhile
            self._source.close()
            return False
        found = self._source.info
        if (found.rate_hz, found.channels) != (self.info.rate_hz, self.info.channels):
            self._source.close()
            raise InputError(words.came_back_changed(found.name, self.info.rate_hz, found.rate_hz))
        self._info = replace(self.info, doubt=found.doubt)
        self._open = True
        return True


def _sum(one: SourceStats, other: SourceStats) -> SourceStats:
    smallest = [size for size in (one.smallest_block_frames, other.smallest_block_frames) if size]
    return SourceStats(
        delivered_frames=one.delivered_frames + other.delivered_frames,
        lost_frames=one.lost_frames + other.lost_frames,
        estimated_lost_frames=one.estimated_lost_frames + other.estimated_lost_frames,
        gaps=one.gaps + other.gaps,
        overflows=one.overflows + other.overflows,
        smallest_block_frames=min(smallest, default=0),
        largest_block_frames=max(one.largest_block_frames, other.largest_block_frames),
        backend=other.backend or one.backend,
    )
