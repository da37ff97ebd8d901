"""The guided gain session: quiet, loud, turn, check. A state machine without a clock, a screen or a word.

It is fed with the same hops as the coach, and answers with a step, a cue for the player and a number. Anybody
may leave it at any time or skip a step: the live verdict does not depend on it.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from app.coach.advice import Opinion, name_the_limit, take_allowance_db, weigh, weigh_clipped
from app.coach.evidence import Evidence, Levels
from app.coach.follow import KnobFollower
from app.coach.forecast import Forecast, forecast
from app.coach.judgement import Reason, Target, Verdict
from app.coach.parts import PartProfile
from app.coach.steady import whole_decibels
from app.coach.ticks import TICK_S, TickCutter, playing_threshold_dbfs
from dsp.reading import Clip, ClipKind
from dsp.types import Floats

QUIET_S = 3.0
LOUD_PLAYING_S = 40.0
LOUD_MOST_S = 55.0
LOUD_S = 3.0
CHECK_PLAYING_S = 8.0
CHECK_LOUD_S = 2.0
CHECK_MOST_S = 20.0

# Quiet is steady and not loud: somebody who holds a note is steady too.
_QUIET_SPREAD_DB = 4.0
_LOUDEST_QUIET_DBFS = -36.0
# Still rising: the highest second is one of the last two.
_RISING_BLOCKS = 2
# Near enough to stop, and how far off it must be afterwards to ask for more; playing wanders, noise does not.
_TOLERANCE_DB = 1.5
_LEAVE_DB = {True: 2.5, False: 3.5}
_THERE_TICKS = 12
# No hand turns less than this with any aim, and whoever is off by less is as good as there.
_LEAST_MOVE_DB = 2
# Playing wanders: a smaller turn than this cannot be told from it, so that only noise, or a check, can tell.
_LEAST_HEARD_DB = 4
_UNSEEN_TURN_S = 8.0
# A cue changes after so many ticks that ask for it, and what is left of the turn after such a difference.
_CUE_TICKS = {True: 2, False: 4}
_REMAINING_BAND_DB = {True: 0.7, False: 1.5}
# Whoever is at the knob may as well aim at the middle: the fair zone is narrower than the live verdict's.
_LOUD_MARGIN_DB = -3.0
# A second full pass, after one that clipped, is worth another turn only where that gains something.
_AGAIN_MARGIN_DB = -1.0
# The check is short, and nobody plays the same thing twice. Too loud is a fact; too soft is one only where
# the playing lies further under what the turn should have given than players vary.
_CHECK_MARGIN_DB = 1.0
_CHECK_SOFTER_DB = 6.0


class Step(StrEnum):
    """Where the session stands."""

    QUIET = "quiet"
    LOUD = "loud"
    TURN = "turn"
    CHECK = "check"
    DONE = "done"


class Cue(StrEnum):
    """What the player should hear now; :mod:`app.words` has the sentence for each."""

    BE_QUIET = "be_quiet"
    SOMEBODY_PLAYS = "somebody_plays"
    """Not steady enough to be quiet."""
    PLAY_LOUDEST = "play_loudest"
    KEEP_PLAYING = "keep_playing"
    STILL_RISING = "still_rising"
    """It got louder a moment ago: the loudest part was not reached before."""
    PLAY_LOUDER = "play_louder"
    """Plenty of playing, too little of it loud: that was not full effort."""
    TURN = "turn"
    MORE = "more"
    """Some of the way is done."""
    THERE = "there"
    TOO_FAR = "too_far"
    PLAY_AGAIN = "play_again"
    """To check the new setting."""
    DONE = "done"
    UNCHECKED = "unchecked"
    """The end too, but nobody played after the turn."""


@dataclass(frozen=True, slots=True)
class SessionState:
    """What to show."""

    step: Step
    cue: Cue
    progress: float
    """0 to 1 within the step; 0 where a step has no measure of its own."""
    gain_change_db: int = 0
    """The change asked for, as it was when the step began."""
    remaining_db: float = 0.0
    """What is left of it, followed live while the knob is turned, and held still while it hardly changes."""
    opinion: Opinion | None = None
    """What the change rests on."""
    moves: int = 0
    """How often the session asked for the knob to be turned."""
    quiet_dbfs: float | None = None
    forecast: Forecast | None = None
    """For a take at the setting that the session asks for."""
    follows_noise: bool = False
    """Whether the knob can be followed in a pause, which is quicker; otherwise somebody must play."""
    follows_playing: bool = True
    """Whether the turn is large enough to be heard in the playing. Where neither tells, the check does."""


class GuidedSession:
    """Guides one channel to its gain.

    Parameters
    ----------
    profile, target
        What is played, and where it should sit.
    hop_s
        Length of a hop.
    take_s
        How long the take to come is.
    """

    def __init__(self, profile: PartProfile, target: Target, hop_s: float, take_s: float = 240.0) -> None:
        self._profile = profile
        self._target = target
        self._take_s = take_s
        self._cutter = TickCutter(hop_s)
        self.restart()

    def restart(self) -> None:
        """Begin again with the quiet."""
        self._quiet_dbfs = math.nan
        self._moves = 0
        self._asked_db = 0
        self._follower: KnobFollower | None = None
        self._opinion: Opinion | None = None
        self._forecast: Forecast | None = None
        self._loud_average_dbfs = math.nan
        self._loud_peak_dbfs = math.nan
        self._loud_playing_s = 0.0
        self._loud_ticks: list[float] = []
        self._needs_full_pass = False
        self._enter(Step.QUIET, Cue.BE_QUIET)

    def skip(self) -> SessionState:
        """Go on to the next step with what is known."""
        match self._step:
            case Step.QUIET:
                self._enter(Step.LOUD, Cue.PLAY_LOUDEST)
            case Step.LOUD:
                levels = self._evidence.levels(self._threshold_dbfs)
                if levels is not None:
                    self._advise(levels, margin_db=0.0)
            case Step.CHECK:
                levels = self._evidence.levels(self._threshold_dbfs)
                # A note or two can show that it is still too loud, but not that it is too soft, or right.
                if levels is not None and (self._clipped or levels.playing_s >= CHECK_PLAYING_S / 2):
                    self._advise(levels, margin_db=_CHECK_MARGIN_DB)
                else:
                    self._enter(Step.DONE, Cue.UNCHECKED)
            case Step.TURN:
                self._enter(Step.CHECK, Cue.PLAY_AGAIN)
            case Step.DONE:
                pass
        return self._state()

    def process(
        self,
        average_dbfs: Floats,
        peak_dbfs: Floats,
        noise_floor_dbfs: float,
        clips: Sequence[Clip] = (),
        hum_dbfs: float = math.nan,
    ) -> SessionState:
        """Take in hops as :class:`app.coach.verdict.ChannelCoach` does; the floor may be nan (unknown)."""
        self._clipped |= any(clip.kind is ClipKind.FULL_SCALE for clip in clips)
        self._floor_dbfs = noise_floor_dbfs
        self._hum_dbfs = hum_dbfs
        average, peak = self._cutter.push(average_dbfs, peak_dbfs)
        for tick_average, tick_peak in zip(average.tolist(), peak.tolist(), strict=True):
            match self._step:
                case Step.QUIET:
                    self._hear_quiet(tick_average)
                case Step.LOUD | Step.CHECK:
                    self._hear_playing(tick_average, tick_peak)
                case Step.TURN:
                    self._follow(tick_average)
                case Step.DONE:
                    pass
        return self._state()

    @property
    def _threshold_dbfs(self) -> float:
        quiet = self._quiet_dbfs
        if math.isnan(quiet):
            quiet = self._floor_dbfs
        # Turning the knob shifts the quiet with the playing.
        return playing_threshold_dbfs(quiet + self._turned_db)

    def _enter(self, step: Step, cue: Cue) -> None:
        self._step = step
        self._cue = cue
        self._progress = 0.0
        self._evidence = Evidence(None)
        self._playing_ticks: list[float] = []
        self._ticks: deque[float] = deque(maxlen=round(QUIET_S / TICK_S))
        self._clipped = False
        self._there_ticks = 0
        self._turn_ticks = 0
        self._remaining_db = float(self._asked_db)
        self._next_cue = cue
        self._next_cue_ticks = 0
        if step is Step.QUIET:
            self._floor_dbfs = math.nan
            self._turned_db = 0
            self._hum_dbfs = math.nan

    def _hear_quiet(self, average: float) -> None:
        self._ticks.append(max(average, -120.0))
        self._progress = len(self._ticks) * TICK_S / QUIET_S
        if len(self._ticks) < (self._ticks.maxlen or 0):
            return
        ticks = np.array(self._ticks)
        if np.ptp(ticks) > _QUIET_SPREAD_DB or ticks.mean() > _LOUDEST_QUIET_DBFS:
            self._cue, self._progress = Cue.SOMEBODY_PLAYS, 0.0
            return
        self._quiet_dbfs = float(ticks.mean())
        self._enter(Step.LOUD, Cue.PLAY_LOUDEST)

    def _hear_playing(self, average: float, peak: float) -> None:
        threshold = self._threshold_dbfs
        if average < threshold:
            return
        self._evidence.add(np.array([average]), np.array([peak]))
        self._playing_ticks.append(average)
        levels = self._evidence.levels(threshold)
        if levels is None:
            return
        checking = self._step is Step.CHECK and not self._needs_full_pass
        playing_s, loud_s = (CHECK_PLAYING_S, CHECK_LOUD_S) if checking else (LOUD_PLAYING_S, LOUD_S)
        self._progress = min(1.0, levels.playing_s / playing_s, levels.loud_s / loud_s)
        blocks = self._evidence.block_peaks_dbfs
        # Where it clipped, every second is as high as the highest.
        rising = not (checking or self._clipped) and (
            blocks.size > _RISING_BLOCKS and blocks[-_RISING_BLOCKS:].max() >= blocks.max()
        )
        if levels.playing_s < playing_s - TICK_S / 2:
            self._cue = Cue.KEEP_PLAYING
        elif levels.loud_s < loud_s:
            self._cue = Cue.PLAY_LOUDER
        elif rising and levels.playing_s < LOUD_MOST_S:
            self._cue = Cue.STILL_RISING
        elif (
            checking
            and not self._clipped
            and levels.playing_s < CHECK_MOST_S
            and not self._as_loud_as_expected(levels)
        ):
            self._cue = Cue.PLAY_LOUDER
        else:
            self._advise(levels, margin_db=self._margin_db(checking=checking))

    def _margin_db(self, *, checking: bool) -> float:
        if checking:
            return _CHECK_MARGIN_DB
        return _AGAIN_MARGIN_DB if self._moves else _LOUD_MARGIN_DB

    def _advise(self, levels: Levels, margin_db: float) -> None:
        heard_s = levels.playing_s
        if self._step is Step.CHECK and not self._needs_full_pass:
            heard_s += self._loud_playing_s
        allowance = take_allowance_db(self._profile, heard_s, self._take_s)
        if self._clipped:
            opinion = weigh_clipped(
                levels,
                self._profile,
                self._target,
                allowance_db=allowance,
                evidence=self._evidence,
            )
        else:
            opinion = weigh(levels, self._profile, self._target, allowance_db=allowance, margin_db=margin_db)
            if abs(whole_decibels(opinion)) < _LEAST_MOVE_DB:
                usual = weigh(levels, self._profile, self._target, allowance_db=allowance)
                opinion = usual if usual.verdict is Verdict.FAIR_WATER else opinion
            noise = self._quiet_dbfs + self._turned_db if self._quiet_dbfs > -120.0 else math.nan
            opinion = name_the_limit(opinion, self._profile, noise, self._hum_dbfs)
        if opinion.verdict is Verdict.LOW_WATER and self._as_loud_as_expected(levels):
            opinion = replace(opinion, verdict=Verdict.FAIR_WATER, reason=Reason.IN_WINDOW)
        self._opinion = opinion
        self._needs_full_pass = opinion.verdict is Verdict.AWASH
        self._asked_db = whole_decibels(opinion)
        peaks = self._evidence.block_peaks_dbfs
        coming = forecast(peaks, self._profile, self._target, take_s=self._take_s, gain_db=self._asked_db)
        # A check hears less than the pass before it, and may hear too little for a forecast of its own.
        self._forecast = coming or self._forecast
        self._loud_average_dbfs = levels.average_dbfs
        self._loud_peak_dbfs = levels.peak_dbfs
        self._loud_playing_s = levels.playing_s
        self._loud_ticks = self._playing_ticks
        if not self._asked_db:
            self._enter(Step.DONE, Cue.DONE)
            return
        self._moves += 1
        self._follower = KnobFollower(
            self._quiet_dbfs + self._turned_db, np.array(self._loud_ticks), self._asked_db
        )
        self._turned_db += self._asked_db
        self._enter(Step.TURN, Cue.TURN)

    def _as_loud_as_expected(self, levels: Levels) -> bool:
        """Whether a check is as loud as the turn should have made the loud pass, or a little softer."""
        if self._step is not Step.CHECK or self._needs_full_pass or math.isnan(self._loud_peak_dbfs):
            return False
        least_peak = self._loud_peak_dbfs + self._asked_db - _CHECK_SOFTER_DB
        least_average = self._loud_average_dbfs + self._asked_db - _CHECK_SOFTER_DB
        return levels.peak_dbfs >= least_peak or levels.average_dbfs >= least_average

    def _follow(self, average: float) -> None:
        """Follow the knob: by the noise while nobody plays, by the playing otherwise.

        "There" is said of a turn that was seen. One that nothing can show is given time, and then checked.
        """
        self._turn_ticks += 1
        if self._follower is None:
            return
        if not self._follower.by_noise and not self._follows_playing:
            if self._turn_ticks * TICK_S >= _UNSEEN_TURN_S:
                self._enter(Step.CHECK, Cue.PLAY_AGAIN)
            return
        seen = self._follower.process(average) is not None
        if not seen or not (self._follower.sure or self._follows_playing):
            return
        shift, sure = self._follower.shift_db or 0.0, self._follower.sure
        remaining = self._asked_db - shift
        cue = self._turning_cue(shift, remaining, sure=sure)
        if cue is not self._cue:
            self._next_cue_ticks = self._next_cue_ticks + 1 if cue is self._next_cue else 1
            self._next_cue = cue
        changes = cue is not self._cue and self._next_cue_ticks >= _CUE_TICKS[sure]
        if changes:
            self._cue = cue
        if cue is self._cue:
            self._next_cue_ticks = 0
        if changes or abs(remaining - self._remaining_db) >= _REMAINING_BAND_DB[sure]:
            self._remaining_db = remaining
            self._progress = float(np.clip(shift / self._asked_db, 0.0, 1.0))
        self._there_ticks = self._there_ticks + 1 if self._cue is Cue.THERE else 0
        if self._there_ticks >= _THERE_TICKS:
            self._enter(Step.CHECK, Cue.PLAY_AGAIN)

    @property
    def _follows_playing(self) -> bool:
        return abs(self._asked_db) >= _LEAST_HEARD_DB

    def _turning_cue(self, shift: float, remaining: float, *, sure: bool) -> Cue:
        tolerance = min(_TOLERANCE_DB, 0.4 * abs(self._asked_db))
        if abs(remaining) <= (_LEAVE_DB[sure] if self._cue is Cue.THERE else tolerance):
            return Cue.THERE
        if remaining * self._asked_db < 0.0:
            return Cue.TOO_FAR
        # Once it moved it stays on its way, however slowly.
        begun = self._cue in (Cue.MORE, Cue.TOO_FAR, Cue.THERE) or abs(shift) > tolerance
        return Cue.MORE if begun else Cue.TURN

    def _state(self) -> SessionState:
        return SessionState(
            step=self._step,
            cue=self._cue,
            progress=self._progress,
            gain_change_db=self._asked_db,
            remaining_db=self._remaining_db,
            opinion=self._opinion,
            moves=self._moves,
            quiet_dbfs=None if math.isnan(self._quiet_dbfs) else self._quiet_dbfs,
            forecast=self._forecast,
            follows_noise=self._follower is not None and self._follower.by_noise,
            follows_playing=self._follows_playing,
        )
