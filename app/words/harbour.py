"""What the overview of channels says."""

from __future__ import annotations

from app.words._catalogue import _
from app.words.figures import clip_count
from app.words.numbers import MINUS, decibels


def harbour_name() -> str:
    """What a screen reader calls the overview of channels."""
    return _("Channels")


def channel_spoken(name: str, verdict: str, average_dbfs: float, clips: int, *, chosen: bool) -> str:
    """One channel of the overview for a screen reader."""
    text = _("{name}: {verdict}, average {average} dBFS, {clips}").format(
        name=name,
        verdict=verdict,
        average=decibels(average_dbfs).replace(MINUS, _("minus ")),
        clips=clip_count(clips),
    )
    return _("{text}, on the chart").format(text=text) if chosen else text


def channel_name(number: int) -> str:
    """A channel without a name of its own."""
    return _("Channel {number}").format(number=number)


def follow_worst() -> str:
    """Let the chart choose the channel by itself."""
    return _("Follow the worst")
