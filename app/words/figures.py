"""Labels of the readings, and counts in words."""

from __future__ import annotations

from app.words._catalogue import _, ngettext
from app.words.numbers import MINUS


def average_label() -> str:
    """Over the slow average."""
    return _("Average")


def hold_label() -> str:
    """Over the peak hold."""
    return _("Peak hold")


def headroom_label() -> str:
    """Over the headroom."""
    return _("Headroom")


def floor_label() -> str:
    """Over the noise floor."""
    return _("Noise floor")


def figure_spoken(label: str, value: str, unit: str) -> str:
    """A figure for a screen reader: the sign as a word, because some leave it out."""
    return _("{label}: {value} {unit}").format(
        label=label, value=value.replace(MINUS, _("minus ")), unit=unit
    )


def clip_count(count: int) -> str:
    """How often it clipped."""
    if count == 0:
        return _("no clips")
    return ngettext("{count} clip", "{count} clips", count).format(count=count)


def lost(lost_s: float) -> str:
    """How much is missing."""
    return _("{seconds} s lost").format(seconds=f"{lost_s:.2f}" if lost_s < 10 else f"{lost_s:.0f}")
