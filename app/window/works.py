"""Whose work the program stands on: its packages with version and licence, as their metadata state them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from importlib.metadata import Distribution, PackageNotFoundError, distribution

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
_LONG = 60
"""A licence field longer than this is the licence's text, not its name."""


@dataclass(frozen=True, slots=True)
class Work:
    """One package."""

    name: str
    version: str | None
    """None when it is not installed."""
    licence: str | None
    """None when the package does not state it."""


def work(name: str) -> Work:
    """What a package states about itself."""
    try:
        found = distribution(name)
    except PackageNotFoundError:
        return Work(name, None, None)
    return Work(found.metadata["Name"] or name, found.version, _licence(found))


def works(of: str = "swellmark") -> list[Work]:
    """The packages that a package needs at run time, extras left out, by name; empty when it is unknown."""
    try:
        needs = distribution(of).requires or []
    except PackageNotFoundError:
        return []
    names = [match[0] for need in needs if "extra ==" not in need and (match := _NAME.match(need))]
    return [work(name) for name in sorted(names, key=str.lower)]


def _licence(found: Distribution) -> str | None:
    """The licence expression of PEP 639, or the older field or classifier."""
    for field in ("License-Expression", "License"):
        stated = (found.metadata.get_all(field) or [""])[0].strip()
        if stated and stated.upper() != "UNKNOWN":
            first = stated.splitlines()[0].strip()
            if len(first) <= _LONG:
                return first
    classifiers = found.metadata.get_all("Classifier") or []
    named = [line.rpartition(" :: ")[2] for line in classifiers if line.startswith("License ::")]
    return ", ".join(named) or None
