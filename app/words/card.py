"""What the verdict card says besides the verdict, and the explanation that it opens."""

from __future__ import annotations

from app.words._catalogue import _
from app.words.keys import with_key


def card_name() -> str:
    """What a screen reader calls the verdict card."""
    return _("Verdict")


def no_verdict() -> str:
    """In place of a verdict while nothing is heard."""
    return _("Waiting")


def old_reading() -> str:
    """In place of a verdict when the readings are old."""
    return _("Old reading")


def why_button(key: str) -> str:
    """The button that opens the explanation."""
    return with_key(_("Why?"), key)


def why_tip() -> str:
    """What that button does."""
    return _("Explains the verdict and the words that it uses.")


def why_title(verdict: str) -> str:
    """Over the explanation of a verdict; ``verdict`` is its name, empty while there is none."""
    return _("Why {verdict}?").format(verdict=verdict) if verdict else _("Words of the trade")


def close_why(key: str) -> str:
    """Close the explanation."""
    return with_key(_("Close"), key)


def term_name(term: str) -> str:
    """Over the explanation of a word, with the keys of :func:`app.words.advice.term_explanation`."""
    return {
        "dbfs": _("dBFS"),
        "average": _("Average"),
        "peak": _("Peak"),
        "headroom": _("Headroom"),
        "noise_floor": _("Noise floor"),
        "low_gain": _("Why a low gain does no harm"),
    }[term]
