"""What the engine says when it cannot go on."""

from __future__ import annotations

from app.words._catalogue import _


def analysis_failed() -> str:
    """The analysis itself broke: a fault of ours."""
    return _("The measuring stopped because of a fault in the program. Choose the input again to go on.")


def observer_failed() -> str:
    """Something that keeps watch over the input broke."""
    return _("Writing the take log stopped because of a fault in the program. The meter goes on.")


def listener_failed() -> str:
    """Something that listens to the samples broke: the balance, the playing along."""
    return _("Listening to your part stopped because of a fault in the program. The meter goes on.")
