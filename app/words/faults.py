"""Faults of an input, each in one sentence that says what to look at."""

from __future__ import annotations

from app.words._catalogue import _
from app.words.numbers import decibels


def fault_sentence(kind: str, channel: int | None = None, value: float | None = None) -> str:
    """What is wrong and what to look at.

    Parameters
    ----------
    kind
        A key such as ``dead_channel``, as in the JSON output.
    channel
        As printed on the interface, from 1; None where the whole input is meant. For two channels that are
        compared, the second one.
    value
        The figure that gave it away, in the unit that the kind implies; None where there is none.

    Raises
    ------
    KeyError
        For a kind that has no sentence.
    """
    return {
        "digital_silence": _digital_silence,
        "dead_channel": _dead_channel,
        "same_channels": _same_channels,
        "dc_offset": _dc_offset,
        "inverted_channels": _inverted_channels,
        "low_resolution": _low_resolution,
        "pumping": _pumping,
        "bad_samples": _bad_samples,
    }[kind](channel, value)


def _where(channel: int | None) -> str:
    if channel is None:
        return _("The input")
    return _("Channel {channel}").format(channel=channel)


def _pair(channel: int | None) -> str:
    if channel is None or channel < 2:
        return _("Two channels")
    return _("Channels {first} and {second}").format(first=channel - 1, second=channel)


def _digital_silence(channel: int | None, value: float | None) -> str:  # noqa: ARG001 (one shape for all)
    return _(
        "{where} delivers exact zeros, which no connected converter does: look at the microphone permission, "
        "a mute switch, and whether the right input and socket are chosen."
    ).format(where=_where(channel))


def _dead_channel(channel: int | None, value: float | None) -> str:
    if value is None:
        return _(
            "{where} delivers exact zeros while another one plays: look at its cable, its mute switch, and "
            "whether it is meant to be recorded."
        ).format(where=_where(channel))
    return _(
        "{where} lies {level} dB under the loudest one: look at its cable, its gain, and whether it is meant "
        "to be recorded."
    ).format(where=_where(channel), level=decibels(abs(value), 0))


def _same_channels(channel: int | None, value: float | None) -> str:  # noqa: ARG001
    return _(
        "{pair} carry one and the same signal: record one of them as mono, or look for the second microphone."
    ).format(pair=_pair(channel))


def _inverted_channels(channel: int | None, value: float | None) -> str:  # noqa: ARG001
    return _(
        "{pair} are mirror images and cancel in mono: look at the polarity switch of one of them, or at a "
        "wrongly wired cable."
    ).format(pair=_pair(channel))


def _dc_offset(channel: int | None, value: float | None) -> str:
    if value is None:
        return _(
            "{where} is shifted by a constant voltage, which makes cuts click: look at the sound card and "
            "its driver, or switch on a low-cut filter."
        ).format(where=_where(channel))
    return _(
        "{where} is shifted by {percent} % of full scale, which makes cuts click: look at the sound card and "
        "its driver, or switch on a low-cut filter."
    ).format(where=_where(channel), percent=decibels(100 * value, 2))


def _low_resolution(channel: int | None, value: float | None) -> str:
    if value is None:
        return _(
            "{where} leaves its low bits at zero: look for the bit depth in the settings of the interface "
            "and of the operating system."
        ).format(where=_where(channel))
    return _(
        "{where} uses no more than {bits} bits: look for the bit depth in the settings of the interface and "
        "of the operating system."
    ).format(where=_where(channel), bits=round(value))


def _pumping(channel: int | None, value: float | None) -> str:
    if value is None:
        return _(
            "{where} seems to change its own gain with the playing: switch off automatic gain and sound "
            "enhancements in the operating system and on the interface."
        ).format(where=_where(channel))
    return _(
        "{where} seems to change its own gain, its noise climbs by {rise} dB in the pauses: switch off "
        "automatic gain and sound enhancements in the operating system and on the interface."
    ).format(where=_where(channel), rise=decibels(value, 0))


def _bad_samples(channel: int | None, value: float | None) -> str:  # noqa: ARG001
    return _(
        "{where} delivers samples that are no numbers, which were taken as silence: look at the driver, or "
        "at the program that wrote the file."
    ).format(where=_where(channel))
