"""Where the backing is played: a device of PortAudio's, or one that a test pumps.

Playing needs no way through C as recording does: what is late here is a gap in the headphones, which is
counted and told, and spoils no measurement. So a Python callback with a roomy buffer fills the stream.

Threads: an output is opened, stopped and asked in the audio-control thread (:mod:`app.inputs.portaudio`);
what fills it is called on PortAudio's own thread.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol, TypeAlias

import numpy as np

from app.errors import DeviceError
from app.inputs.portaudio import CALL_LIMIT_S, START_LIMIT_S, AudioControl, control
from app.inputs.stderr import captured_stderr, let_threads_be_freed, threads_freed
from app.words import playback as words
from dsp.types import Samples

BUFFER_S = 0.2
"""A Python callback may have to wait this long for its turn, and nobody plays through this buffer."""
_MOST_CHANNELS = 2
_SERVERS = frozenset({"default", "sysdefault", "pulse", "pipewire", "jack"})
_SERVER_RATE_HZ = 48_000.0

Fill: TypeAlias = Callable[[Samples], bool]
"""Fills (frames, channels) in place, whatever happens, and says whether more will follow."""


class Output(Protocol):
    """Something that plays what it is filled with."""

    @property
    def name(self) -> str:
        """For people."""
        ...

    @property
    def rate_hz(self) -> int:
        """Valid once it is open."""
        ...

    @property
    def channels(self) -> int:
        """1 or 2; valid once it is open."""
        ...

    @property
    def latency_s(self) -> float:
        """What the driver reports; valid once it is open."""
        ...

    def open(self) -> None:
        """Open it, silent as yet.

        Raises
        ------
        app.errors.DeviceError
            With a sentence for the user.
        """
        ...

    def start(self, fill: Fill) -> None:
        """Play what ``fill`` gives, until it says that nothing follows, or :meth:`stop`.

        Raises
        ------
        app.errors.DeviceError
            With a sentence for the user.
        """
        ...

    @property
    def finished(self) -> bool:
        """Whether it has ended, by itself or because it was stopped."""
        ...

    def stop(self) -> None:
        """Be silent at once, and let go. Safe to call from any thread, and again."""
        ...


@dataclass(frozen=True, slots=True)
class OutputInfo:
    """A device that can play, as one host API offers it."""

    index: int
    """Its number in this list; nothing remembers it."""
    name: str
    host_api: str
    channels: int
    rate_hz: float
    is_default: bool

    @property
    def full_name(self) -> str:
        """``HOST API/NAME``: what is remembered between runs."""
        return f"{self.host_api}/{self.name}"


def list_outputs(audio: AudioControl | None = None) -> tuple[OutputInfo, ...]:
    """List what can play, the system's own choice first.

    Raises
    ------
    app.errors.DeviceError
        When there is no PortAudio, or it does not answer.
    """
    audio = audio or control()

    def work(sd: Any) -> tuple[OutputInfo, ...]:
        audio.relist()
        return _query(sd)

    return audio.call(work, limit_s=START_LIMIT_S)


def _query(sd: Any) -> tuple[OutputInfo, ...]:
    host_apis = [str(api["name"]) for api in sd.query_hostapis()]
    try:
        default_index = int(sd.query_devices(kind="output")["index"])
    except (sd.PortAudioError, ValueError):  # there is none
        default_index = -1
    outputs = []
    for device in sd.query_devices():
        if int(device["max_output_channels"]) < 1:
            continue
        name = " ".join(str(device["name"]).split())
        host_api = host_apis[int(device["hostapi"])]
        server = host_api == "ALSA" and name in _SERVERS
        outputs.append(
            OutputInfo(
                index=int(device["index"]),
                name=name,
                host_api=host_api,
                channels=int(device["max_output_channels"]),
                rate_hz=_SERVER_RATE_HZ if server else float(device["default_samplerate"]),
                is_default=int(device["index"]) == default_index,
            )
        )
    return tuple(sorted(outputs, key=lambda output: not output.is_default))


class DeviceOutput:
    """A device of PortAudio's, shared, at its own rate.

    Parameters
    ----------
    full_name
        ``HOST API/NAME``; empty is the system's choice.
    audio
        The audio-control thread; the one of the process when left out.
    """

    def __init__(self, full_name: str = "", audio: AudioControl | None = None) -> None:
        self._wanted = full_name
        self._audio = audio
        self._stream: Any = None
        self._fill: Fill | None = None
        self._ended = self._over = False
        self._stop_callback: type[Exception] = Exception
        self.name = full_name.partition("/")[2] or words.system_output()
        self.rate_hz = 0
        self.channels = 0
        self.latency_s = 0.0

    def open(self) -> None:
        """Open it, silent as yet; see :class:`Output`."""
        audio = self._audio or control()
        self._stream = audio.call(
            lambda sd: self._open(audio, sd), undo=lambda stream: _let_go(audio, stream)
        )

    def start(self, fill: Fill) -> None:
        """Let it play; see :class:`Output`."""
        audio = self._audio or control()
        self._fill = fill

        def work(sd: Any) -> None:
            try:
                let_threads_be_freed()
                self._stream.start()
            except sd.PortAudioError as error:
                raise _refused(self.name, error, "") from error

        try:
            audio.call(work)
        except DeviceError:
            self.stop()
            raise

    @property
    def finished(self) -> bool:
        """Whether it has ended. A flag of ours: no call into a driver."""
        return self._ended or self._stream is None

    def stop(self) -> None:
        """Drop what the driver still holds, and let go; waits three seconds at most for a slow driver."""
        stream, self._stream = self._stream, None
        self._fill = None
        if stream is None:
            return
        audio = self._audio or control()
        done = audio.post(lambda _: _let_go(audio, stream))
        with contextlib.suppress(TimeoutError, DeviceError):  # the driver hangs, or the program ends
            done.result(CALL_LIMIT_S)

    # In the audio-control thread.

    def _open(self, audio: AudioControl, sd: Any) -> Any:
        audio.relist()
        outputs = _query(sd)
        if not outputs:
            raise DeviceError(words.no_output())
        named = [output for output in outputs if output.full_name == self._wanted]
        if self._wanted and not named:
            raise DeviceError(words.no_such_output(self._wanted.partition("/")[2] or self._wanted))
        chosen = (named or list(outputs))[0]
        self.name = chosen.name
        self.channels = min(chosen.channels, _MOST_CHANNELS)
        with captured_stderr() as printed:
            try:
                stream = sd.OutputStream(
                    device=chosen.index,
                    samplerate=chosen.rate_hz,
                    channels=self.channels,
                    dtype="float32",
                    latency=BUFFER_S,
                    callback=self._callback,
                    finished_callback=self._on_finished,
                )
            except (sd.PortAudioError, ValueError) as error:
                raise _refused(chosen.name, error, printed()) from error
        audio.stream_opened(stream)
        self.rate_hz, self.latency_s = round(float(stream.samplerate)), float(stream.latency)
        self._over = False
        self._stop_callback = sd.CallbackStop
        return stream

    # On PortAudio's thread.

    def _callback(self, out: Samples, *_about: Any) -> None:
        fill = self._fill
        if fill is None or self._over:
            out.fill(0.0)
            raise self._stop_callback
        self._over = not _filled(fill, out)

    def _on_finished(self) -> None:
        self._ended = True


class FakeOutput:
    """An output that a test pumps: what would be heard is kept.

    Parameters
    ----------
    refuse
        An error that opening raises.
    """

    def __init__(
        self,
        rate_hz: int = 48_000,
        channels: int = 2,
        latency_s: float = 0.02,
        refuse: DeviceError | None = None,
    ) -> None:
        self.name = "fake"
        self.rate_hz, self.channels, self.latency_s = rate_hz, channels, latency_s
        self.finished = False
        self.stopped = 0
        self._refuse = refuse
        self._fill: Fill | None = None
        self.blocks: list[Samples] = []
        """Everything up to now, as it was pumped."""

    def open(self) -> None:
        """Open it."""
        if self._refuse is not None:
            raise self._refuse

    def start(self, fill: Fill) -> None:
        """Be ready to be pumped."""
        self._fill = fill

    def pump(self, frames: int) -> Samples:
        """Play so many frames, as the driver's thread would; silence once it was stopped."""
        out: Samples = np.full((frames, self.channels), np.nan, np.float32)
        if self._fill is None or self.finished:
            out.fill(0.0)
        elif not self._fill(out):
            self.finished = True
        self.blocks.append(out)
        return out

    @property
    def heard(self) -> Samples:
        """Everything up to now, (frames, channels)."""
        return np.concatenate([np.empty((0, self.channels), np.float32), *self.blocks])

    def stop(self) -> None:
        """Be silent."""
        self.stopped += 1
        self.finished = True
        self._fill = None


def _filled(fill: Fill, out: Samples) -> bool:
    """Whether more follows; silence and the end where filling broke: nobody is to hear old memory."""
    try:
        return fill(out)
    except Exception:  # on PortAudio's thread there is nobody to raise it to
        out.fill(0.0)
        return False


def _let_go(audio: AudioControl, stream: Any) -> None:
    with threads_freed():
        try:
            stream.abort()
        finally:
            try:
                stream.close()
            finally:
                audio.stream_closed(stream)


def _refused(name: str, error: Exception, printed: str) -> DeviceError:
    text = str(error.args[0]) if error.args else type(error).__name__
    cause = (text.partition(": ")[2] or text).split(" [PaErrorCode")[0]
    return DeviceError(words.output_refused(name, cause), "\n".join(filter(None, (str(error), printed))))
