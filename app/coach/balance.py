"""How far to pull a backing down in the headphones, so that a part is heard without more gain."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from app.coach.overlay import HEARD_TIME, RANGES_HZ, Heard, Overlay
from app.coach.pulldown import MOST_DB, equal_pull_down, smallest_pull_down
from dsp.decibels import power_to_db
from dsp.track import Track
from dsp.types import Floats

FINISHED_DB = 10
"""The least that a finished track goes down: it is that much denser than any raw part."""
DEEP_DB = 24
"""More than that, for one file, is told to be rare."""
SHORTEST_S = 3.0
"""A short-term loudness needs so much."""

# What a finished track is told by: as loud as services deliver music, and peaks that were held down. A raw
# mix has 15 dB and more from loudness to true peak.
_FINISHED_LUFS = -16.0
_FINISHED_PEAK_TO_LOUDNESS_DB = 14.0

_SEARCHED_MOMENTS = 320
"""A minute of playing. The search over several files uses no more, and all of it confirms the result."""


class BalanceReason(StrEnum):
    """Why this much."""

    HEARD = "heard"
    """The part is heard as it is."""
    HIDDEN = "hidden"
    """The part is not heard for long enough."""
    FINISHED = "finished"
    """The part needs less than a finished track goes down by in any case."""
    NOTHING_PLAYED = "nothing_played"
    """No part has been heard yet; the backing is a finished track."""
    WAITING = "waiting"
    """No part has been heard yet; the backing is no finished track."""
    BACKING_SILENT = "backing_silent"
    OUT_OF_REACH = "out_of_reach"
    """Even the most is not enough: the part is far too quiet."""


@dataclass(frozen=True, slots=True)
class FileBalance:
    """One file of the backing."""

    pull_down_db: int
    alone_before: float | None
    """Share of the part's playing time in which it would be heard over this file alone."""
    alone_after: float | None
    in_the_way: float
    """Which share of what the part loses is lost to this file, before anything is pulled down."""
    in_the_way_hz: tuple[int, int] | None
    """The range of pitch in which it takes most."""


@dataclass(frozen=True, slots=True)
class RangeBalance:
    """Audibility in one range of pitch; None where the part has nothing there."""

    low_hz: int
    high_hz: int
    before: float | None
    after: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The part over the time of the backing: (moments,) each, of 0.2 s, where it plays, or everywhere."""

    t_s: Floats
    """Where in the backing. A short part comes twice: as it was played, and over the fullest passage."""
    left_before: Floats
    """Share of its own loudness that is left; it is heard from :data:`dsp.audibility.HEARD_SHARE` on."""
    left_after: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Balance:
    """The advice."""

    reason: BalanceReason
    values: Mapping[str, float]
    """Figures for the sentence, their unit in the name."""
    files: Sequence[FileBalance]
    equal_pull_down_db: int
    """What every file would have to go down by if all went down alike."""
    gap_lu: float | None
    """How far the loudest 3 s of the whole backing stand above the part's middle, as heard on headphones."""
    before: Heard | None
    after: Heard | None
    ranges: Sequence[RangeBalance] = field(default=())
    course: Course | None = None

    @property
    def deep_hz(self) -> tuple[int, int] | None:
        """Where the only file is in the way, when it has to go down by more than :data:`DEEP_DB`."""
        if self.reason is BalanceReason.HIDDEN and len(self.files) == 1:
            return self.files[0].in_the_way_hz if self.values["needed_db"] > DEEP_DB else None
        return None

    @property
    def needs_action(self) -> bool:
        """Whether anything has to be pulled down."""
        return any(file.pull_down_db for file in self.files)


def is_finished(track: Track) -> bool:
    """Whether a file is as loud and as dense as music that is finished."""
    return (
        track.integrated_lufs >= _FINISHED_LUFS and track.peak_to_loudness_db <= _FINISHED_PEAK_TO_LOUDNESS_DB
    )


def advise(
    part: Track | None,
    backing: Sequence[Track],
    more_me_db: int = 0,
    part_starts_s: float = 0.0,
    *,
    placed: bool = True,
) -> Balance:
    """Say how far every file of the backing should go down.

    Parameters
    ----------
    part
        What was played; None, or silent, before anything has been heard.
    backing
        One file, or several that begin and sound together.
    more_me_db
        What the player wants on top, 0 or more.
    part_starts_s
        Where in the backing the part begins, 0 or more.
    placed
        Whether that is known. If not, the course tells how the part's usual sound fares all over the song.

    Raises
    ------
    ValueError
        Without a backing, or for a negative wish or start.
    """
    if not backing or more_me_db < 0 or part_starts_s < 0.0:
        given = f"{len(backing)} files, {more_me_db} dB more, a start at {part_starts_s} s"
        raise ValueError(f"{given}: a file or more and nothing negative are expected")
    if all(track.silent for track in backing):
        return _unheard(backing, BalanceReason.BACKING_SILENT, 0)
    finished = len(backing) == 1 and is_finished(backing[0])
    if part is None or part.silent:
        if finished:
            return _unheard(backing, BalanceReason.NOTHING_PLAYED, FINISHED_DB + more_me_db)
        return _unheard(backing, BalanceReason.WAITING, 0)

    overlay = Overlay(part, backing, part_starts_s)
    needed = _needed(overlay, backing)
    least = FINISHED_DB if finished else 0
    amounts = tuple(
        max(least, amount) + (0 if track.silent else more_me_db)
        for amount, track in zip(needed, backing, strict=True)
    )
    as_it_is = (0,) * len(backing)
    before, after = overlay.heard(as_it_is), overlay.heard(amounts)
    gap_lu = _gap_lu(part, backing)
    if not overlay.heard(needed).enough:
        reason = BalanceReason.OUT_OF_REACH
    elif least > max(needed):
        reason = BalanceReason.FINISHED
    else:
        reason = BalanceReason.HIDDEN if any(needed) else BalanceReason.HEARD
    ranges = zip(RANGES_HZ, overlay.heard_by_range(as_it_is), overlay.heard_by_range(amounts), strict=True)
    return Balance(
        reason=reason,
        values={
            "gap_lu": gap_lu,
            "heard_before_pct": 100.0 * before.all_of_it,
            "heard_after_pct": 100.0 * after.all_of_it,
            "wanted_pct": 100.0 * HEARD_TIME,
            "needed_db": float(max(needed)),
            "least_db": float(least),
            "most_db": float(MOST_DB),
        },
        files=_files(overlay, backing, amounts),
        equal_pull_down_db=equal_pull_down(len(backing), lambda each: overlay.heard(each).margin),
        gap_lu=gap_lu if math.isfinite(gap_lu) else None,
        before=before,
        after=after,
        ranges=tuple(RangeBalance(low, high, was, becomes) for (low, high), was, becomes in ranges),
        course=_course(overlay, as_it_is, amounts, placed=placed),
    )


def _course(overlay: Overlay, before: Sequence[int], after: Sequence[int], *, placed: bool) -> Course:
    if placed:
        return Course(overlay.t_s, overlay.left(before), overlay.left(after))
    t_s, left_before = overlay.anywhere(before)
    return Course(t_s, left_before, overlay.anywhere(after)[1])


def _needed(overlay: Overlay, backing: Sequence[Track]) -> tuple[int, ...]:
    """The smallest pull-down that makes the part heard; silent files stay where they are."""
    sounding = [number for number, track in enumerate(backing) if not track.silent]

    def spread(amounts: tuple[int, ...]) -> tuple[int, ...]:
        of_file = dict(zip(sounding, amounts, strict=True))
        return tuple(of_file.get(number, 0) for number in range(len(backing)))

    few = overlay if len(sounding) == 1 else overlay.thinned(_SEARCHED_MOMENTS)
    amounts = smallest_pull_down(len(sounding), lambda each: few.heard(spread(each)).margin)
    if few is overlay:
        return spread(amounts)
    # What was left out of the search may ask for a decibel or two more.
    while overlay.heard(spread(amounts)).margin < 0.0 and min(amounts) < MOST_DB:
        more = [
            tuple(amount + (number == file) for number, amount in enumerate(amounts))
            for file in range(len(amounts))
            if amounts[file] < MOST_DB
        ]
        amounts = max(more, key=lambda each: overlay.heard(spread(each)).margin)
    return spread(amounts)


def _files(overlay: Overlay, backing: Sequence[Track], amounts: tuple[int, ...]) -> tuple[FileBalance, ...]:
    blame = overlay.in_the_way()
    files = []
    for number, (track, amount) in enumerate(zip(backing, amounts, strict=True)):
        others_out = [math.inf] * len(backing)
        others_out[number] = 0.0
        alone_before = overlay.heard(others_out)
        others_out[number] = float(amount)
        worst = RANGES_HZ[int(np.argmax(blame[number]))] if blame[number].any() else None
        files.append(
            FileBalance(
                pull_down_db=amount,
                alone_before=alone_before.all_of_it,
                alone_after=overlay.heard(others_out).all_of_it,
                in_the_way=float(blame[number].sum()),
                in_the_way_hz=None if track.silent else worst,
            )
        )
    return tuple(files)


def _gap_lu(part: Track, backing: Sequence[Track]) -> float:
    """Loudest 3 s of the backing over the middle of the part, one channel counted as heard in both ears.

    Powers of several files add up at every moment.
    """
    length = max(track.short_term_lufs.size for track in backing)
    power = np.zeros(length)
    for track in backing:
        lufs = track.short_term_lufs + track.in_both_ears_lu
        power[: lufs.size] += np.nan_to_num(10.0 ** (lufs / 10.0))
    loudest = power_to_db(float(power.max(initial=0.0)))
    return loudest - part.short_term_p50_lufs - part.in_both_ears_lu


def _unheard(backing: Sequence[Track], reason: BalanceReason, amount: int) -> Balance:
    return Balance(
        reason=reason,
        values={"least_db": float(amount)},
        files=tuple(FileBalance(amount, None, None, 0.0, None) for _ in backing),
        equal_pull_down_db=amount,
        gap_lu=None,
        before=None,
        after=None,
    )
