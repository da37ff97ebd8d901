"""The page of channels: every microphone with its part and its advice, worst first."""

from __future__ import annotations

from app.words._catalogue import _
from app.words.numbers import decibels


def page_title() -> str:
    """The button that opens the page."""
    return _("Channels")


def page_tip() -> str:
    """What the page is for."""
    return _(
        "Every channel at a glance, the one that needs attention first; name them, choose parts and targets"
    )


def table_name() -> str:
    """What a screen reader calls the list."""
    return _("Channels, the one that needs attention first")


def headings() -> tuple[str, ...]:
    """Over the columns."""
    return (
        _("No."),
        _("Name"),
        _("Part"),
        _("Verdict"),
        _("What to do"),
        _("Average, dBFS"),
        _("Headroom, dB"),
        _("Clips"),
    )


def as_all(part: str) -> str:
    """The part of a channel that nobody chose one for; ``part`` is what the whole input is judged by."""
    return _("As chosen above: {part}").format(part=part)


def name_label(number: int) -> str:
    """The field for a channel's name."""
    return _("Name of channel {number}").format(number=number)


def part_label(number: int) -> str:
    """The choice of a channel's part."""
    return _("Part of channel {number}").format(number=number)


def ceiling_label(number: int) -> str:
    """The choice of what a channel's peaks should stay under."""
    return _("What the peaks of channel {number} should stay under").format(number=number)


def ceiling(ceiling_dbfs: float) -> str:
    """One of those choices."""
    return _("Peaks under {ceiling} dBFS").format(ceiling=decibels(ceiling_dbfs, 0))


def ceiling_as_usual(ceiling_dbfs: float) -> str:
    """The choice of nothing in particular."""
    return _("As usual: under {ceiling} dBFS").format(ceiling=decibels(ceiling_dbfs, 0))


def show_button() -> str:
    """Shows the channel on the chart."""
    return _("Show it")


def show_tip() -> str:
    """What that button does."""
    return _("Shows this channel on the chart, with its verdict.")


def nothing_open() -> str:
    """There is no input, so there are no channels."""
    return _("No input is open, so there are no channels yet.")
