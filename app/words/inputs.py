"""What a user reads about inputs: what can be opened, and why something could not be."""

from __future__ import annotations

from collections.abc import Sequence

from app.words import numbers
from app.words._catalogue import _, ngettext

HOW_TO_WRITE = "device:NAME[:CHANNELS], file:PATH, player[:PART[:GAIN_DB]]"


def rate(rate_hz: float) -> str:
    """A sample rate as it is printed on gear: ``44.1 kHz``."""
    return f"{numbers.plain(rate_hz / 1000)} kHz"


def channels_chosen(channels: Sequence[int]) -> str:
    """The channels as printed on the interface: ``channel 3``, ``channels 5 and 6``."""
    names = [str(channel) for channel in channels]
    if len(names) == 1:
        return _("channel {number}").format(number=names[0])
    return _("channels {most} and {last}").format(most=", ".join(names[:-1]), last=names[-1])


def channel_name(channel: int) -> str:
    """The name of one channel of an input."""
    return _("Channel {number}").format(number=channel)


# Specs.


def unknown_kind(spec: str) -> str:
    """Say that the text before the first colon is none of the three kinds."""
    return _("“{spec}” names no input; write one of {forms}.").format(spec=spec, forms=HOW_TO_WRITE)


def bare_path(spec: str) -> str:
    """Say that a path was given without its kind."""
    return _("“{spec}” is a file; to play it as an input, write file:{spec}").format(spec=spec)


def nothing_after(kind: str) -> str:
    """Say that the name of the device or file is missing."""
    return _("Nothing follows “{kind}:”; write one of {forms}.").format(kind=kind, forms=HOW_TO_WRITE)


def gain_is_no_number(text: str) -> str:
    """Say that the gain of the player cannot be read."""
    return _("The player's gain “{text}” is no number of decibels.").format(text=text)


def gain_out_of_range(gain_db: float, lowest_db: float, highest_db: float) -> str:
    """Say which gains the player has."""
    return _("The player's gain goes from {lowest} to {highest} dB, not to {gain} dB.").format(
        lowest=numbers.decibels(lowest_db, 0),
        highest=numbers.signed_decibels(highest_db),
        gain=numbers.signed_decibels(gain_db, 1),
    )


def channel_zero() -> str:
    """Say that channels count from 1."""
    return _("Channels count from 1, as on the interface; there is no channel 0.")


def channel_twice(channel: int) -> str:
    """Say that one channel was asked for twice."""
    return _("Channel {channel} is asked for twice.").format(channel=channel)


def too_many_channels_chosen(count: int, most: int) -> str:
    """Say that more channels were asked for than the program follows."""
    return _("{count} channels are asked for; {most} is the most.").format(count=count, most=most)


# Files.


def file_missing(path: str) -> str:
    """Say that there is no such file."""
    return _("{path}: there is no such file.").format(path=path)


def file_is_folder(path: str) -> str:
    """Say that a folder was given."""
    return _("{path}: this is a folder, not a sound file.").format(path=path)


def file_is_special(path: str) -> str:
    """Say that the path is a pipe, a socket or a device."""
    return _("{path}: this is not a plain file.").format(path=path)


def file_forbidden(path: str) -> str:
    """Say that the file may not be read."""
    return _("{path}: you have no permission to read this file.").format(path=path)


def file_unreadable(path: str, cause: str) -> str:
    """Say what the operating system said."""
    return _("{path}: cannot be read: {cause}.").format(path=path, cause=cause)


def file_empty(path: str) -> str:
    """Say that a file has no bytes at all."""
    return _("{path}: the file is empty.").format(path=path)


def file_is_no_sound(path: str) -> str:
    """Say that a file is in no known sound format."""
    return _("{path}: this is not a sound file that can be read, or it is damaged.").format(path=path)


def file_without_header(path: str) -> str:
    """Say that bare samples do not tell their rate."""
    return _("{path}: bare samples without a header do not tell their rate; save it as WAV.").format(
        path=path
    )


def file_without_samples(path: str) -> str:
    """Say that a sound file has length 0."""
    return _("{path}: the sound file has no samples in it.").format(path=path)


def file_too_many_channels(path: str, channels: int, most: int) -> str:
    """Say that the header claims too many channels."""
    return _("{path}: it has {channels} channels; {most} is the most.").format(
        path=path, channels=channels, most=most
    )


def file_odd_rate(path: str, rate_hz: int, lowest_hz: int, highest_hz: int) -> str:
    """Say that the file has, or claims, a rate at which nothing can be measured."""
    return _(
        "{path}: its sample rate is given as {rate_hz} Hz; {lowest} to {highest} kHz can be measured."
    ).format(
        path=path,
        rate_hz=rate_hz,
        lowest=numbers.plain(lowest_hz / 1000),
        highest=numbers.plain(highest_hz / 1000),
    )


def file_damaged_at(path: str, t_s: float) -> str:
    """Say up to where a file could be read; it is read in blocks, so the damage lies further in."""
    return _("{path}: the file is damaged somewhere after {place}.").format(
        path=path, place=numbers.clock(t_s, 1)
    )


def no_sound_file_library() -> str:
    """Say that libsndfile is missing."""
    return _(
        "Sound files cannot be read: the library libsndfile is missing (on Debian: apt install libsndfile1)."
    )


# Devices.


def no_portaudio(system: str) -> str:
    """Say how to get the missing sound library; ``system`` is what ``platform.system()`` says."""
    if system == "Linux":
        advice = _(
            "install it (Debian, Ubuntu: sudo apt install libportaudio2; Fedora: portaudio; Arch: portaudio)"
        )
    elif system == "Darwin":
        advice = _("install it again with: python3 -m pip install --force-reinstall sounddevice")
    else:
        advice = _("install it again with: py -m pip install --force-reinstall sounddevice")
    return _("Sound devices cannot be opened because the PortAudio library is missing: {advice}.").format(
        advice=advice
    )


def portaudio_failed() -> str:
    """Say that PortAudio would not start at all."""
    return _("The sound system could not be started; files and the built-in player still work.")


def sound_system_hangs(limit_s: float) -> str:
    """Say that the driver does not answer."""
    return _(
        "The sound system has not answered for {limit} seconds; unplug the interface and plug it in again, "
        "or start the program again."
    ).format(limit=numbers.plain(limit_s))


def opening_hangs(limit_s: float) -> str:
    """Say that the driver does not answer while an input is opened."""
    return _(
        "The sound system has not answered for {limit} seconds while the input was opened; unplug the "
        "interface and plug it in again, or start the program again. Files and the built-in player still "
        "work."
    ).format(limit=numbers.plain(limit_s))


def sound_system_closed() -> str:
    """Say that the program is on its way out."""
    return _("The program is closing its sound devices.")


def no_such_device(name: str) -> str:
    """Say that no input has this name."""
    return _("No sound input is called “{name}”; “swellmark inputs” lists those that are there.").format(
        name=name
    )


def no_such_index(index: int) -> str:
    """Say that no input has this number."""
    return _(
        "There is no sound input with number {index}; “swellmark inputs” lists those that are there."
    ).format(index=index)


def ambiguous_device(name: str, candidates: Sequence[str]) -> str:
    """Say which inputs a name could mean."""
    return _("“{name}” could be any of these: {candidates}; give one in full, or its number.").format(
        name=name, candidates="; ".join(candidates)
    )


def no_such_channel(device: str, channel: int, channels: int) -> str:
    """Say that the device has fewer channels."""
    return ngettext(
        "There is no channel {channel} on {device}: it has {count} channel.",
        "There is no channel {channel} on {device}: it has {count} channels.",
        channels,
    ).format(channel=channel, device=device, count=channels)


def rate_refused(device: str, rate_hz: float, default_rate_hz: float) -> str:
    """Say that the device lacks a rate, and which one it has."""
    return _("{device} does not work at {rate}; its own rate is {own}.").format(
        device=device, rate=rate(rate_hz), own=rate(default_rate_hz)
    )


def device_refused(device: str, cause: str) -> str:
    """Say that a device could not be opened, with the driver's own words."""
    return _("{device} could not be opened: {cause}. Another program may be using it.").format(
        device=device, cause=cause.rstrip(".")
    )


def came_back_changed(device: str, rate_hz: float, new_rate_hz: float) -> str:
    """Say that a device came back, but not as it was."""
    if rate_hz == new_rate_hz:
        return _("{device} came back with other channels; open it again.").format(device=device)
    return _("{device} came back at {new} instead of {old}; open it again.").format(
        device=device, new=rate(new_rate_hz), old=rate(rate_hz)
    )


def resampled(rate_hz: float, device_rate_hz: float) -> str:
    """Say that the rate is not the device's own."""
    return _("Opened at {rate}, not at the device's own {own}: the system may convert between them.").format(
        rate=rate(rate_hz), own=rate(device_rate_hz)
    )


def through_server() -> str:
    """Say that a sound server stands in between."""
    return _(
        "A sound server delivers this input and may convert its rate or set its level; where clips have to "
        "be counted exactly, open the interface itself."
    )


def server_chose_again() -> str:
    """Say that the input was away, and that nobody knows what the server hands out now."""
    return _(
        "The input was away. What the sound server hands out now may be another device: "
        "check which one it is."
    )


def python_callback(latency_ms: float) -> str:
    """Say that the slower of the two ways in is used."""
    return _(
        "The C part of the capture could not be loaded; a slower way with {latency:.0f} ms of buffer is used."
    ).format(latency=latency_ms)


def relist_deferred() -> str:
    """Say that the list of devices may be old."""
    return _("The list is from before the open input was started; close the input to look for new devices.")


# The fake, so that every fault can be shown without hardware.


def fake_name() -> str:
    """The name of the fake input."""
    return _("Fake input")


def fake_unplugged() -> str:
    """Say that the fake is unplugged."""
    return _("The fake input is unplugged.")


# ``swellmark inputs``.


def inputs_help() -> str:
    """``swellmark inputs --help``."""
    return _("List the inputs that can be opened, each with what to write behind --input.")


def report_help() -> str:
    """``--report``."""
    return _("Print versions, host APIs and devices, without private names, ready to send to a helper.")


def number_heading() -> str:
    """The column of device numbers."""
    return _("No.")


def host_api_heading() -> str:
    """The column of host APIs."""
    return _("Host API")


def channels_heading() -> str:
    """The column of channel counts."""
    return _("Channels")


def rate_heading() -> str:
    """The column of rates."""
    return _("Own rate")


def spec_heading() -> str:
    """The column of what to write behind ``--input``."""
    return _("To open it")


def default_mark() -> str:
    """Stands beside the number of the device that the system records from."""
    return _(" (default)")


def no_devices() -> str:
    """Say that nothing can record."""
    return _("The system offers no sound input: is the interface plugged in and switched on?")


def player_heading() -> str:
    """Above the parts of the built-in player."""
    return _("Built-in player, no hardware needed:")


def file_heading() -> str:
    """Above how to open a file."""
    return _("A sound file:")


def file_form() -> str:
    """How to open a file."""
    return _("file:PATH")


def not_there() -> str:
    """A package that is not installed."""
    return _("not installed")


def host_apis_line(names: Sequence[str]) -> str:
    """The host APIs of the report."""
    return _("Host APIs: {names}").format(names=", ".join(names) or numbers.UNKNOWN)


def device_line(index: int, name: str, channels: int, rate_hz: float, *, is_default: bool) -> str:
    """One device of the report."""
    line = ngettext(
        "Input {index}: {name}, {count} channel, {rate}",
        "Input {index}: {name}, {count} channels, {rate}",
        channels,
    ).format(index=index, name=name, count=channels, rate=rate(rate_hz))
    return line + (default_mark() if is_default else "")


def last_run_line() -> str:
    """Head the figures of the device that was recorded from last."""
    return _("The last device recorded from:")


def no_last_run() -> str:
    """Say that no device has been recorded from."""
    return _("No device has been recorded from yet.")


def device_choice(name: str, host_api: str, *, is_default: bool) -> str:
    """A device in the window's list."""
    if is_default:
        return _("{name} ({host_api}), the system's own choice").format(name=name, host_api=host_api)
    return f"{name} ({host_api})"
