"""A device as an input.

Frames come through one of the two ways of :mod:`app.inputs.capture`; what is lost on the way is counted and
placed, by the ring to the frame and by :mod:`app.inputs.delivery` from the clock.

Threads: one thread reads; :meth:`DeviceSource.close` may come from any. Everything that calls PortAudio is
handed to the audio-control thread. The reader never waits for that thread: whether the stream still runs is
asked without waiting for the answer.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from app.errors import DeviceError
from app.inputs.capture import Capture, CCapture, PythonCapture, StreamRequest
from app.inputs.delivery import DeliveryClock, Gap
from app.inputs.devices import DeviceInfo, query, resolve
from app.inputs.portaudio import AudioControl, StderrGag, captured_stderr, control
from app.inputs.source import Block, SourceInfo, SourceStats, empty_block
from app.inputs.spec import DeviceSpec
from app.words import inputs as words

CaptureMaker: TypeAlias = type[CCapture] | type[PythonCapture]

BOTH_WAYS: tuple[CaptureMaker, ...] = (CCapture, PythonCapture)
"""The way through C, and the one through Python for where rtmixer cannot be loaded."""

_LONGEST_NAP_S = 0.010
_SHORTEST_NAP_S = 0.001
_OBSERVE_EVERY_S = 0.002
_ASK_S = 0.150
"""Without a frame for this long, PortAudio is asked whether the stream still runs."""
_GONE_S = 0.500
_GONE_LATENCIES = 5
"""Without a frame for this long, and so many times the latency, a stream that has delivered is gone, whatever
PortAudio says: of some devices that are pulled out it never hears."""
_NEVER_S = 3.0
"""A stream that has not delivered anything by then never will."""
_QUIET_STEP_S = 0.050
"""Quiet is counted while the reader looks, at most this much at a time: a reader or a machine that was asleep
has not heard anything, and has to look first."""
_INVALID_SAMPLE_RATE = -9997
_INVALID_CHANNEL_COUNT = -9998


class DeviceSource:
    """Records from a device: shared, at its own rate, float32.

    Parameters
    ----------
    spec
        Which device, and which of its channels. Resolved anew by each :meth:`start`, against a fresh list of
        devices when no other stream is open.
    rate_hz
        Asks for a rate; the device's own when left out.
    ways
        The ways of capture, in the order in which to try them.
    audio
        The audio-control thread; the one of the process when left out.
    """

    def __init__(
        self,
        spec: DeviceSpec,
        *,
        rate_hz: float | None = None,
        ways: Sequence[CaptureMaker] = BOTH_WAYS,
        audio: AudioControl | None = None,
    ) -> None:
        self._spec = spec
        self._rate_hz = rate_hz
        self._ways = tuple(ways)
        self._audio = audio
        self._info: SourceInfo | None = None
        self._closing = threading.Lock()
        self._wake = threading.Event()
        self._stream: _Open | None = None
        self._last_stats = SourceStats()

    @property
    def info(self) -> SourceInfo:
        """What is open. Valid after :meth:`start`."""
        if self._info is None:
            raise RuntimeError("start() has not been called")
        return self._info

    def start(self) -> None:
        """Open the device and let it deliver.

        Raises
        ------
        app.errors.DeviceError
            When there is no such device or channel, when it lacks the rate, when it is taken by another
            program, or when the driver does not answer within the limit of the audio-control thread.
        app.errors.UsageError
            When the channels make no sense on any device.
        """
        self.close()
        audio = self._audio or control()
        opened = audio.call(lambda sd: self._open(audio, sd), undo=_Open.let_go)
        self._info = opened.info
        self._wake.clear()
        self._stream = opened

    def read(self, max_frames: int, timeout_s: float) -> Block:
        """Take the next frames; see :class:`app.inputs.source.Source`."""
        stream = self._stream
        if stream is None:
            return empty_block(self.info.channels, active=False)
        deadline_s = time.monotonic() + timeout_s
        parts: list[Block] = []
        got = 0
        while True:
            over = stream.is_over()  # asked first: what came before the end is still to be taken
            block = stream.take(max_frames - got)
            if block.lost_frames and got:
                stream.put_back(block)
                break
            if block.samples.shape[0]:
                parts.append(block)
                got += int(block.samples.shape[0])
            elif over:
                return _joined(parts, stream.info.channels, active=bool(parts))
            left_s = deadline_s - time.monotonic()
            if got >= max_frames or left_s <= 0 or self._wake.is_set() or (got and stream.gap_is_next):
                break
            expected_s = (max_frames - got) / stream.info.rate_hz
            self._wake.wait(min(left_s, max(_SHORTEST_NAP_S, min(expected_s, _LONGEST_NAP_S))))
        return _joined(parts, stream.info.channels, active=True)

    def stats(self) -> SourceStats:
        """What happened since the last start."""
        stream = self._stream
        return stream.stats() if stream is not None else self._last_stats

    def close(self) -> None:
        """Stop and let go of the device. Safe to call from any thread, and again.

        Returns after three seconds at the latest; a driver that hangs is left to the audio-control thread.
        """
        self._wake.set()
        with self._closing:
            stream, self._stream = self._stream, None
        if stream is None:
            return
        self._last_stats = stream.stats()
        audio = self._audio or control()
        try:
            audio.call(lambda _: stream.let_go())
        except DeviceError:
            # It did not answer in time, or the program is on its way out. The command stays in the queue, and
            # there is nothing more that this thread could do for the device.
            return

    # In the audio-control thread.

    def _open(self, audio: AudioControl, sd: Any) -> _Open:
        audio.relist()
        try:
            device, picks = resolve(self._spec, query(sd))
        except DeviceError:
            if not audio.relist(older_than_s=0.0):  # plugged in a second ago?
                raise
            device, picks = resolve(self._spec, query(sd))
        capture = self._start_capture(sd, device, picks)
        audio.stream_opened(capture)
        return _Open(capture, self._describe(device, picks, capture), audio)

    def _start_capture(self, sd: Any, device: DeviceInfo, picks: tuple[int, ...]) -> Capture:
        rate_hz = self._rate_hz or device.default_rate_hz
        requests = _requests(sd, device, picks, rate_hz)
        unusable = ""
        for way in self._ways:
            refused: DeviceError | None = None
            for request in requests:
                with captured_stderr() as printed:
                    try:
                        return _started(way, sd, request)
                    except sd.PortAudioError as error:
                        # The first refusal is the one to tell: it is about what was wanted.
                        refused = refused or _explain(error, printed(), device, rate_hz)
                    except (ImportError, OSError, AttributeError, TypeError) as error:
                        unusable = f"{way.__name__}: {error}"  # rtmixer is missing, or too different
                        break
            if refused is not None:
                raise refused
        raise DeviceError(words.device_refused(device.full_name, unusable), unusable)

    def _describe(self, device: DeviceInfo, picks: tuple[int, ...], capture: Capture) -> SourceInfo:
        notes = []
        if abs(capture.rate_hz - device.default_rate_hz) > 0.5:
            notes.append(words.resampled(capture.rate_hz, device.default_rate_hz))
        if capture.backend == PythonCapture.backend:
            notes.append(words.python_callback(capture.latency_s * 1000))
        return SourceInfo(
            spec=device.spec(picks),
            name=device.name,
            rate_hz=round(capture.rate_hz),
            channels=len(picks),
            live=True,
            channel_names=tuple(words.channel_name(pick) for pick in picks),
            note=" ".join(notes),
        )


@dataclass(slots=True)
class _Account:
    """What has been handed out, and what was missing."""

    delivered: int = 0
    lost: int = 0
    estimated: int = 0
    gaps: int = 0


class _Open:
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
        self._asked: Future[bool] | None = None
        self._gone = False
        self._gag = StderrGag()

    @property
    def gap_is_next(self) -> bool:
        """Whether the next block begins behind a gap, so that this one has to end here."""
        at_gap = bool(self._gaps) and self._gaps[0].position <= self._position
        return at_gap or self._back is not None or self._due + self._due_exactly > 0

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
        self._quiet_s = 0.0
        self._gag.take_off()
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
        """What PortAudio said last, once it has said anything."""
        if self._asked is None:
            self._asked = self._audio.post(lambda _: self.capture.is_active())
        if not self._asked.done():
            return False
        asked, self._asked = self._asked, None
        return asked.exception() is not None or not asked.result()

    def let_go(self) -> None:
        """Stop the stream. In the audio-control thread."""
        gone = self._gone or self.capture.finished  # looked at before stopping, which finishes it as well
        try:
            self.capture.stop()
        finally:
            self._gag.take_off()
            if gone:
                self._audio.distrust_list()
            self._audio.stream_closed(self.capture)

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
        if now_s - before_s > _OBSERVE_EVERY_S:
            return  # interrupted in between: the clock and the count do not belong together
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


def _joined(parts: list[Block], channels: int, *, active: bool) -> Block:
    if not parts:
        return empty_block(channels, active=active)
    if len(parts) == 1:
        return Block(parts[0].samples, parts[0].lost_frames, active=active)
    samples = np.concatenate([part.samples for part in parts])
    return Block(samples, parts[0].lost_frames, active=active)


def _started(way: CaptureMaker, sd: Any, request: StreamRequest) -> Capture:
    capture = way(sd, request)
    try:
        capture.start()
    except sd.PortAudioError:
        capture.stop()
        raise
    return capture


def _requests(sd: Any, device: DeviceInfo, picks: tuple[int, ...], rate_hz: float) -> list[StreamRequest]:
    """List what to ask for, in the order in which to try it."""
    needed = StreamRequest(device.index, max(picks), picks, rate_hz)
    requests = [needed]
    if device.channels != needed.stream_channels:
        # Some drivers open with all of their channels or not at all.
        requests.append(StreamRequest(device.index, device.channels, picks, rate_hz))
    if "WASAPI" in device.host_api:
        # Shared mode knows one rate, the system's; this lets the system convert.
        converting = sd.WasapiSettings(auto_convert=True)
        requests.append(StreamRequest(device.index, max(picks), picks, rate_hz, converting))
    return requests


def _explain(error: Exception, printed: str, device: DeviceInfo, rate_hz: float) -> DeviceError:
    """Turn PortAudio's error into a sentence, and keep what it and ALSA said."""
    code = error.args[1] if len(error.args) > 1 else None
    detail = "\n".join(part for part in (str(error), printed) if part)
    if code == _INVALID_SAMPLE_RATE:
        return DeviceError(words.rate_refused(device.full_name, rate_hz, device.default_rate_hz), detail)
    cause = str(error.args[0]).partition(": ")[2] or str(error.args[0]) if error.args else ""
    return DeviceError(words.device_refused(device.full_name, cause.split(" [PaErrorCode")[0]), detail)
