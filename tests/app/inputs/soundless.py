"""A stand-in for the module sounddevice, with devices that a test plugs in."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import numpy as np


class PortAudioError(Exception):
    """As sounddevice raises it: a text and a code."""


@dataclass
class Device:
    name: str
    host_api: str = "ALSA"
    inputs: int = 2
    rate_hz: float = 48_000.0
    rates: tuple[float, ...] = ()
    """Others that it works at."""
    only_all_channels: bool = False
    outputs: int = 0


class InputStream:
    """A stream whose driver is the test: :meth:`deliver` is the driver's thread."""

    def __init__(self, sd: SoundDevice, **arguments: Any) -> None:
        self.sd, self.arguments = sd, arguments
        device = sd.list[arguments["device"]]
        sd.called("open")
        if arguments["samplerate"] not in (device.rate_hz, *device.rates):
            raise PortAudioError("Error opening InputStream: Invalid sample rate [PaErrorCode -9997]", -9997)
        channels = arguments["channels"]
        if channels > device.inputs or (device.only_all_channels and channels != device.inputs):
            raise PortAudioError(
                "Error opening InputStream: Invalid number of channels [PaErrorCode -9998]", -9998
            )
        if sd.taken:
            raise PortAudioError("Error opening InputStream: Device unavailable [PaErrorCode -9985]", -9985)
        self.samplerate, self.latency, self.channels = arguments["samplerate"], 0.1, channels
        self.active = False
        self.closed = False
        sd.streams.append(self)

    def start(self) -> None:
        self.sd.called("start")
        self.active = True

    def stop(self, ignore_errors: bool = True) -> None:
        self.sd.called("stop")
        self.active = False

    def abort(self, ignore_errors: bool = True) -> None:
        self.sd.called("abort")
        self.active = False

    def close(self, ignore_errors: bool = True) -> None:
        self.sd.called("close")
        self.closed = True

    def deliver(self, samples: np.ndarray, *, overflow: bool = False) -> None:
        """Call the callback with memory that is overwritten afterwards, as PortAudio's is."""
        block = np.array(samples, np.float32)
        self.arguments["callback"](block, block.shape[0], None, SimpleNamespace(input_overflow=overflow))
        block.fill(np.nan)

    def finish(self) -> None:
        self.active = False
        self.arguments["finished_callback"]()


class CallbackStop(Exception):
    """What a callback raises when it has nothing more to play."""


class OutputStream:
    """A stream that plays when the test asks for it: :meth:`play` is the driver's thread."""

    def __init__(self, sd: SoundDevice, **arguments: Any) -> None:
        self.sd, self.arguments = sd, arguments
        sd.called("open")
        if sd.taken:
            raise PortAudioError("Error opening OutputStream: Device unavailable [PaErrorCode -9985]", -9985)
        self.samplerate, self.latency = arguments["samplerate"], arguments["latency"] + 0.005
        self.channels = arguments["channels"]
        self.active = self.closed = False
        sd.streams.append(self)

    def start(self) -> None:
        self.sd.called("start")
        self.active = True

    def abort(self) -> None:
        self.sd.called("abort")
        self.active = False

    def close(self) -> None:
        self.sd.called("close")
        self.closed = True

    def play(self, frames: int) -> np.ndarray:
        """Have the callback fill a block; what it left is not touched when it ends the stream."""
        out = np.full((frames, self.channels), np.nan, np.float32)
        if self.active:
            try:
                self.arguments["callback"](out, frames, None, SimpleNamespace(output_underflow=False))
            except CallbackStop:
                self.active = False
                self.arguments["finished_callback"]()
        return out


@dataclass
class SoundDevice:
    """The module."""

    devices: list[Device] = field(default_factory=list)
    default: str = ""
    taken: bool = False
    on_call: Callable[[str], None] = lambda what: None
    PortAudioError = PortAudioError
    CallbackStop = CallbackStop
    default_output: str = ""

    def __post_init__(self) -> None:
        self.list: list[Device] = []
        self.streams: list[InputStream] = []
        self.threads: set[int] = set()
        self.initialized = 0
        self._initialize()

    def called(self, what: str) -> None:
        self.threads.add(threading.get_ident())
        assert self.initialized == 1, f"{what} without PortAudio"
        self.on_call(what)

    def _initialize(self) -> None:
        self.threads.add(threading.get_ident())
        self.initialized += 1
        self.list = list(self.devices)  # PortAudio looks once

    def _terminate(self) -> None:
        self.called("terminate")
        self.initialized -= 1
        for stream in self.streams:
            assert stream.closed, "ending PortAudio would have closed an open stream"

    def InputStream(self, **arguments: Any) -> InputStream:
        return InputStream(self, **arguments)

    def OutputStream(self, **arguments: Any) -> OutputStream:
        return OutputStream(self, **arguments)

    def WasapiSettings(self, *, auto_convert: bool) -> Any:
        return SimpleNamespace(auto_convert=auto_convert)

    def get_portaudio_version(self) -> tuple[int, str]:
        return 1246720, "PortAudio V19.7.0"

    def query_hostapis(self) -> tuple[dict[str, Any], ...]:
        self.called("query")
        return tuple({"name": name} for name in dict.fromkeys(device.host_api for device in self.list))

    def query_devices(self, device: int | None = None, kind: str | None = None) -> Any:
        self.called("query")
        if kind is not None:
            for info in self._infos():
                if info["name"] == (self.default if kind == "input" else self.default_output):
                    return info
            raise PortAudioError("Error querying device -1", -1)
        return self._infos() if device is None else self._infos()[device]

    def _infos(self) -> list[dict[str, Any]]:
        host_apis = list(dict.fromkeys(device.host_api for device in self.list))
        return [
            {
                "index": index,
                "name": device.name,
                "hostapi": host_apis.index(device.host_api),
                "max_input_channels": device.inputs,
                "max_output_channels": device.outputs,
                "default_samplerate": device.rate_hz,
                "default_high_input_latency": 0.035,
            }
            for index, device in enumerate(self.list)
        ]
