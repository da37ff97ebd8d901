"""What the frame of the window says: its title, the places to go to, the buttons of its head."""

from __future__ import annotations

from app.words._catalogue import _
from app.words.keys import with_key


def title() -> str:
    """The window's title."""
    return "Swellmark"


def places_name() -> str:
    """What a screen reader calls the row of places to go to."""
    return _("Places")


def board_title() -> str:
    """The button that goes back to the chart and the verdict."""
    return _("Sea chart")


def board_tip() -> str:
    """What is seen there."""
    return _("The chart, the verdict and the takes of this evening.")


def begin_take(key: str) -> str:
    """The button that begins a take, with its key."""
    return with_key(_("Begin the take"), key)


def end_take(key: str, duration: str) -> str:
    """The same button while a take runs."""
    return with_key(_("End the take  ·  {duration}").format(duration=duration), key)


def afresh(key: str) -> str:
    """Let the evidence and the peak hold go."""
    return with_key(_("Start afresh"), key)


def afresh_tip() -> str:
    """What starting afresh does."""
    return _("Lets go of the peak hold, the clip counts and what the advice rests on.")


def look_name(name: str) -> str:
    """The colours that are in use."""
    return {"dark": _("Dark"), "light": _("Light"), "contrast": _("High contrast")}[name]


def look_tip() -> str:
    """What that button does."""
    return _("Changes between dark, light and high contrast.")
