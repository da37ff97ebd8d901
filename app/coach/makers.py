"""Makes coaches: live ones and those of whole takes, for one part or for a part of each channel."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import TypeAlias

from app.coach.judgement import Target
from app.coach.parts import PartProfile
from app.coach.verdict import Coach

CoachMaker: TypeAlias = Callable[[int, int, int], Coach]
"""Makes a coach for (channels, rate_hz, hop_frames)."""


@dataclass(frozen=True, slots=True)
class Parts:
    """What each channel of an input plays."""

    default: PartProfile
    """On every channel that nobody said more about."""
    own: Mapping[int, PartProfile] = field(default_factory=dict)
    """By column index, from 0; an index that the input does not have is let be."""

    def of(self, channel: int) -> PartProfile:
        """The part of one channel, by its column index."""
        return self.own.get(channel, self.default)

    def each(self, channels: int) -> list[PartProfile]:
        """The parts of so many channels, in order."""
        return [self.of(channel) for channel in range(channels)]


@dataclass(frozen=True, slots=True)
class Targets:
    """Where each channel of an input should sit."""

    default: Target = field(default_factory=Target)
    """Of every channel that nobody said more about."""
    own: Mapping[int, Target] = field(default_factory=dict)
    """By column index, from 0; an index that the input does not have is let be."""

    def of(self, channel: int) -> Target:
        """The target of one channel, by its column index."""
        return self.own.get(channel, self.default)

    def each(self, channels: int) -> list[Target]:
        """The targets of so many channels, in order."""
        return [self.of(channel) for channel in range(channels)]


def live_coach(parts: PartProfile | Parts, target: Target | Targets | None = None) -> CoachMaker:
    """Make coaches for live input."""
    return partial(_coach, parts, target or Target(), {})


def take_coach(parts: PartProfile | Parts, target: Target | Targets | None = None) -> CoachMaker:
    """Make coaches that judge a whole take by what was played in it."""
    return partial(_coach, parts, target or Target(), {"memory_s": None, "take_s": None})


def _coach(
    parts: PartProfile | Parts,
    target: Target | Targets,
    memory: Mapping[str, None],
    channels: int,
    rate_hz: int,
    hop_frames: int,
) -> Coach:
    return Coach(
        channels,
        rate_hz,
        hop_frames,
        profile=parts.each(channels) if isinstance(parts, Parts) else parts,
        target=target.each(channels) if isinstance(target, Targets) else target,
        **memory,
    )
