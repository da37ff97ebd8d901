"""Takes side by side: their figures, and which is technically the safest, by a rule that can be told.

The rule, each point before the next: fewest clips; least that is missing (lost frames, or an end that was not
seen); fewest signs of an overload before the converter; least over the peak ceiling; nearest to the window.
It says nothing about the music. A take that still runs, or in which nothing was heard, is left out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from app.coach.judgement import Target
from app.coach.parts import PartProfile, find_part
from app.engine.events import EventKind
from app.errors import UsageError
from app.log.records import LevelTrace, TakeDetail, TakeRow, TakeState

STEP_DB = 1.0
"""Levels are told apart in steps of this size."""

_HAIR = 1e-9

_LOUD_DB = 10.0
"""Loud playing is what comes within so much of the highest average."""


class Ground(StrEnum):
    """What decided, in the order of the rule. The values are those of the JSON contract."""

    CLIPS = "clips"
    MISSING = "missing"
    POSSIBLE_CLIPS = "possible_clips"
    CEILING = "ceiling"
    WINDOW = "window"
    ALIKE = "alike"
    """Nothing that the rule knows tells them apart."""
    TOO_FEW = "too_few"
    """Fewer than two takes can be judged."""


class LeftOut(StrEnum):
    """Why a take cannot be judged."""

    RUNS = "runs"
    SILENT = "silent"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Standing:
    """One take with the figures that the rule goes by."""

    take: TakeDetail
    clips: int
    clips_s: tuple[float, ...]
    """Where they are, in seconds from the start of the take."""
    possible_clips: int
    lost_s: float
    whole: bool
    """It ended as asked."""
    peak_dbfs: float | None
    loud_average_dbfs: float | None
    """Median of the slow average over loud playing."""
    noise_floor_dbfs: float | None
    """The noisiest channel's."""
    over_db: float | None
    """How far the peak passes the ceiling; 0 where it does not."""
    off_window_db: float | None
    """How far it sits from where its part should."""
    left_out: LeftOut | None = None

    @property
    def number(self) -> int:
        """The take's number."""
        return self.take.row.number


@dataclass(frozen=True, slots=True)
class Comparison:
    """What comes of comparing."""

    standings: tuple[Standing, ...]
    """In the order that was asked for."""
    safest: Standing | None
    ground: Ground
    next_best: Standing | None = None
    """The one that the ground tells it from."""
    alike: tuple[Standing, ...] = ()
    """The best, where the rule cannot choose among them."""
    target: Target = field(default_factory=Target)


def compare(
    takes: Sequence[TakeDetail],
    target: Target | None = None,
    parts: Mapping[str, PartProfile] | None = None,
) -> Comparison:
    """Compare takes by the rule of this module.

    Parameters
    ----------
    takes
        Two or more; the same take twice counts once.
    target
        Where playing should sit.
    parts
        What is known of parts; those that come with the program when None.
    """
    target = target or Target()
    unique = {take.row.number: take for take in takes}.values()
    standings = tuple(standing(take, target, parts) for take in unique)
    judged = sorted((each for each in standings if each.left_out is None), key=_key)
    if len(judged) < 2:
        return Comparison(standings, None, Ground.TOO_FEW, target=target)
    first, second = judged[:2]
    ground = _tells_apart(first, second)
    if ground is Ground.ALIKE:
        alike = tuple(each for each in judged if _tells_apart(first, each) is Ground.ALIKE)
        return Comparison(standings, None, ground, alike=alike, target=target)
    return Comparison(standings, first, ground, second, target=target)


def standing(
    take: TakeDetail, target: Target | None = None, parts: Mapping[str, PartProfile] | None = None
) -> Standing:
    """The figures of one take."""
    target = target or Target()
    row = take.row
    peaks = [channel.peak_dbfs for channel in take.per_channel]
    peak_dbfs = _highest(peaks, row.peak_dbfs)
    if peak_dbfs == -math.inf and None in peaks:  # a silent channel says nothing about the other
        peak_dbfs = None
    average_dbfs = loud_average_dbfs(take.trace)
    clips = [event for event in take.events if event.kind == EventKind.CLIP]
    return Standing(
        take=take,
        clips=row.clips,
        clips_s=tuple(event.frame / row.rate_hz for event in clips),
        possible_clips=sum(event.count for event in take.events if event.kind == EventKind.POSSIBLE_CLIP),
        lost_s=row.lost_frames / row.rate_hz,
        whole=row.state is TakeState.CLOSED,
        peak_dbfs=peak_dbfs,
        loud_average_dbfs=average_dbfs,
        noise_floor_dbfs=_highest([channel.noise_floor_dbfs for channel in take.per_channel]),
        over_db=None if peak_dbfs is None else max(0.0, peak_dbfs - target.ceiling_dbfs),
        off_window_db=_off_window_db(_profile(row.part, parts), average_dbfs, peak_dbfs, target),
        left_out=_left_out(row, peak_dbfs),
    )


def loud_average_dbfs(trace: LevelTrace) -> float | None:
    """Median of the slow average over what comes within 10 dB of its highest; None without sound."""
    levels = trace.average_dbfs
    levels = levels[np.isfinite(levels)]
    if not levels.size:
        return None
    return float(np.median(levels[levels >= levels.max() - _LOUD_DB]))


def counterpart(row: TakeRow, others: Sequence[TakeRow]) -> TakeRow | None:
    """The take of an earlier session that another one is best held against.

    One of the same part, if possible of the same name, if possible marked to keep; the newest of those.
    """
    earlier = [
        other
        for other in others
        if other.number < row.number and other.session != row.session and other.part == row.part
    ]
    name = row.name.casefold()
    return max(
        earlier,
        key=lambda other: (bool(name) and other.name.casefold() == name, other.kept, other.number),
        default=None,
    )


def _left_out(row: TakeRow, peak_dbfs: float | None) -> LeftOut | None:
    if row.state is TakeState.OPEN:
        return LeftOut.RUNS
    if peak_dbfs is None:
        return LeftOut.UNKNOWN
    return LeftOut.SILENT if math.isinf(peak_dbfs) else None


def _off_window_db(
    profile: PartProfile, average_dbfs: float | None, peak_dbfs: float | None, target: Target
) -> float | None:
    if profile.rules == "peaks":  # the ceiling is what such a part is set by
        return None if peak_dbfs is None else abs(target.ceiling_dbfs - peak_dbfs)
    if average_dbfs is None:
        return None
    return max(target.window_low_dbfs - average_dbfs, average_dbfs - target.window_high_dbfs, 0.0)


def _profile(part: str, parts: Mapping[str, PartProfile] | None) -> PartProfile:
    try:
        return find_part(part or "other", parts)
    except UsageError:  # a part of somebody else's making
        return find_part("other")


def _measures(each: Standing) -> tuple[tuple[Ground, tuple[float, ...] | None], ...]:
    """What the rule goes by, point by point, less being better; None where it is not known."""
    return (
        (Ground.CLIPS, (each.clips,)),
        (Ground.MISSING, (not each.whole, each.lost_s)),
        (Ground.POSSIBLE_CLIPS, (each.possible_clips,)),
        (Ground.CEILING, _step(each.over_db)),
        (Ground.WINDOW, _step(each.off_window_db)),
    )


def _step(level_db: float | None) -> tuple[float, ...] | None:
    """Levels in steps, so that a hair's breadth decides nothing; 0 is a step of its own."""
    return None if level_db is None else (math.ceil(level_db / STEP_DB - _HAIR),)


def _key(each: Standing) -> tuple[tuple[float, ...], ...]:
    # What is not known comes after every figure, and of equals the newest first.
    return (*(value or (math.inf,) for _, value in _measures(each)), (-each.number,))


def _tells_apart(first: Standing, second: Standing) -> Ground:
    for (ground, one), (_, other) in zip(_measures(first), _measures(second), strict=True):
        if one is not None and other is not None and one != other:
            return ground
    return Ground.ALIKE


def _highest(levels: Sequence[float | None], otherwise: float | None = None) -> float | None:
    return max((level for level in levels if level is not None), default=otherwise)
