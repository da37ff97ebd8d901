"""Names channels and gives each its part and its target, and remembers them with the input."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Protocol

from app.cli.takedesk import TakeDesk
from app.coach.judgement import HIGHEST_CEILING_DBFS, LOWEST_CEILING_DBFS
from app.engine.loop import Engine
from app.inputs.spec import PlayerSpec, parse_spec
from app.window.channelports import ChannelSeat

_LONGEST_NAME = 40
_MOST_CHANNELS = 256


class Memory(Protocol):
    """What is remembered between runs; see :class:`app.settings.Memory`."""

    def get(self, name: str) -> str | None:
        """What was put last, or None."""
        ...

    def put(self, name: str, value: str) -> None:
        """Remember."""
        ...


class ChannelDesk:
    """Who sits where on the input that is open: what the page of channels works on.

    Parameters
    ----------
    engine, takes
        Who is to call channels by their names, and who judges them by their parts.
    memory
        Where it is kept, for each input by itself.
    """

    def __init__(self, engine: Engine, takes: TakeDesk, memory: Memory) -> None:
        self._engine, self._takes, self._memory = engine, takes, memory
        self._key = ""
        self._seats: dict[int, ChannelSeat] = {}

    def opened(self, spec: str) -> None:
        """Another input was opened: call its channels what they were called before."""
        self._key = _memory_key(spec)
        self._seats = _read(self._memory.get(self._key))
        self._apply()

    def seat(self, channel: int) -> ChannelSeat:
        """What was said about a channel (column index, from 0)."""
        return self._seats.get(channel, ChannelSeat())

    def seat_channel(self, channel: int, seat: ChannelSeat) -> None:
        """Say it, and remember it."""
        seat = replace(seat, name=seat.name.strip()[:_LONGEST_NAME])
        if seat == self.seat(channel):
            return
        self._seats[channel] = seat
        self._memory.put(self._key, _written(self._seats))
        self._apply()

    def _apply(self) -> None:
        count = max(self._seats, default=-1) + 1
        self._engine.name_channels([self.seat(channel).name for channel in range(count)])
        self._takes.choose_channel_parts({channel: seat.part for channel, seat in self._seats.items()})
        ceilings = {channel: seat.ceiling_dbfs for channel, seat in self._seats.items()}
        self._takes.choose_channel_ceilings(
            {channel: ceiling for channel, ceiling in ceilings.items() if ceiling is not None}
        )


def _memory_key(spec: str) -> str:
    """One entry an input; the built-in player is the same one wherever its knob stands."""
    asked = parse_spec(spec)
    return (
        f"channels of player:{asked.part or ''}" if isinstance(asked, PlayerSpec) else f"channels of {spec}"
    )


def _written(seats: Mapping[int, ChannelSeat]) -> str:
    known = {channel: seat for channel, seat in sorted(seats.items()) if seat != ChannelSeat()}
    # Numbers as printed on the interface, from 1, for whoever looks into the file.
    return json.dumps(
        {str(channel + 1): _entry(seat) for channel, seat in known.items()},
        ensure_ascii=False,
    )


def _entry(seat: ChannelSeat) -> dict[str, str | float]:
    entry: dict[str, str | float] = {"name": seat.name, "part": seat.part}
    if seat.ceiling_dbfs is not None:
        entry["peaks_under_dbfs"] = seat.ceiling_dbfs
    return entry


def _read(text: str | None) -> dict[int, ChannelSeat]:
    """What was written; whatever makes no sense counts as never said."""
    try:
        found = json.loads(text or "{}")
    except (ValueError, RecursionError):
        return {}
    seats = {}
    for number, seat in found.items() if isinstance(found, dict) else ():
        if not (number.isascii() and number.isdigit() and 1 <= int(number[:9]) <= _MOST_CHANNELS):
            continue
        if isinstance(seat, dict):
            name, part = seat.get("name", ""), seat.get("part", "")
            if isinstance(name, str) and isinstance(part, str):
                ceiling = _ceiling(seat.get("peaks_under_dbfs"))
                seats[int(number) - 1] = ChannelSeat(name[:_LONGEST_NAME], part, ceiling)
    return seats


def _ceiling(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if LOWEST_CEILING_DBFS <= value <= HIGHEST_CEILING_DBFS else None
