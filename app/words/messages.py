"""What the banner says: states of the input, faults of the program, the hint of the first run."""

from __future__ import annotations

from app.words._catalogue import _


def state_opening() -> str:
    """While an input opens."""
    return _("Opening the input …")


def state_closed() -> str:
    """Nothing is open."""
    return _("No input is open. Choose one above.")


def state_stalled() -> str:
    """Nothing arrives."""
    return _("The input delivers nothing. Check that it is switched on and plugged in; it goes on by itself.")


def state_lost() -> str:
    """The device is gone."""
    return _("The input went away. Plug it in again, or choose another one above.")


def state_ended() -> str:
    """The file is over."""
    return _("The file is over. Choose it again to hear it once more.")


def state_stale() -> str:
    """The engine does not report."""
    return _("These readings are old: the measuring does not answer.")


def fault_in_program(what: str) -> str:
    """Something in the window itself broke."""
    return _("A fault in the program: {what}. The measuring goes on.").format(what=what)


def first_run_hint() -> str:
    """The one sentence at the first start."""
    return _("This is the built-in player. To hear yourself, choose your input at the top left.")


def more_messages(count: int) -> str:
    """How many other messages wait."""
    return _("+{count} more").format(count=count)


def dismiss() -> str:
    """Close the message."""
    return _("Close")


def save_details() -> str:
    """Write down what the program knows about a fault."""
    return _("Save details …")


def save_details_title() -> str:
    """Over the choice of where to."""
    return _("Save the details of the fault")


def details_not_saved(cause: str) -> str:
    """The details could not be written."""
    return _("The details could not be saved: {cause}.").format(cause=cause)
