"""What the keys do, and what each is called."""

from __future__ import annotations

from app.words._catalogue import _


def key_name(portable: str) -> str:
    """What people call a key; empty when it has no name of its own. ``portable`` is Qt's, like ``PgDown``."""
    return {
        "Space": _("Space"),
        "PgDown": _("Page Down"),
        "PgUp": _("Page Up"),
        "Left": _("Left arrow"),
        "Right": _("Right arrow"),
        "Up": _("Up arrow"),
        "Down": _("Down arrow"),
        "Return": _("Enter"),
        "Enter": _("Enter on the number pad"),
    }.get(portable, "")


def action_text(name: str) -> str:
    """What a key does, for the page of keys and for tool tips."""
    return {
        "take": _("Begin the take, or end it"),
        "by_itself": _("Have takes begin by themselves, or no more"),
        "afresh": _("Start afresh"),
        "look": _("Change the colours"),
        "guide": _("Guide me to the gain"),
        "skip": _("Go on with the next step of the guide"),
        "why": _("Explain the verdict"),
        "proof": _("Run the standards' test signals"),
        "afar": _("Show the verdict from afar, or go back"),
        "strip": _("Open the strip above other windows, or close it"),
        "seen": _("The clips were seen"),
        "overlay": _("Explain the chart on the chart"),
        "back": _("Close what is open, or go back"),
        "larger": _("Larger texts"),
        "smaller": _("Smaller texts"),
        "text_size": _("Texts as large as they were made"),
    }[name]


def open_page(title: str) -> str:
    """The key that opens a page, or goes back from it."""
    return _("Open “{title}”, or go back from it").format(title=title)


def with_key_beside(text: str, key: str) -> str:
    """The same where there is little room."""
    return _("{text} · {key}").format(text=text, key=key) if key else text


def with_key(text: str, key: str) -> str:
    """A text with the key that does the same; without a key, the text alone."""
    return _("{text}  ·  {key}").format(text=text, key=key) if key else text
