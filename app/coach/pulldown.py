"""The smallest total pull-down, in whole decibels a file, that makes a part heard. Knows nothing of sound.

Hearing is monotone: turning anything down further never hides the part. Pulling all files down alike is a
solution that a bisection finds. From there, and from a climb that starts with nothing pulled down, whatever
is not needed is given back, and then files are traded: one goes further down if the others come up by more
than that. A local search, then; it never ends above the equal pull-down, and tests hold it against trying
everything.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

MOST_DB = 40
"""Deeper is no balance any more; a file that far down is as good as left out."""

_STEPS_DB = (8, 4, 2, 1)
_TRADES_DB = (1, 2, 4, 8)

Margin: TypeAlias = Callable[[tuple[int, ...]], float]
"""From decibels a file to how far the part is over (0 or more) or under (negative) being heard."""


def equal_pull_down(files: int, margin: Margin) -> int:
    """The smallest amount that makes the part heard when every file goes down by it; MOST_DB if none does."""
    if margin((0,) * files) >= 0.0:
        return 0
    low, high = 0, MOST_DB
    while high - low > 1:
        middle = (low + high) // 2
        if margin((middle,) * files) >= 0.0:
            high = middle
        else:
            low = middle
    return high


def smallest_pull_down(files: int, margin: Margin) -> tuple[int, ...]:
    """Decibels a file, their sum as small as the search can make it; all MOST_DB if that is not enough."""
    known: dict[tuple[int, ...], float] = {}

    def remembered(amounts: tuple[int, ...]) -> float:
        if amounts not in known:
            known[amounts] = margin(amounts)
        return known[amounts]

    equal = (equal_pull_down(files, remembered),) * files
    if files == 1 or remembered(equal) < 0.0:
        return equal
    found = min(
        (_give_back(start, remembered) for start in (equal, _climb(files, remembered))),
        key=lambda amounts: (sum(amounts), max(amounts)),
    )
    while True:
        traded = _trade(found, remembered)
        if traded is None:
            return found
        found = traded


def _give_back(amounts: tuple[int, ...], margin: Margin, spare: int | None = None) -> tuple[int, ...]:
    """Bring files up while the part stays heard, each time the one that takes least from it."""
    for step in _STEPS_DB:
        while True:
            less = [
                _changed(amounts, file, -step)
                for file in range(len(amounts))
                if file != spare and amounts[file] >= step
            ]
            best = max(less, key=margin, default=None)
            if best is None or margin(best) < 0.0:
                break
            amounts = best
    return amounts


def _climb(files: int, margin: Margin) -> tuple[int, ...]:
    """Pull down, each time the file that helps most, until the part is heard."""
    amounts = (0,) * files
    while margin(amounts) < 0.0:
        more = [
            _changed(amounts, file, min(_STEPS_DB[1], MOST_DB - amounts[file]))
            for file in range(files)
            if amounts[file] < MOST_DB
        ]
        amounts = max(more, key=margin)
    return amounts


def _trade(amounts: tuple[int, ...], margin: Margin) -> tuple[int, ...] | None:
    """Pull one file further down if the others can come up by more; None where nothing is gained."""
    for file in range(len(amounts)):
        for further in _TRADES_DB:
            if amounts[file] + further <= MOST_DB:
                traded = _give_back(_changed(amounts, file, further), margin, spare=file)
                if sum(traded) < sum(amounts):
                    return traded
    return None


def _changed(amounts: tuple[int, ...], file: int, by: int) -> tuple[int, ...]:
    return (*amounts[:file], amounts[file] + by, *amounts[file + 1 :])
