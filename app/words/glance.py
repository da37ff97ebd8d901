"""The few words that are read from afar, or out of the corner of an eye."""

from __future__ import annotations

from app.words._catalogue import _, ngettext
from app.words.keys import with_key
from app.words.numbers import clock, decibels, plain


def afar_title() -> str:
    """On the button that fills the window with the verdict."""
    return _("From afar")


def afar_tip() -> str:
    """What that button does."""
    return _("Shows the verdict, the change, the headroom and the clips alone, to be read across the room.")


def strip_title() -> str:
    """On the button that opens the small strip."""
    return _("Strip")


def strip_tip() -> str:
    """What that button does."""
    return _("Opens a small strip that stays above other windows.")


def strip_window() -> str:
    """The title of the strip's window."""
    return _("Swellmark strip")


def not_on_top() -> str:
    """Where a program may not keep its window above others."""
    return _(
        "This desktop lets no program keep its own window on top: "
        "choose “Always on top” in the strip's window menu, often Alt+Space."
    )


def change(change_db: int, *, waits_for: str = "") -> str:
    """What to do with the gain, in two or three words.

    Parameters
    ----------
    waits_for
        The reason for which the advice has not settled (a value of ``app.coach.judgement.Reason``); empty
        when it has.
    """
    if waits_for:
        return {
            "nothing_heard": _("Play"),
            "exact_zeros": _("No signal"),
            "knob_moved": _("Play again"),
        }.get(waits_for, _("Keep playing"))
    if change_db == 0:
        return _("Leave it")
    text = _("Up {size} dB") if change_db > 0 else _("Down {size} dB")
    return text.format(size=abs(change_db))


def headroom(headroom_db: float) -> str:
    """The space that is left, with its unit."""
    return _("{headroom} dB left").format(headroom=decibels(headroom_db))


def unseen_clips(count: int) -> str:
    """Clips that nobody has said to have seen."""
    return ngettext("{count} clip", "{count} clips", count).format(count=count) if count else ""


def seen_button(key: str) -> str:
    """Says that the clips were seen."""
    return with_key(_("Seen"), key)


def back_button(key: str) -> str:
    """Goes back to the whole window."""
    return with_key(_("Back"), key)


def take_runs(duration_s: float) -> str:
    """The take that runs."""
    return _("Take {clock}").format(clock=clock(duration_s))


def no_take() -> str:
    """No take runs."""
    return _("no take")


def legible_from(distance_m: float) -> str:
    """From how far the smallest of the letters can be read."""
    return _("Readable up to {distance} m away, if the system knows how large this screen is.").format(
        distance=plain(distance_m, 1)
    )


def size_unknown() -> str:
    """The screen's size is not known."""
    return _("As large as they fit: the system does not say how large this screen is.")


def spoken(verdict: str, advice: str, headroom_text: str, clips: str) -> str:
    """All of it in one line for a screen reader."""
    return ". ".join(text for text in (verdict, advice, headroom_text, clips) if text)
