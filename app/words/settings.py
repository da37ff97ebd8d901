"""The page of settings: keys, size of texts, colours, motion."""

from __future__ import annotations

from app.words._catalogue import _


def settings_title() -> str:
    """On the page's button."""
    return _("Settings")


def settings_tip() -> str:
    """What the page is for."""
    return _("Keys and pedals, size of texts, colours, motion, what ends a take.")


def text_size(percent: int) -> str:
    """How large texts are."""
    return _("Texts {percent} %").format(percent=percent)


def larger() -> str:
    """Makes texts larger."""
    return _("Larger")


def smaller() -> str:
    """Makes texts smaller."""
    return _("Smaller")


def colours(name: str) -> str:
    """Changes the colours; ``name`` says which they are."""
    return _("Colours: {name}").format(name=name)


def motion_name() -> str:
    """What a screen reader calls the choice of motion."""
    return _("Motion")


def motion(name: str) -> str:
    """One of the choices of motion."""
    return {
        "desktop": _("Motion as the desktop has it"),
        "full": _("The chart flows"),
        "little": _("The chart goes on once a second"),
    }[name]


def keys_title() -> str:
    """Over the table of keys."""
    return _("Keys and pedals")


def keys_hint() -> str:
    """How the table is used."""
    return _("Choose a row, then “New key”, then press key or pedal.")


def keys_headings() -> tuple[str, str, str]:
    """Over the columns of the table."""
    return (_("What it does"), _("Keys"), _("Where"))


def everywhere() -> str:
    """An action that works everywhere."""
    return _("everywhere")


def on_page(title: str) -> str:
    """An action that works on one page."""
    return _("on “{title}”").format(title=title)


def no_key() -> str:
    """An action without a key."""
    return _("none")


def new_key() -> str:
    """Adds a key to the action that is chosen."""
    return _("New key")


def no_keys() -> str:
    """Takes all keys from the action that is chosen."""
    return _("No key")


def all_as_before() -> str:
    """Gives all actions the keys that they come with."""
    return _("All keys as they were")


def press_now(what: str) -> str:
    """While a key is waited for."""
    return _("Press the key for “{what}”. Esc leaves it as it is.").format(what=what)


def key_given(key: str, what: str) -> str:
    """A key was given."""
    return _("{key} now does: {what}.").format(key=key, what=what)


def key_taken(key: str, what: str) -> str:
    """A key belongs to another action."""
    return _("{key} is taken: it does “{what}”. Take it away there first.").format(key=key, what=what)


def keys_taken_away(what: str) -> str:
    """An action has no keys now."""
    return _("No key does “{what}” now.").format(what=what)


def keys_restored() -> str:
    """All keys are as the program came with."""
    return _("All keys are as they were.")


def key_needed() -> str:
    """What may not be without a key."""
    return _("Going back keeps a key, so that nobody is caught on a page.")
