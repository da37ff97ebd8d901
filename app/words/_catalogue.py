"""Where texts come from: gettext over assets/locale, English where there is no translation."""

from __future__ import annotations

import gettext as _gettext
from functools import cache
from importlib import resources


@cache
def _translation() -> _gettext.NullTranslations:
    directory = resources.files("assets") / "locale"
    return _gettext.translation("swellmark", localedir=str(directory), fallback=True)


def _(text: str) -> str:
    """Translate a text of the catalogue."""
    return _translation().gettext(text)


def ngettext(one: str, other: str, count: int) -> str:
    """Translate a text whose form depends on a count."""
    return _translation().ngettext(one, other, count)
