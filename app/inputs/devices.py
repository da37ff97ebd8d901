"""The list of devices that can record, and finding one of them by what a user wrote."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from app.errors import DeviceError, UsageError
from app.inputs.portaudio import START_LIMIT_S, AudioControl, control
from app.inputs.source import MOST_CHANNELS
from app.inputs.spec import DeviceReading, DeviceSpec
from app.words import inputs as words

DEFAULT_NAME = "default"
SERVER_RATE_HZ = 48_000.0
"""What sound servers and ALSA's own mixing run at unless told otherwise."""
_ALSA_SERVERS = frozenset({"default", "sysdefault", "pulse", "pipewire", "jack"})
"""Names of ALSA that stand for whatever is behind them. They take any rate, and for such a device PortAudio
reports 44.1 kHz, which is nobody's own: opened at that, most interfaces would be converted, and a converted
clip is no longer flat."""


@dataclass(frozen=True, slots=True)
class DeviceInfo:
    """One device that can record, as one host API offers it."""

    index: int
    """Its number in this list. Numbers shift when something is plugged in: nothing remembers them."""
    name: str
    host_api: str
    channels: int
    default_rate_hz: float
    is_default: bool
    """Whether the system records from it when nobody says otherwise."""
    via_server: bool = False
    """Whether a sound server stands in between, whose own rate cannot be known from here."""

    @property
    def full_name(self) -> str:
        """``HOST API/NAME``: what is remembered between runs."""
        return f"{self.host_api}/{self.name}"

    def spec(self, channels: Sequence[int] = ()) -> str:
        """Write the line that opens this device again."""
        picked = tuple(channels) or first_channels(self.channels)
        return f"device:{self.full_name}:{','.join(str(channel) for channel in picked)}"


def first_channels(channels: int) -> tuple[int, ...]:
    """Pick the channels that are opened when nobody says which: the first one or two."""
    return tuple(range(1, min(channels, 2) + 1))


def list_devices(audio: AudioControl | None = None) -> tuple[DeviceInfo, ...]:
    """List every device that can record, host API by host API.

    Looks for new devices first. While a stream is open, which that would close, another process looks; only
    when that fails too is the list the one from before the stream was opened (:func:`is_list_fresh`).

    Raises
    ------
    app.errors.DeviceError
        When there is no PortAudio, or it does not answer.
    """
    audio = audio or control()

    def work(sd: Any) -> tuple[bool, tuple[DeviceInfo, ...]]:
        fresh = audio.relist()
        return fresh, query(sd)

    fresh, known = audio.call(work, limit_s=START_LIMIT_S)
    if fresh:
        return known
    from app.inputs.elsewhere import look_afresh  # late: hardly ever needed, and needs what is above

    seen = look_afresh()
    return known if seen is None else seen


def is_list_fresh(audio: AudioControl | None = None) -> bool:
    """Tell whether :func:`list_devices` would see what has just been plugged in."""
    audio = audio or control()
    return audio.call(lambda _: audio.relist(), limit_s=START_LIMIT_S)


def query(sd: Any) -> tuple[DeviceInfo, ...]:
    """Read PortAudio's list as it stands. For the audio-control thread."""
    host_apis = [str(api["name"]) for api in sd.query_hostapis()]
    try:
        default_index = int(sd.query_devices(kind="input")["index"])
    except (sd.PortAudioError, ValueError):  # there is none
        default_index = -1
    devices = []
    for device in sd.query_devices():
        channels = int(device["max_input_channels"])
        if channels < 1:
            continue
        name = " ".join(str(device["name"]).split())  # some drivers put line ends into it
        host_api = host_apis[int(device["hostapi"])]
        via_server = host_api == "ALSA" and name in _ALSA_SERVERS
        devices.append(
            DeviceInfo(
                index=int(device["index"]),
                name=name,
                host_api=host_api,
                channels=channels,
                default_rate_hz=SERVER_RATE_HZ if via_server else float(device["default_samplerate"]),
                is_default=int(device["index"]) == default_index,
                via_server=via_server,
            )
        )
    return tuple(devices)


def resolve(spec: DeviceSpec, devices: Sequence[DeviceInfo]) -> tuple[DeviceInfo, tuple[int, ...]]:
    """Find the one device that a spec means, and the channels to open.

    A name in full (``ALSA/pulse``) or as listed (``pulse``) comes first, in either case of letters; then a
    part of a name, if it is part of one name only. ``HOST API/NAME`` is never matched in part: it is what is
    remembered, and must not open a neighbour when the device itself is away.

    Raises
    ------
    app.errors.DeviceError
        When there is no such device, when there are several, or when it lacks a channel.
    app.errors.UsageError
        When the channels make no sense on any device.
    """
    for match in (_by_index, _exact, _default, _in_part):
        for reading in spec.readings:
            found = match(reading, devices)
            if len(found) > 1:
                candidates = [f"{device.full_name} ({device.index})" for device in found]
                raise DeviceError(words.ambiguous_device(reading.name, candidates))
            if found:
                return found[0], _channels(reading.channels, found[0])
    reading = spec.readings[0]
    if reading.index is not None:
        raise DeviceError(words.no_such_index(reading.index))
    raise DeviceError(words.no_such_device(reading.name))


def _by_index(reading: DeviceReading, devices: Sequence[DeviceInfo]) -> list[DeviceInfo]:
    return [device for device in devices if device.index == reading.index]


def _exact(reading: DeviceReading, devices: Sequence[DeviceInfo]) -> list[DeviceInfo]:
    wanted = reading.name.casefold()
    full = [device for device in devices if device.full_name.casefold() == wanted]
    return full or [device for device in devices if device.name.casefold() == wanted]


def _default(reading: DeviceReading, devices: Sequence[DeviceInfo]) -> list[DeviceInfo]:
    if reading.name.casefold() != DEFAULT_NAME:
        return []
    return [device for device in devices if device.is_default]


def _in_part(reading: DeviceReading, devices: Sequence[DeviceInfo]) -> list[DeviceInfo]:
    wanted = reading.name.casefold()
    host_apis = {device.host_api.casefold() for device in devices}
    if reading.index is not None or wanted.partition("/")[0] in host_apis:
        return []
    return [device for device in devices if wanted in device.name.casefold()]


def _channels(wanted: tuple[int, ...], device: DeviceInfo) -> tuple[int, ...]:
    if not wanted:
        return first_channels(device.channels)
    if len(wanted) > MOST_CHANNELS:
        raise UsageError(words.too_many_channels_chosen(len(wanted), MOST_CHANNELS))
    for channel in wanted:
        if channel == 0:
            raise UsageError(words.channel_zero())
        if channel > device.channels:
            raise DeviceError(words.no_such_channel(device.full_name, channel, device.channels))
        if wanted.count(channel) > 1:
            raise UsageError(words.channel_twice(channel))
    return wanted
