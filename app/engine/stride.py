"""How many hops the analysis takes at once: as few as nobody notices.

A hop at a time costs twice what three at a time do. Whoever shows the figures says when it will look, and the
reads are cut so that one ends just before: what is seen is as new as with single hops.

Threads: :meth:`Stride.look_at` and :meth:`Stride.set_seen` come from the window's thread, the rest from the
analysis thread; each value is one reference, swapped whole.
"""

from __future__ import annotations

_UNSEEN_HOPS = 20
"""Hops a read of a live input while nobody looks: a quarter of the work, and 190 ms later."""
_MOST_SEEN_HOPS = 5
"""However seldom somebody looks: commands, takes and listeners wait for no more."""
_READY_S = 0.002
"""So long before a look the hops must have come: they are measured in about half of it."""
_KEEPS_S = 0.5
"""Somebody who has not looked for so long has stopped, or was held up: single hops again."""


class Stride:
    """Decides for one reader of live inputs."""

    def __init__(self) -> None:
        self._seen = True
        self._looks: tuple[float, float] | None = None

    def set_seen(self, seen: bool) -> None:
        """Tell whether somebody looks at a screen at all."""
        self._seen = seen
        self._looks = None

    def look_at(self, next_s: float, every_s: float) -> None:
        """Tell when (``time.monotonic()``) somebody will look, and how much time lies between looks."""
        self._looks = (next_s, every_s)

    def hops(self, now_s: float, hop_s: float) -> int:
        """How many hops to take, when all that came up to ``now_s`` was taken."""
        if not self._seen:
            return _UNSEEN_HOPS
        looks = self._looks
        if looks is None:
            return 1
        next_s, every_s = looks
        if every_s <= hop_s or now_s - next_s > _KEEPS_S:
            return 1
        left_s = next_s - _READY_S - now_s
        while left_s < hop_s:  # too late for this look: the one after it is to be served
            left_s += every_s
        return max(1, min(_MOST_SEEN_HOPS, int(left_s / hop_s)))
