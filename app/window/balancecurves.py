"""What the picture of the headphone balance shows, as plain numbers; whoever draws it computes nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.coach.balance import Balance
from dsp.audibility import HEARD_SHARE
from dsp.decibels import power_to_db
from dsp.track import STEP_S, Track
from dsp.types import Floats

_WINDOW_S = 3.0
_LOW, _HIGH = 10.0, 90.0
_MOMENT_S = 0.2
_GATE_LU = 20.0
_LEAST_LUFS, _MOST_LUFS = -60.0, 0.0
_MARGIN_LU = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """Loudness on headphones over the song: one channel counts in both ears."""

    duration_s: float
    t_s: Floats
    """(points,): the middle of each 3 s."""
    now_lufs: Floats
    """(points,): the backing as it is."""
    then_lufs: Floats
    """(points,): the backing turned down."""
    part_lufs: tuple[float, float] | None
    """Between which loudnesses the part plays most of the time; None while it is not known."""
    lost_now: Sequence[tuple[float, float]]
    """Where in the song the part is lost, in seconds from and to."""
    lost_then: Sequence[tuple[float, float]]
    bottom_lufs: float
    top_lufs: float


def curves(part: Track | None, backing: Sequence[Track], balance: Balance) -> Curves:
    """Lay everything side by side."""
    length = max(track.short_term_lufs.size for track in backing)
    now, then = np.zeros(length), np.zeros(length)
    for track, file in zip(backing, balance.files, strict=True):
        power = np.nan_to_num(10.0 ** ((track.short_term_lufs + track.in_both_ears_lu) / 10.0))
        now[: power.size] += power
        then[: power.size] += power * 10.0 ** (-file.pull_down_db / 10.0)
    first = min(length, round(_WINDOW_S / STEP_S) - 1)
    now_lufs, then_lufs = (np.array(power_to_db(power[first:])) for power in (now, then))
    span = None if part is None else _span(part)
    course = balance.course
    lost: list[Sequence[tuple[float, float]]] = [(), ()]
    if course is not None:
        lost = [_stretches(course.t_s, left) for left in (course.left_before, course.left_after)]
    levels = [now_lufs.max(initial=-math.inf)]
    lows = [float(np.percentile(then_lufs, _LOW)) if then_lufs.size else -math.inf]
    if span is not None:
        levels.append(span[1])
        lows.append(span[0])
    return Curves(
        duration_s=max(track.duration_s for track in backing),
        t_s=np.asarray((np.arange(first, length) + 1) * STEP_S - _WINDOW_S / 2, np.float64),
        now_lufs=now_lufs,
        then_lufs=then_lufs,
        part_lufs=span,
        lost_now=lost[0],
        lost_then=lost[1],
        bottom_lufs=max(_LEAST_LUFS, min(lows) - 2 * _MARGIN_LU),
        top_lufs=min(_MOST_LUFS, max(max(levels) + _MARGIN_LU, _LEAST_LUFS + 4 * _MARGIN_LU)),
    )


def _span(part: Track) -> tuple[float, float] | None:
    levels = part.short_term_lufs[np.isfinite(part.short_term_lufs)]
    middle = part.short_term_p50_lufs
    if not levels.size or math.isnan(middle):
        return None
    playing = levels[levels >= middle - _GATE_LU] + part.in_both_ears_lu
    low, high = np.percentile(playing, (_LOW, _HIGH))
    return float(low), float(high)


def _stretches(t_s: Floats, left: Floats) -> list[tuple[float, float]]:
    """Where less than what is heard is left, moments that follow on one another taken together."""
    moments = np.unique(np.rint(t_s[left < HEARD_SHARE] / _MOMENT_S).astype(np.int64))
    if not moments.size:
        return []
    breaks = np.flatnonzero(np.diff(moments) > 1)
    starts = np.concatenate(([0], breaks + 1))
    ends = np.concatenate((breaks, [moments.size - 1]))
    return [
        (float(moments[start] * _MOMENT_S), float((moments[end] + 1) * _MOMENT_S))
        for start, end in zip(starts, ends, strict=True)
    ]
