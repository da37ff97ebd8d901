"""What is said when takes are sent to whoever helps."""

from __future__ import annotations

from app.words._catalogue import _, ngettext


def send_help() -> str:
    """``swellmark takes send --help``."""
    return _(
        "Write takes to one page for whoever helps you. It holds the figures, the levels over time and what "
        "happened; no sound, and no folder of this computer."
    )


def send_to_help() -> str:
    """``--to``."""
    return _("The page (HTML); one of that name is replaced.")


def letter_help() -> str:
    """``--letter``."""
    return _("What you have to say to them, at the head of the page.")


def wrong_ending(path: str) -> str:
    """Say that the page's name must end like one."""
    return _("{path}: the name must end in .html.").format(path=path)


def sent(count: int, path: str) -> str:
    """Say what the page holds."""
    return ngettext(
        "{count} take is in {path}. It holds no sound and names no folder: send it as it is.",
        "{count} takes are in {path}. It holds no sound and names no folder: send it as it is.",
        count,
    ).format(count=count, path=path)
