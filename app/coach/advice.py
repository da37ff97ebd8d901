"""The rules: from levels of loud playing to a verdict, a wish in decibels and a reason. Pure functions."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from app.coach.evidence import Evidence, Levels
from app.coach.judgement import Reason, Target, Verdict
from app.coach.parts import PartProfile

# How far the highest peak of a stretch rises when the stretch gets e times as long: the median over sampled
# instruments and a spoken voice, rehearsals of 10 to 30 s against takes of 4 minutes (tests/bench/coach.py).
_TAIL_DB = 0.8

_NOISE_GAP_DB = 40.0

FLAT_TOPS_STEP_DB = -6.0
"""How far down to go when the overload lies before the converter and its height cannot be known."""


@dataclass(frozen=True, slots=True)
class Opinion:
    """What the rules say about the evidence of this moment, before anything holds it steady."""

    verdict: Verdict
    reason: Reason
    wanted_db: float
    """The change that would be best; shown only where the verdict asks for one."""
    values: Mapping[str, float] = field(default_factory=dict)


def take_allowance_db(
    profile: PartProfile, heard_s: float, take_s: float | None, *, grown: bool = False
) -> float:
    """How far the peak of the take to come will probably (in the median) lie above the peak heard so far.

    The player's growth, and what a longer stretch adds to its maximum: with an exponential tail of mean
    excess b dB, ``b·ln(1 + take/heard)``. Zero when what is heard is the take itself. A player who has played
    a take already has ``grown``.
    """
    if take_s is None:
        return 0.0
    growth = 0.0 if grown else profile.growth_db
    return growth + _TAIL_DB * math.log1p(take_s / max(heard_s, 1.0))


def weigh(
    levels: Levels,
    profile: PartProfile,
    target: Target,
    *,
    allowance_db: float = 0.0,
    margin_db: float = 0.0,
) -> Opinion:
    """Judge levels that did not clip.

    Parameters
    ----------
    allowance_db
        What the take will add to the peak, see :func:`take_allowance_db`.
    margin_db
        Widens the fair zone (positive) or narrows it (negative): hysteresis.
    """
    # The peaks have a window as wide as the average's, and it hangs from the ceiling. Advice aims at its
    # middle, where a player who grows more or less than most still lands inside.
    average, peak = levels.average_dbfs, levels.peak_dbfs
    expected = peak + allowance_db
    peak_window_db = target.window_high_dbfs - target.window_low_dbfs
    peak_low = target.ceiling_dbfs - peak_window_db
    by_average = target.average_dbfs - average
    by_peak = target.ceiling_dbfs - peak_window_db / 2 - expected
    wanted = by_peak if profile.rules == "peaks" else min(by_average, by_peak)
    values = {
        "average_dbfs": average,
        "peak_dbfs": peak,
        "ceiling_dbfs": target.ceiling_dbfs,
        "expected_peak_dbfs": expected,
    }

    def opinion(verdict: Verdict, reason: Reason) -> Opinion:
        return Opinion(verdict, reason, wanted, values)

    # A peak over the ceiling is a fact and needs no hysteresis on the way in: it stays in memory for a while.
    if peak > target.ceiling_dbfs + min(0.0, margin_db) or expected > target.ceiling_dbfs + margin_db:
        forecast = peak <= target.ceiling_dbfs and allowance_db > 0.0
        return opinion(Verdict.HIGH_WATER, Reason.TAKE_LOUDER if forecast else Reason.PEAKS_HIGH)
    if profile.rules == "average" and average > target.window_high_dbfs + margin_db:
        return opinion(Verdict.HIGH_WATER, Reason.AVERAGE_HIGH)
    if expected < peak_low - margin_db:
        if profile.rules == "peaks":
            return opinion(Verdict.LOW_WATER, Reason.PEAKS_LOW)
        if average < target.window_low_dbfs - margin_db:
            return opinion(Verdict.LOW_WATER, Reason.AVERAGE_LOW)
    if profile.rules == "average" and average < target.window_low_dbfs:
        return opinion(Verdict.FAIR_WATER, Reason.CEILING_NEAR)
    return opinion(Verdict.FAIR_WATER, Reason.IN_WINDOW)


def name_the_limit(opinion: Opinion, profile: PartProfile, floor_dbfs: float, hum_dbfs: float) -> Opinion:
    """Say that noise or hum is the limit, where the gain should go up and they would come along.

    Parameters
    ----------
    floor_dbfs
        Noise floor now; nan = unknown.
    hum_dbfs
        Level of the mains hum within it; nan = none.
    """
    if opinion.verdict is not Verdict.LOW_WATER or not math.isfinite(floor_dbfs):
        return opinion
    # The knob moves both, so what counts is how far the playing stands above the noise. The average of
    # percussive parts says little; 10 dB under their peaks takes its place.
    values = opinion.values
    average = values["average_dbfs"] if profile.rules == "average" else values["peak_dbfs"] - 10.0
    gap = average - floor_dbfs
    if gap >= _NOISE_GAP_DB:
        return opinion
    # As much hum as other noise, or more.
    reason = Reason.HUM_NEAR if hum_dbfs >= floor_dbfs - 3.0 else Reason.NOISE_NEAR
    return replace(
        opinion, reason=reason, values={**values, "noise_gap_db": gap, "noise_floor_dbfs": floor_dbfs}
    )


def weigh_clipped(
    levels: Levels | None,
    profile: PartProfile,
    target: Target,
    *,
    allowance_db: float,
    evidence: Evidence | None = None,
) -> Opinion:
    """Judge playing that clipped: its true peak is hidden, so the advice is an estimate.

    What must go at the least is the way from full scale to the ceiling.

    Parameters
    ----------
    evidence
        What the levels were read from, which lets some of the hidden peaks be seen; without it the part's
        usual crest over the average has to do.
    """
    hidden = 0.0
    if levels is not None:
        usual = levels.average_dbfs + profile.crest_db
        witnesses = (usual,) if evidence is None else evidence.hidden_peaks_dbfs(usual)
        hidden = max(0.0, sum(witnesses) / len(witnesses))
    peak_window_db = target.window_high_dbfs - target.window_low_dbfs
    wanted = target.ceiling_dbfs - peak_window_db / 2 - allowance_db - hidden
    return Opinion(
        Verdict.AWASH, Reason.CLIPPED, wanted, {"hidden_db": hidden, "least_db": -target.ceiling_dbfs}
    )
