"""What the list of takes on the board says, and the events of a take."""

from __future__ import annotations

from collections.abc import Sequence

from app.words._catalogue import _
from app.words.figures import clip_count, lost
from app.words.numbers import clock, decibels


def takes_title() -> str:
    """Over the list."""
    return _("Takes")


def take_name_hint() -> str:
    """In the empty field for the next take's name."""
    return _("Name of the next take")


def no_takes() -> str:
    """The list while it is empty."""
    return _(
        "No takes yet. Press Space when you begin to play, and again when you end: "
        "every clip will be listed here with its place."
    )


def take_headings() -> tuple[str, ...]:
    """The columns of the list."""
    return (_("Take"), _("Name"), _("Length"), _("Verdict"), _("Levels"), _("Peaks and clips"))


def take_figures(peak_dbfs: float | None, clips: int, lost_s: float, *, interrupted: bool) -> str:
    """A take's figures in a line."""
    parts = [_("peaks {peak}").format(peak=decibels(peak_dbfs)), clip_count(clips)]
    if lost_s > 0:
        parts.append(lost(lost_s))
    if interrupted:
        parts.append(_("interrupted"))
    return "  ·  ".join(parts)


def places(count: int, places_s: Sequence[float]) -> str:
    """Clips with their places in time, as many as are given: ``9 clips at 0:03.1, 0:14.9 and 7 more``."""
    shown = ", ".join(clock(place_s, 1) for place_s in places_s)
    more = count - len(places_s)
    if more > 0:
        shown = _("{places} and {more} more").format(places=shown, more=more)
    return _("{clips} at {places}").format(clips=clip_count(count), places=shown)


def take_running() -> str:
    """In the list, for the take that runs now."""
    return _("running")


def take_title(number: int, name: str) -> str:
    """A take by number and name."""
    return (
        _("Take {number}  ·  {name}").format(number=number, name=name)
        if name
        else _("Take {number}").format(number=number)
    )


def event_line(
    kind: str,
    t_s: float,
    channel: int | None,
    length_s: float,
    peak_dbfs: float | None,
    count: int = 1,
) -> str:
    """Something that happened in a take, with its place."""
    what = {
        "clip": _("clip"),
        "possible_clip": _("flat tops, possibly a clip"),
        "over_ceiling": _("over the deck"),
        "gap": _("lost"),
        "input_lost": _("input lost"),
        "input_back": _("input back"),
        "bad_samples": _("bad samples"),
        "gain_moved": _("gain turned"),
    }.get(kind, kind)
    line = f"{clock(t_s, 1)}   {what}"
    if channel is not None:
        line += _(", channel {channel}").format(channel=channel)
    if count > 1:
        line += _(", {count} times in {length}").format(count=count, length=clock(length_s, 1))
    elif kind in ("clip", "possible_clip", "gap") and length_s > 0:
        line += f", {length_s * 1000:.1f} ms"
    if kind == "over_ceiling" and peak_dbfs is not None:
        line += f", {decibels(peak_dbfs)} dBFS"
    return line


def nothing_happened() -> str:
    """A take without events."""
    return _("Nothing to report: no clip, nothing lost.")


def choose_a_take() -> str:
    """Beside the list, while no take is chosen."""
    return _("Choose a take to see every clip with its place.")


def events_name() -> str:
    """What a screen reader calls the list of events."""
    return _("What happened in the take")
