"""Where texts come from: gettext over assets/locale, English where there is no translation."""

from __future__ import annotations

import gettext as _gettext
import locale
import os
from collections.abc import Iterable
from functools import cache
from importlib import resources

_OURS = "en"
"""The language of the texts in the code, which needs no catalogue."""

_chosen: tuple[str, ...] = ()


def speak(languages: Iterable[str]) -> None:
    """Use the first of these languages that there is, whatever the environment says; none = ask it again.

    Parameters
    ----------
    languages
        Like ``de_AT`` or ``en-GB``, the most wanted first.
    """
    global _chosen  # noqa: PLW0603 - a process speaks one language
    _chosen = tuple(languages)
    _translation.cache_clear()


def asks_for_a_language() -> bool:
    """Whether the environment names one, as POSIX and gettext have it."""
    return any(os.environ.get(name) for name in ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"))


def _wanted() -> list[str]:
    """The languages to look for, the most wanted first; a list that reaches English ends there."""
    if _chosen:
        names: Iterable[str] = _chosen
    elif asks_for_a_language():
        variables = ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG")
        names = next(value for name in variables if (value := os.environ.get(name))).split(":")
    else:  # Windows, whose locale has a name of its own kind
        names = [locale.normalize(locale.getlocale()[0] or "C")]
    wanted = []
    for name in names:
        code = name.replace("-", "_")
        if code.partition("_")[0].partition(".")[0].lower() in {_OURS, "c", "posix"}:
            break
        wanted.append(code)
    return wanted


@cache
def _translation() -> _gettext.NullTranslations:
    wanted = _wanted()
    if not wanted:
        return _gettext.NullTranslations()
    directory = resources.files("assets") / "locale"
    return _gettext.translation("swellmark", localedir=str(directory), languages=wanted, fallback=True)


def spoken() -> str | None:
    """The language of the texts, like ``de``; None = English, as they were written."""
    return _translation().info().get("language")


def _(text: str) -> str:
    """Translate a text of the catalogue."""
    # The empty text stands for the head of a catalogue.
    return _translation().gettext(text) if text else ""


def ngettext(one: str, other: str, count: int) -> str:
    """Translate a text whose form depends on a count."""
    return _translation().ngettext(one, other, count)


def pgettext(context: str, text: str) -> str:
    """Translate a text that means different things in different places."""
    return _translation().pgettext(context, text)
