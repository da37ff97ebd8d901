"""An open stream of a device, as its reader sees it: what may be taken, what is missing, whether it runs.

Threads: :meth:`OpenStream.let_go` runs in the audio-control thread, everything else belongs to the reader.
"""

from __future__ import annotations

import time
from concurrent.futures import Future
from dataclasses import dataclass

from app.inputs.capture import Capture
from app.inputs.delivery import DeliveryClock, Gap
from app.inputs.portaudio import AudioControl
from app.inputs.source import Block, SourceInfo, SourceStats
from app.inputs.stderr import StderrGag

_OBSERVED_TOGETHER_S = 0.002
_ASK_S = 0.150
"""Without a frame for this long, PortAudio is asked whether the stream still runs."""
_GONE_S = 0.500
_GONE_LATENCIES = 5
"""Without a frame for this long, and so many times the latency, a stream that has delivered is gone, whatever
PortAudio says: of some devices that are pulled out it never hears."""
_NEVER_S = 3.0
"""A stream that has not delivered anything by then never will."""
_SILENT_S = 0.050
"""A stream that has delivered is silent when nothing comes for so long while it is let go."""
_QUIET_STEP_S = 0.050
"""Quiet is counted while the reader looks, at most this much at a time: a reader or a machine that was asleep
has not heard anything, and has to look first."""


@dataclass(slots=True)
class _Account:
    """What has been handed out, and what was missing."""

    delivered: int = 0
    lost: int = 0
    estimated: int = 0
    gaps: int = 0


class OpenStream:
    """An open stream, as the reader sees it."""

    def __init__(self, capture: Capture, info: SourceInfo, audio: AudioControl) -> None:
        self.capture = capture
        self.info = info
        self._audio = audio
        self._clock = DeliveryClock(capture.rate_hz)
        self._gaps: list[Gap] = []
        self._position = 0
        """Frames of the driver that have been taken or are known to have been dropped by the ring."""
        self._back: Block | None = None
        self._account = _Account()
        self._due = self._due_exactly = 0
        """Lost before the next sample: by the driver, and by the ring."""
        self._looked_s = time.monotonic()
        self._quiet_s = 0.0
        self._fresh = False
        """Whether the last look found new frames."""
        self._asked: Future[bool] | None = None
        self._gone = False
        self.told_gone = False
        self._gag = StderrGag()

    @property
    def gap_is_next(self) -> bool:
        """Whether the next block begins behind a gap, so that this one has to end here."""
        at_gap = bool(self._gaps) and self._gaps[0].position <= self._position
        return at_gap or self._back is not None or self._due + self._due_exactly > 0

    @property
    def flows(self) -> bool:
        """Whether frames came since the last look, and none seem to be missing."""
        return self._fresh and self._clock.barrier is None

    def take(self, max_frames: int) -> Block:
        """Take what is there now, up to ``max_frames`` and up to the next gap."""
        if self._back is not None:
            block, self._back = self._back, None
            return self._cut(block, max_frames)
        self._observe()
        self._due += self._lost_here()
        samples, ring_lost = self.capture.take(min(max_frames, self._may_take()))
        frames = int(samples.shape[0])
        self._due_exactly += ring_lost
        self._position += frames + ring_lost
        if not frames:
            return Block(samples)
        lost = self._due + self._due_exactly
        account = self._account
        account.delivered += frames
        account.estimated += self._due
        account.lost += lost
        account.gaps += lost > 0
        self._due = self._due_exactly = 0
        return Block(samples, lost)

    def put_back(self, block: Block) -> None:
        """Keep a block for the next read."""
        self._back = block

    def is_over(self) -> bool:
        """Whether the stream has ended by itself, and everything of it has been taken."""
        now_s = time.monotonic()
        self._quiet_s += min(now_s - self._looked_s, _QUIET_STEP_S)
        self._looked_s = now_s
        if self._gone or self.capture.finished:
            return True
        if self._quiet_s < _ASK_S:
            return False
        self._gag.put_on()
        if self._account.delivered:
            limit_s = max(_GONE_S, _GONE_LATENCIES * self.capture.latency_s)
        else:
            limit_s = _NEVER_S
        self._gone = self._quiet_s > limit_s or self._runs_no_more()
        return self._gone

    def _runs_no_more(self) -> bool:
        """What PortAudio said last, once it has said anything; and what its thread shows."""
        if self._asked is None:
            self._asked = self._audio.post(lambda _: self.capture.is_active() and not self._gag.is_flooded())
        if not self._asked.done():
            return False
        asked, self._asked = self._asked, None
        return asked.exception() is not None or not asked.result()

    def let_go(self) -> None:
        """Stop the stream. In the audio-control thread.

        A silent one is aborted: stopping would wait for PortAudio's thread, which may turn in circles for
        ever (:mod:`app.inputs.stderr`).
        """
        gone = self._gone or self.capture.finished  # looked at before stopping, which finishes it as well
        try:
            silent = gone or self._is_silent()
            if silent and not self.capture.finished:  # then its thread has ended
                self._gag.put_on()
                self._gag.free_threads()
            self.capture.stop(at_once=silent)
        finally:
            self._gag.take_off(for_good=True)
            if gone:
                self._audio.distrust_list()
            self._audio.stream_closed(self.capture)

    def _is_silent(self) -> bool:
        """Whether nothing comes any more. In the audio-control thread.

        One that has not delivered yet may still do so; its thread alone shows that it never will.
        """
        before = self.capture.delivered()
        if not before:
            self._gag.put_on()
            return self._gag.is_flooded()
        until_s = time.monotonic() + _SILENT_S
        while self.capture.delivered() == before:
            if time.monotonic() > until_s:
                return True
            time.sleep(0.005)
        return False

    def stats(self) -> SourceStats:
        """What happened so far."""
        smallest, largest = self.capture.block_sizes()
        account = self._account
        return SourceStats(
            delivered_frames=account.delivered,
            lost_frames=account.lost,
            estimated_lost_frames=account.estimated,
            gaps=account.gaps,
            overflows=self.capture.overflows(),
            smallest_block_frames=smallest,
            largest_block_frames=largest,
            backend=self.capture.backend,
        )

    def _observe(self) -> None:
        before_s = time.monotonic()
        delivered, overflows = self.capture.delivered(), self.capture.overflows()
        now_s = time.monotonic()
        if now_s - before_s > _OBSERVED_TOGETHER_S:
            return  # interrupted in between: the clock and the count do not belong together
        self._fresh = delivered > self._clock.delivered
        if self._fresh:
            self._quiet_s = 0.0
            self._gag.take_off()
        gap = self._clock.observe(now_s, delivered, overflows)
        if gap is not None:
            self._gaps.append(gap)

    def _may_take(self) -> int:
        """Frames up to the next place where something is, or may be, missing."""
        if self.capture.finished:
            return 2**62  # nothing more can be learnt about it
        ends = [self._clock.delivered]  # what came after the last observation may lie behind a gap
        if self._clock.barrier is not None:
            ends.append(self._clock.barrier)
        if self._gaps:
            ends.append(self._gaps[0].position)
        return max(0, min(ends) - self._position)

    def _lost_here(self) -> int:
        lost = 0
        while self._gaps and self._gaps[0].position <= self._position:
            lost += self._gaps.pop(0).frames
        return lost

    def _cut(self, block: Block, max_frames: int) -> Block:
        if block.samples.shape[0] <= max_frames:
            return block
        self._back = Block(block.samples[max_frames:])
        return Block(block.samples[:max_frames], block.lost_frames)
