"""An input that is over after some seconds of sound."""

from __future__ import annotations

from dataclasses import replace

from app.inputs.source import Block, Source, SourceInfo, SourceStats, empty_block


class Limited:
    """Wraps a source and ends it, to the frame, after ``seconds``; frames that were lost count as time."""

    def __init__(self, source: Source, seconds: float) -> None:
        self._source = source
        self._seconds = seconds
        self._frames_left = 0

    @property
    def info(self) -> SourceInfo:
        """What is open. Valid after :meth:`start`."""
        return self._source.info

    def start(self) -> None:
        """Open it; see :class:`app.inputs.source.Source`."""
        self._source.start()
        self._frames_left = max(1, round(self._seconds * self.info.rate_hz))

    def read(self, max_frames: int, timeout_s: float) -> Block:
        """Take the next frames; see :class:`app.inputs.source.Source`."""
        if self._frames_left <= 0:
            return empty_block(self.info.channels, ended=True)
        block = self._source.read(min(max_frames, self._frames_left), timeout_s)
        self._frames_left -= block.lost_frames + block.samples.shape[0]
        if self._frames_left <= 0:
            return replace(block, ended=True)
        return block

    def stats(self) -> SourceStats:
        """What happened so far."""
        return self._source.stats()

    def close(self) -> None:
        """Let go of it."""
        self._source.close()
