"""What the choice of input and part says, and the facts of what is open."""

from __future__ import annotations

from app.words._catalogue import _, ngettext
from app.words.figures import lost


def input_name() -> str:
    """What a screen reader calls the choice of inputs."""
    return _("Input")


def looking_for_inputs() -> str:
    """While the system lists its devices."""
    return _("Looking for inputs …")


def open_file() -> str:
    """The entry that asks for a file."""
    return _("A sound file …")


def look_again() -> str:
    """The entry that lists the devices again."""
    return _("Look for inputs again")


def open_file_title() -> str:
    """Over the choice of a file."""
    return _("Choose a sound file")


def sound_files() -> str:
    """The kind of files."""
    return _("Sound files")


def all_files() -> str:
    """Every file."""
    return _("All files")


def part_name() -> str:
    """What a screen reader calls the choice of parts."""
    return _("What you play")


def part_tip() -> str:
    """What the part changes."""
    return _("What you play: the advice knows how much louder such a part gets in a take.")


def player_gain_name() -> str:
    """The slider beside the built-in player."""
    return _("Gain knob of the built-in player")


def player_gain_value(gain: str) -> str:
    """Where that slider stands."""
    return _("Player's gain {gain} dB").format(gain=gain)


def player_gain_short(gain: str) -> str:
    """The same where there is little room."""
    return _("{gain} dB").format(gain=gain)


def stream_facts(rate_hz: int, channels: int, lost_frames: int, note: str = "") -> str:
    """What is open, in a line."""
    facts = [
        _("{rate} kHz").format(rate=f"{rate_hz / 1000:g}"),
        ngettext("{count} channel", "{count} channels", channels).format(count=channels),
        _("nothing lost") if not lost_frames else lost(lost_frames / rate_hz),
    ]
    return "  ·  ".join([*facts, note] if note else facts)
