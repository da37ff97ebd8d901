"""What is said about recorded files."""

from __future__ import annotations

from app.words._catalogue import _


def outside_limits(path: str, channels: int, rate_hz: int) -> str:
    """A file that is sound, but not of a kind that can be measured."""
    return _(
        "{path}: {channels} channels at {rate_hz} Hz cannot be measured; up to 32 channels and 8 to 384 kHz can."
    ).format(path=path, channels=channels, rate_hz=rate_hz)


def nothing_to_check(path: str) -> str:
    """A folder without sound files."""
    return _("{path}: there are no sound files in this folder.").format(path=path)
