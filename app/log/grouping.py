"""Events for lists: what happened again and again at one place is one line with a count.

The log keeps every clip to the frame; only what a person reads is gathered.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from app.engine.events import EventKind
from app.log.records import TakeEvent

JOIN_S = 1.0
"""Clips of a channel no further apart than this are one line."""

LONGEST_S = 30.0
"""No line covers more than this."""

_GATHERED = frozenset({EventKind.CLIP, EventKind.POSSIBLE_CLIP, EventKind.BAD_SAMPLES})
_COUNTED = EventKind.BAD_SAMPLES
"""Its ``frames`` are a number of samples and no length."""


def grouped(events: Iterable[TakeEvent], rate_hz: int) -> list[TakeEvent]:
    """Gather events of one kind and channel that lie close together, in the order of their place.

    A gathered event reaches from the first to the last of its own; ``count`` is the sum of theirs, and peak
    and ``over_db`` are the highest.
    """
    lines: list[TakeEvent] = []
    newest: dict[tuple[str, int | None], tuple[int, int]] = {}
    for event in events:
        key = (event.kind, event.channel)
        end = event.frame + (0 if event.kind == _COUNTED else event.frames or 0)
        place, line_end = newest.get(key, (-1, 0))
        if (
            place >= 0
            and event.kind in _GATHERED
            and event.frame - line_end <= JOIN_S * rate_hz
            and end - lines[place].frame <= LONGEST_S * rate_hz
        ):
            end = max(end, line_end)
            lines[place] = _joined(lines[place], event, end)
        else:
            place = len(lines)
            lines.append(event)
        newest[key] = (place, end)
    return lines


def _joined(line: TakeEvent, event: TakeEvent, end: int) -> TakeEvent:
    together = (line.frames or 0) + (event.frames or 0)
    return replace(
        line,
        frames=together if line.kind == _COUNTED else end - line.frame,
        count=line.count + event.count,
        peak_dbfs=_highest(line.peak_dbfs, event.peak_dbfs),
        over_db=_highest(line.over_db, event.over_db),
    )


def _highest(one: float | None, other: float | None) -> float | None:
    return max((level for level in (one, other) if level is not None), default=None)
