"""A device as an input.

Frames come through one of the two ways of :mod:`app.inputs.capture`; what is lost on the way is counted and
placed, by the ring to the frame and by :mod:`app.inputs.delivery` from the clock.

Threads: one thread reads; :meth:`DeviceSource.close` may come from any. Everything that calls PortAudio is
handed to the audio-control thread. The reader never waits for that thread: whether the stream still runs is
asked without waiting for the answer.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np

from app.errors import DeviceError
from app.inputs.capture import Capture, CCapture, PythonCapture, StreamRequest
from app.inputs.devices import SERVER_RATE_HZ, DeviceInfo, query, resolve
from app.inputs.portaudio import CALL_LIMIT_S, AudioControl, control
from app.inputs.source import Block, SourceInfo, SourceStats, empty_block
from app.inputs.spec import DeviceSpec
from app.inputs.stderr import captured_stderr
from app.inputs.stream import OpenStream
from app.words import inputs as words

CaptureMaker: TypeAlias = type[CCapture] | type[PythonCapture]

BOTH_WAYS: tuple[CaptureMaker, ...] = (CCapture, PythonCapture)
"""The way through C, and the one through Python for where rtmixer cannot be loaded."""

_LONGEST_NAP_S = 0.010
_UNSEEN_READ_S = 0.100
"""Who asks for so much at once is in no hurry: nobody looks."""
_UNSEEN_NAP_S = 0.050
"""Then, while frames flow, naps are as long as this: a look costs 0.1 ms. What a driver loses is placed as
much less exactly, and an input that goes is noticed as much later."""
_SHORTEST_NAP_S = 0.001
_LONGEST_GONE_NAP_S = 0.1
_INVALID_SAMPLE_RATE = -9997


class DeviceSource:
    """Records from a device: shared, at its own rate, float32.

    Parameters
    ----------
    spec
        Which device, and which of its channels. Resolved anew by each :meth:`start`, against a fresh list of
        devices when no other stream is open; once it was open, by host API and name in full, so that a part
        of a name or "default" does not come to mean another one. Where two have the same name, none is opened
        again before both are there, because their order alone tells them apart.
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
        self._kept: _Kept | None = None
        """What it was opened as; written in the audio-control thread."""
        self._closing = threading.Lock()
        self._wake = threading.Event()
        self._stream: OpenStream | None = None
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
            When there is no such device or channel, when it lacks the rate, or when it is taken by another
            program.
        app.errors.SilentSystemError
            When the driver does not answer within the limit of the audio-control thread.
        app.errors.UsageError
            When the channels make no sense on any device.
        """
        self.close()
        audio = self._audio or control()
        opened = audio.call(
            lambda sd: self._open(audio, sd), undo=OpenStream.let_go, too_late=words.opening_hangs
        )
        self._info = opened.info
        self._wake.clear()
        self._stream = opened

    def read(self, max_frames: int, timeout_s: float) -> Block:
        """Take the next frames; see :class:`app.inputs.source.Source`."""
        stream = self._stream
        if stream is None or stream.told_gone:
            time.sleep(min(timeout_s, _LONGEST_GONE_NAP_S))  # whoever asks again is not to turn in circles
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
                stream.told_gone = not parts
                return _joined(parts, stream.info.channels, active=bool(parts))
            left_s = deadline_s - time.monotonic()
            if got >= max_frames or left_s <= 0 or self._wake.is_set() or (got and stream.gap_is_next):
                break
            expected_s = (max_frames - got) / stream.info.rate_hz
            unseen = max_frames >= _UNSEEN_READ_S * stream.info.rate_hz and stream.flows
            longest_s = _UNSEEN_NAP_S if unseen else _LONGEST_NAP_S
            self._wake.wait(min(left_s, max(_SHORTEST_NAP_S, min(expected_s, longest_s))))
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
        # Posted, not called: a command that has to wait too long must still be carried out.
        closed = audio.post(lambda _: stream.let_go())
        with contextlib.suppress(TimeoutError, DeviceError):  # the driver hangs, or the program ends
            closed.result(CALL_LIMIT_S)

    # In the audio-control thread.

    def _open(self, audio: AudioControl, sd: Any) -> OpenStream:
        audio.relist()
        devices = query(sd)
        try:
            device, picks = self._find(devices)
        except DeviceError:
            if not audio.relist(older_than_s=0.0):  # plugged in a second ago?
                raise
            devices = query(sd)
            device, picks = self._find(devices)
        capture = self._start_capture(sd, device, picks)
        audio.stream_opened(capture)
        info = _describe(device, picks, capture, again=self._kept is not None)
        twins = _named(device.full_name, devices)
        if len(twins) > 1:
            # Two of the same kind: only the number tells them apart.
            info = replace(info, spec=f"device:{device.index}:{_listed(picks)}")
        self._kept = _Kept(device.full_name, picks, twins.index(device), len(twins), capture.rate_hz)
        return OpenStream(capture, info, audio)

    def _find(self, devices: Sequence[DeviceInfo]) -> tuple[DeviceInfo, tuple[int, ...]]:
        if self._kept is None:
            return resolve(self._spec, devices)
        twins = _named(self._kept.full_name, devices)
        if len(twins) != self._kept.twins:
            raise DeviceError(words.no_such_device(self._kept.full_name))
        device = twins[self._kept.place]
        return resolve(DeviceSpec(f"{device.index}:{_listed(self._kept.picks)}"), devices)

    def _rates_hz(self, device: DeviceInfo) -> tuple[float, ...]:
        """The rates to try: of a sound server, which has none of its own, the same again."""
        if device.via_server and self._kept is not None:
            return (self._kept.rate_hz,)
        wanted_hz = self._rate_hz or device.default_rate_hz
        return (wanted_hz, 44_100.0) if device.via_server and wanted_hz == SERVER_RATE_HZ else (wanted_hz,)

    def _start_capture(self, sd: Any, device: DeviceInfo, picks: tuple[int, ...]) -> Capture:
        rate_hz, *others_hz = self._rates_hz(device)
        requests = _requests(sd, device, picks, rate_hz)
        requests += [StreamRequest(device.index, max(picks), picks, other_hz) for other_hz in others_hz]
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


@dataclass(frozen=True, slots=True)
class _Kept:
    """What was opened, to be opened again and no other."""

    full_name: str
    picks: tuple[int, ...]
    place: int
    """Among those of the same name."""
    twins: int
    """How many have that name."""
    rate_hz: float


def _named(full_name: str, devices: Sequence[DeviceInfo]) -> list[DeviceInfo]:
    return [device for device in devices if device.full_name == full_name]


def _listed(picks: tuple[int, ...]) -> str:
    return ",".join(str(pick) for pick in picks)


def _describe(device: DeviceInfo, picks: tuple[int, ...], capture: Capture, *, again: bool) -> SourceInfo:
    notes = []
    if device.via_server:
        notes.append(words.through_server())
    elif abs(capture.rate_hz - device.default_rate_hz) > 0.5:
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
        latency_s=capture.latency_s,
        doubt=words.server_chose_again() if again and device.via_server else "",
    )


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
