"""The built-in player: a musician at home, made by the program."""

from __future__ import annotations

from collections.abc import Sequence

from app.words._catalogue import _
from app.words.numbers import decibels, plain


def part_name(part: str) -> str:
    """The instrument that a part plays; an unknown part is its own name."""
    return {
        "bass": _("Bass, plucked"),
        "guitar": _("Guitar, strummed"),
        "voice": _("Voice, singing"),
        "drums": _("Drums, four microphones"),
    }.get(part, part)


def input_name(part: str) -> str:
    """The player in a list of inputs."""
    return _("Built-in player: {part}").format(part=part_name(part))


def channel_names(part: str) -> tuple[str, ...]:
    """What each channel of a part listens to, in order."""
    if part == "drums":
        return (_("Kick"), _("Snare"), _("Overhead left"), _("Overhead right"))
    return (part_name(part),)


def note(*, hum_hz: float | None, overload: bool) -> str:
    """What is wrong with the player's equipment, on purpose; empty when nothing is."""
    faults = []
    if hum_hz is not None:
        faults.append(_("hums at {hz} Hz").format(hz=plain(hum_hz)))
    if overload:
        faults.append(_("preamp overloads early"))
    return ", ".join(faults)


def made_by() -> str:
    """How the samples come about, beside the ways of a real device."""
    return _("made by the program")


def unknown_part(part: str, parts: Sequence[str]) -> str:
    """Nobody plays that."""
    return _("The built-in player has no part called “{part}”. It plays {parts}.").format(
        part=part, parts=_enumerate(parts)
    )


def gain_is_no_number(gain_db: float) -> str:
    """The knob cannot be turned there."""
    return _("The player's gain must be a number of decibels, not {gain}.").format(gain=decibels(gain_db))


def bad_rate(rate_hz: int, lowest_hz: int, highest_hz: int) -> str:
    """No converter runs so slow or so fast."""
    return _("The player works at {low} to {high} Hz, not at {rate} Hz.").format(
        low=lowest_hz, high=highest_hz, rate=rate_hz
    )


def bad_speed(speed: float) -> str:
    """Time does not run that way."""
    return _("The player's speed must be above 0 (1 = as in life), not {speed}.").format(speed=plain(speed))


def bad_hum(hum_hz: float) -> str:
    """No mains hums there."""
    return _("The player's hum must lie between 10 and 400 Hz (50 or 60 as a rule), not at {hz} Hz.").format(
        hz=plain(hum_hz)
    )


def _enumerate(items: Sequence[str]) -> str:
    return _("{first} and {last}").format(first=", ".join(items[:-1]), last=items[-1])
