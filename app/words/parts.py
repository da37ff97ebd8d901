"""Part profiles: their texts in the user's language, and what goes wrong with them, in a sentence each."""

from __future__ import annotations

from collections.abc import Iterable

from app.words._catalogue import _
from app.words.numbers import plain


def part_name(name: str) -> str:
    """The name of a part in the user's language; of one the user added, as it was written."""
    return _(name)


def part_hint(hint: str) -> str:
    """A hint from the trade, likewise."""
    return _(hint)


def unknown_part(name: str, known: Iterable[str]) -> str:
    """There is no such part."""
    return _("There is no part called “{name}”. Parts: {known}.").format(name=name, known=", ".join(known))


def parts_unreadable(file: str) -> str:
    """The file cannot be opened."""
    return _("{file}: the part profiles cannot be read.").format(file=file)


def parts_not_toml(file: str, cause: str) -> str:
    """The file is no TOML."""
    return _("{file}: not a valid TOML file ({cause}).").format(file=file, cause=cause)


def part_not_a_table(file: str, entry: str) -> str:
    """A top-level value where a part was expected."""
    return _("{file}: “{entry}” should be a part, written as [{entry}] with its values below.").format(
        file=file, entry=entry
    )


def part_value_missing(file: str, entry: str, value: str) -> str:
    """A part lacks a value."""
    return _("{file}: part [{entry}] lacks “{value}”.").format(file=file, entry=entry, value=value)


def part_value_unknown(file: str, entry: str, value: str, known: Iterable[str]) -> str:
    """A part has a value that nothing reads: a slip of the pen, most likely."""
    return _("{file}: part [{entry}] has “{value}”, which means nothing here; expected: {known}.").format(
        file=file, entry=entry, value=value, known=", ".join(known)
    )


def part_value_wrong(file: str, entry: str, value: str, expected: str) -> str:
    """A value of a part is of the wrong kind or out of range."""
    return _("{file}: “{value}” of part [{entry}] should be {expected}.").format(
        file=file, entry=entry, value=value, expected=expected
    )


def expected_rules() -> str:
    """What ``rules`` may be."""
    return _("“average” or “peaks”")


def expected_range(low_db: float, high_db: float) -> str:
    """What a figure in decibels may be."""
    return _("a number of decibels from {low} to {high}").format(low=plain(low_db), high=plain(high_db))


def expected_text() -> str:
    """What ``name`` may be."""
    return _("a text between quotation marks")


def expected_texts() -> str:
    """What ``hints`` may be."""
    return _("a list of texts, each between quotation marks")
