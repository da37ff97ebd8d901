"""What stands on the sea chart, and what a screen reader says of it."""

from __future__ import annotations

from app.words._catalogue import _
from app.words.figures import clip_count
from app.words.numbers import decibels


def chart_name() -> str:
    """What a screen reader calls the chart."""
    return _("Sea chart of the last 30 seconds")


def chart_description(average_dbfs: float, hold_dbfs: float, floor_dbfs: float, clips: int) -> str:
    """What the chart shows, for those who cannot see it."""
    return _("Average {average} dBFS, highest peak {hold} dBFS, noise floor {floor} dBFS, {clips}.").format(
        average=decibels(average_dbfs),
        hold=decibels(hold_dbfs),
        floor=decibels(floor_dbfs, 0),
        clips=clip_count(clips),
    )


def rail_label() -> str:
    """0 dBFS, beside the chart."""
    return _("rail\nfull scale")


def deck_label() -> str:
    """The peak ceiling, beside the chart."""
    return _("deck\npeaks stay under")


def band_label() -> str:
    """The window of the average, beside the chart."""
    return _("the average\nbelongs here")


def bed_label() -> str:
    """The noise floor, beside the chart."""
    return _("bed\nnoise floor")


def bed_unknown_label() -> str:
    """The noise floor before it is known."""
    return _("bed\nnot known yet")


def seconds_ago(seconds: int) -> str:
    """A place on the time axis."""
    return _("{seconds} s ago").format(seconds=seconds)


def now() -> str:
    """The right end of the time axis."""
    return _("now")
