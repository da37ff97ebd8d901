"""Numbers as people read them: a true minus sign, the language's decimal mark, a dash for the unknown."""

from __future__ import annotations

import math

from app.words._catalogue import pgettext

MINUS = "\N{MINUS SIGN}"
UNKNOWN = "\N{EN DASH}"


def decibels(level_db: float | None, digits: int = 1) -> str:
    """A level without its unit: ``−14.2``; a dash for unknown, ``−∞`` for silence."""
    if level_db is None or math.isnan(level_db):
        return UNKNOWN
    if math.isinf(level_db):
        return MINUS + "∞" if level_db < 0 else "∞"
    rounded = round(level_db, digits) + 0.0  # + 0.0 turns -0.0 into 0.0
    return plain(rounded, digits)


def plain(value: float, digits: int | None = None) -> str:
    """A number with so many decimals, or with as many as it needs."""
    text = f"{value:g}" if digits is None else f"{value:.{digits}f}"
    return text.replace("-", MINUS).replace(".", _decimal_mark())


def signed_decibels(change_db: float, digits: int = 0) -> str:
    """A change with its sign: ``+4``, ``−4``, ``0``."""
    text = decibels(change_db, digits)
    return "+" + text if round(change_db, digits) > 0 else text


def clock(t_s: float, digits: int = 0) -> str:
    """A place in time: ``1:04``, or ``1:04.2`` with digits; hours appear when there are any."""
    total = round(max(0.0, t_s), digits)
    hours, rest = divmod(total, 3600)
    minutes, seconds = divmod(rest, 60)
    width = 3 + digits if digits else 2
    tail = f"{seconds:0{width}.{digits}f}".replace(".", _decimal_mark())
    return f"{int(hours)}:{int(minutes):02d}:{tail}" if hours else f"{int(minutes)}:{tail}"


def _decimal_mark() -> str:
    return pgettext("decimal mark", ".")
