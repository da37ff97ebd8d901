"""Part profiles: what is known about a part before a note was heard, from a file that users can add to."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, Literal, TypeAlias, cast

from app.errors import SettingsError, UsageError
from app.words import parts as words

Rules: TypeAlias = Literal["average", "peaks"]

_RANGES_DB = {"crest_db": (0.0, 40.0), "growth_db": (0.0, 12.0), "growth_sd_db": (0.0, 6.0)}
_REQUIRED = ("name", "rules", *_RANGES_DB)
_KNOWN = (*_REQUIRED, "hints")


@dataclass(frozen=True, slots=True)
class PartProfile:
    """One part."""

    key: str
    name: str
    """For people."""
    rules: Rules
    """What the gain is set by; the peak ceiling holds for both."""
    crest_db: float
    """How far the highest peak of loud playing usually stands above its slow average (both AES17)."""
    growth_db: float
    """How much louder a take usually runs than the rehearsal before it."""
    growth_sd_db: float
    """Standard deviation of that growth from one player to the next."""
    hints: tuple[str, ...] = ()


@cache
def shipped_parts() -> Mapping[str, PartProfile]:
    """The parts that come with the program, by key, in the order of the file."""
    file = resources.files("assets") / "parts.toml"
    return _parse(file.read_text(encoding="utf-8"), "parts.toml")


def load_parts(own_file: Path | None = None) -> Mapping[str, PartProfile]:
    """The shipped parts with the user's own over them, by key.

    Parameters
    ----------
    own_file
        The user's file; one that does not exist adds nothing.

    Raises
    ------
    app.errors.SettingsError
        When the file is wrong: the sentence names the file, the entry and the cause.
    """
    if own_file is None or not own_file.exists():
        return shipped_parts()
    try:
        text = own_file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(words.parts_unreadable(str(own_file)), str(error)) from error
    return {**shipped_parts(), **_parse(text, str(own_file))}


def find_part(name: str, parts: Mapping[str, PartProfile] | None = None) -> PartProfile:
    """The part with this key or name, whatever the case, or with the only key or name that begins so.

    Raises
    ------
    app.errors.UsageError
        When none fits, or several do; the sentence lists the parts.
    """
    known = shipped_parts() if parts is None else parts
    wanted = _plain(name)
    spellings = [
        (_plain(spelling), part)
        for part in known.values()
        for spelling in (part.key, part.name, words.part_name(part.name))
    ]
    for spelling, part in spellings:
        if spelling == wanted:
            return part
    begun = {part.key: part for spelling, part in spellings if wanted and spelling.startswith(wanted)}
    if len(begun) == 1:
        return begun.popitem()[1]
    raise UsageError(words.unknown_part(name, [words.part_name(part.name) for part in known.values()]))


def _plain(name: str) -> str:
    return " ".join(name.casefold().replace("_", " ").replace("-", " ").split())


def _parse(text: str, file: str) -> dict[str, PartProfile]:
    try:
        tables = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # numbers of thousands of digits, or nested as deep
        raise SettingsError(words.parts_not_toml(file, str(error)), str(error)) from error
    return {key: _profile(key, table, file) for key, table in tables.items()}


def _profile(key: str, table: object, file: str) -> PartProfile:
    if not isinstance(table, dict):
        raise SettingsError(words.part_not_a_table(file, key))
    for value in table:
        if value not in _KNOWN:
            raise SettingsError(words.part_value_unknown(file, key, value, _KNOWN))
    for value in _REQUIRED:
        if value not in table:
            raise SettingsError(words.part_value_missing(file, key, value))

    name = table["name"]
    if not isinstance(name, str) or not name.strip():
        raise SettingsError(words.part_value_wrong(file, key, "name", words.expected_text()))
    if table["rules"] not in ("average", "peaks"):
        raise SettingsError(words.part_value_wrong(file, key, "rules", words.expected_rules()))
    hints = table.get("hints", [])
    if not isinstance(hints, list) or not all(isinstance(hint, str) for hint in hints):
        raise SettingsError(words.part_value_wrong(file, key, "hints", words.expected_texts()))
    return PartProfile(
        key=key,
        name=name.strip(),
        rules=cast("Rules", table["rules"]),
        hints=tuple(hints),
        **{value: _decibels(table, value, key, file) for value in _RANGES_DB},
    )


def _decibels(table: Mapping[str, Any], value: str, key: str, file: str) -> float:
    low, high = _RANGES_DB[value]
    figure = table[value]
    # bool is an int to Python; "crest_db = true" is a slip all the same.
    if isinstance(figure, bool) or not isinstance(figure, int | float) or not low <= figure <= high:
        raise SettingsError(words.part_value_wrong(file, key, value, words.expected_range(low, high)))
    return float(figure)
