"""What the page of channels needs from the rest of the program."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class ChannelSeat:
    """What the user said about one channel."""

    name: str = ""
    """Empty: what the input calls it, or its number."""
    part: str = ""
    """The key of a part; empty: the one that is chosen for the whole input."""
    ceiling_dbfs: float | None = None
    """What its peaks should stay under; None: as usual."""


class ChannelDesk(Protocol):
    """Names channels of the input that is open, and gives them parts and targets. Columns count from 0."""

    def opened(self, spec: str) -> None:
        """Another input was opened; called right after the engine was told."""
        ...

    def seat(self, channel: int) -> ChannelSeat:
        """What was said about a channel."""
        ...

    def seat_channel(self, channel: int, seat: ChannelSeat) -> None:
        """Say it, and remember it."""
        ...


class NoChannels:
    """Nobody said anything, and nothing is remembered."""

    def opened(self, spec: str) -> None:
        """Nothing to do."""

    def seat(self, channel: int) -> ChannelSeat:  # noqa: ARG002 - the protocol's signature
        """Nothing was said."""
        return ChannelSeat()

    def seat_channel(self, channel: int, seat: ChannelSeat) -> None:
        """Nothing to do."""
