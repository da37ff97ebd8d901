"""From readings to verdicts that stand still while somebody reads them.

Evidence is gathered on a 100 ms grid (:mod:`app.coach.evidence`), judged by the rules
(:mod:`app.coach.advice`), and held steady (:mod:`app.coach.steady`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from app.coach.advice import (
    FLAT_TOPS_STEP_DB,
    Opinion,
    name_the_limit,
    take_allowance_db,
    weigh,
    weigh_clipped,
)
from app.coach.evidence import Evidence, Levels
from app.coach.forecast import Forecast, forecast
from app.coach.judgement import CoachReport, Judgement, Reason, Target, Verdict
from app.coach.knob import KnobWatch
from app.coach.parts import PartProfile, find_part
from app.coach.steady import Steady
from app.coach.ticks import TICK_S, TickCutter, playing_threshold_dbfs
from dsp.reading import Clip, ClipKind, Reading
from dsp.types import Floats

TAKE_S = 240.0
"""How long a take is when nobody says."""

ENOUGH_PLAYING_S = 3.0

_TARGET = Target()

_HYSTERESIS_DB = 0.75
# How long a loud passage is remembered for the advice to raise the gain, in seconds of playing, and how much
# softer a passage can be; a wider step is no playing but a knob, a pad or another microphone.
_RECALL_BLOCKS = 90
_SOFT_PASSAGE_DB = 12.0
# After this much of a take the player has shown how loud takes are.
_GROWN_AFTER_S = 10.0
_FORGET_LISTENING_TICKS = 50
_ZERO_TICKS = 10
"""A second: no input that is there gives exact zeros for so long."""


class ChannelCoach:
    """The coach of one channel.

    Parameters
    ----------
    profile, target
        What is played, and where it should sit.
    hop_s
        Length of a hop.
    memory_s
        How much playing counts, in seconds; None = everything (a whole file), judged without hysteresis.
    take_s
        How long the take to come is; None when what is heard is the take itself.
    """

    def __init__(
        self,
        profile: PartProfile,
        target: Target,
        hop_s: float,
        memory_s: float | None,
        take_s: float | None = None,
    ) -> None:
        self.profile = profile
        self.target = target
        self.take_s = take_s
        self.taking = False
        """Whether what is heard now is the take: then no louder one is to come."""
        self._hop_s = hop_s
        self._memory_ticks = None if memory_s is None else max(1, round(memory_s / TICK_S))
        self._patience_ticks = self._memory_ticks or 0
        self.reset()

    def reset(self) -> None:
        """Start the evidence afresh."""
        self._cutter = TickCutter(self._hop_s)
        self._ticks = 0
        self._coming_clips: list[tuple[int, ClipKind]] = []
        self._steady = Steady()
        self._levels: Levels | None = None
        self._evidence = Evidence(self._memory_ticks)
        self._clip_ticks: dict[ClipKind, int] = {}
        self._quiet_ticks = 0
        self._zero_ticks = 0
        self._knob = KnobWatch()
        self._hum_dbfs = math.nan
        self._floor_dbfs = math.nan
        self._take_ticks = 0
        self._knob_moved = False
        self._moved_db: float | None = None

    def process(
        self,
        average_dbfs: Floats,
        peak_dbfs: Floats,
        noise_floor_dbfs: float,
        clips: Sequence[Clip] = (),
        clip_hops_ago: Sequence[int] = (),
        hum_dbfs: float = math.nan,
    ) -> Judgement:
        """Take in hops and judge.

        Parameters
        ----------
        average_dbfs, peak_dbfs
            (hops,): the slow average at the end of each hop, and its highest sample.
        noise_floor_dbfs
            nan while unknown.
        clips
            Of this channel, which became known within these hops.
        clip_hops_ago
            For each clip, how many hops before the end of these it lies; taken as 0 where it is not given.
        hum_dbfs
            Level of the mains hum; nan where there is none.
        """
        self._hum_dbfs = hum_dbfs
        self._floor_dbfs = noise_floor_dbfs
        average, peak = self._cutter.push(average_dbfs, peak_dbfs)
        for clip, hops_ago in zip(clips, (*clip_hops_ago, *[0] * len(clips)), strict=False):
            tick = (self._cutter.hops - 1 - hops_ago) // self._cutter.hops_per_tick
            self._coming_clips.append((tick, clip.kind))
        if self._memory_ticks is None:
            return self._judge_whole(average, peak, playing_threshold_dbfs(noise_floor_dbfs))
        if clips and not average.size:
            self._show_clips(self._threshold_dbfs())
        self._moved_db = None
        for tick_average, tick_peak in zip(average.tolist(), peak.tolist(), strict=True):
            self._tick(tick_average, tick_peak)
        return self._judgement()

    def forecast(self, take_s: float, gain_db: float = 0.0) -> Forecast | None:
        """What a take of this length will probably peak at after a gain change; None with too little heard.

        For a file that is a finished take, the profile's growth is still added: it speaks of the next one.
        """
        peaks = self._evidence.block_peaks_dbfs
        return forecast(peaks, self.profile, self.target, take_s=take_s, gain_db=gain_db)

    def _judge_whole(self, average: Floats, peak: Floats, threshold: float) -> Judgement:
        self._evidence.add(average, peak, playing_dbfs=threshold)
        only_zeros = self._zero_ticks == self._ticks and bool(np.isneginf(peak).all())
        self._zero_ticks = self._zero_ticks + peak.size if only_zeros else 0
        self._ticks += average.size
        self._take_clips(up_to_tick=self._ticks + 1)
        self._levels = self._evidence.levels(threshold)
        if self._levels is not None:
            highest = max(self._levels.peak_dbfs, self._cutter.pending_peak_dbfs)
            self._levels = replace(self._levels, peak_dbfs=highest)
        self._steady = Steady()
        self._steady.show(self._opinion(margin_db=0.0))
        return self._judgement()

    def _threshold_dbfs(self) -> float:
        # The chain's floor looks back a minute, so it lags when the gain goes up; the newest quiet does not.
        return max(playing_threshold_dbfs(self._floor_dbfs), self._knob.playing_threshold_dbfs)

    def _tick(self, average: float, peak: float) -> None:
        moved_db = self._knob.process(average)
        if moved_db is not None:
            # The evidence belongs to the old setting.
            self._forget()
            self._knob_moved = True
            self._moved_db = moved_db
        self._zero_ticks = self._zero_ticks + 1 if peak == -math.inf else 0
        threshold = self._threshold_dbfs()
        playing = average >= threshold
        if playing:
            self._take_ticks += self.taking
            self._evidence.add(np.array([average]), np.array([peak]), self._ticks)
            self._quiet_ticks = 0
        else:
            self._quiet_ticks += 1
        self._take_clips(up_to_tick=self._ticks)
        self._ticks += 1
        oldest = self._evidence.oldest_tick
        self._clip_ticks = {kind: tick for kind, tick in self._clip_ticks.items() if tick >= oldest}

        enough = self._levels is not None and self._levels.playing_s >= ENOUGH_PLAYING_S
        patience = self._patience_ticks if enough or self._clip_ticks else _FORGET_LISTENING_TICKS
        if self._quiet_ticks >= patience:
            self._forget()
            self._knob_moved = False
        self._levels = self._evidence.levels(threshold)
        # While nobody plays there is nothing new to say: the advice waits until it was read and followed.
        if playing or self._levels is None or ClipKind.FULL_SCALE in self._clip_ticks:
            self._look()

    def _show_clips(self, threshold: float) -> None:
        """Clipping does not wait for the grid."""
        self._take_clips(up_to_tick=self._ticks)
        self._levels = self._evidence.levels(threshold)
        self._look()

    def _look(self) -> None:
        margin = _HYSTERESIS_DB if self._steady.verdict is Verdict.FAIR_WATER else -_HYSTERESIS_DB
        self._steady.consider(self._opinion(margin_db=margin))

    def _take_clips(self, up_to_tick: int) -> None:
        for tick, kind in self._coming_clips:
            if tick <= up_to_tick:
                self._clip_ticks[kind] = max(tick, self._clip_ticks.get(kind, -1))
        self._coming_clips = [clip for clip in self._coming_clips if clip[0] > up_to_tick]

    def _forget(self) -> None:
        self._evidence = Evidence(self._memory_ticks)
        self._clip_ticks = {}
        self._quiet_ticks = 0

    def _opinion(self, margin_db: float) -> Opinion:
        levels = self._levels
        heard_s = 0.0 if levels is None else levels.playing_s
        grown = self._take_ticks * TICK_S >= _GROWN_AFTER_S
        take_s = None if self.taking else self.take_s
        allowance = take_allowance_db(self.profile, heard_s, take_s, grown=grown)
        if ClipKind.FULL_SCALE in self._clip_ticks:
            return weigh_clipped(
                levels,
                self.profile,
                self.target,
                allowance_db=allowance,
                evidence=self._evidence,
            )
        if levels is None:
            return Opinion(Verdict.SLACK, self._reason_of_silence(), 0.0)
        opinion = weigh(levels, self.profile, self.target, allowance_db=allowance, margin_db=margin_db)
        if opinion.verdict is Verdict.LOW_WATER:
            opinion = self._recall(levels, opinion, allowance, margin_db)
        if opinion.reason is Reason.PEAKS_HIGH:
            return opinion
        if levels.playing_s < ENOUGH_PLAYING_S:
            missing = {"missing_s": ENOUGH_PLAYING_S - levels.playing_s}
            return Opinion(opinion.verdict, Reason.LISTENING, 0.0, missing)
        if ClipKind.FLAT_TOP in self._clip_ticks:
            wanted = min(opinion.wanted_db, FLAT_TOPS_STEP_DB)
            return Opinion(Verdict.HIGH_WATER, Reason.FLAT_TOPS, wanted, opinion.values)
        return name_the_limit(opinion, self.profile, self._floor_dbfs, self._hum_dbfs)

    def _reason_of_silence(self) -> Reason:
        if self._zero_ticks >= _ZERO_TICKS:
            return Reason.EXACT_ZEROS
        return Reason.KNOB_MOVED if self._knob_moved else Reason.NOTHING_HEARD

    def _recall(self, levels: Levels, opinion: Opinion, allowance_db: float, margin_db: float) -> Opinion:
        """Do not ask for more gain in a soft passage: the loud part of the last minutes will come again."""
        recalled = float(self._evidence.block_peaks_dbfs[-_RECALL_BLOCKS:].max(initial=-math.inf))
        softer_db = recalled - levels.peak_dbfs
        if not 0.0 < softer_db <= _SOFT_PASSAGE_DB:
            return opinion
        loud = replace(levels, peak_dbfs=recalled, average_dbfs=levels.average_dbfs + softer_db)
        then = weigh(loud, self.profile, self.target, allowance_db=allowance_db, margin_db=margin_db)
        if then.verdict is Verdict.HIGH_WATER:
            return replace(then, verdict=Verdict.FAIR_WATER, reason=Reason.CEILING_NEAR)
        return then

    def _judgement(self) -> Judgement:
        levels, shown = self._levels, self._steady
        enough = levels is not None and levels.playing_s >= ENOUGH_PLAYING_S
        return Judgement(
            verdict=shown.verdict,
            gain_change_db=shown.gain_change_db,
            reason=shown.reason,
            values=shown.values,
            average_playing_dbfs=levels.average_dbfs if levels is not None and enough else None,
            peak_playing_dbfs=levels.peak_dbfs if levels is not None and enough else None,
            loud_s=levels.loud_s if levels is not None else 0.0,
            gain_moved_db=self._moved_db,
        )


class Coach:
    """The coach of a whole input.

    Parameters
    ----------
    channels, rate_hz, hop_frames
        Of the readings to come.
    profile, target
        One for all channels, or one each.
    memory_s
        How much playing counts; None = everything.
    take_s
        How long the take to come is; None when what is heard is the take itself. Ignored for a whole file.
    """

    def __init__(
        self,
        channels: int,
        rate_hz: int,
        hop_frames: int,
        *,
        profile: PartProfile | Sequence[PartProfile] | None = None,
        target: Target | Sequence[Target] = _TARGET,
        memory_s: float | None = 20.0,
        take_s: float | None = TAKE_S,
    ) -> None:
        if profile is None:
            profile = find_part("other")
        profiles = [profile] * channels if isinstance(profile, PartProfile) else list(profile)
        targets = [target] * channels if isinstance(target, Target) else list(target)
        if len(profiles) != channels or len(targets) != channels:
            raise ValueError(f"{len(profiles)} profiles and {len(targets)} targets for {channels} channels")
        self.targets = tuple(targets)
        """Where each channel should sit."""
        self._hop_frames = hop_frames
        hop_s = hop_frames / rate_hz
        self._channels = [
            ChannelCoach(own_profile, own_target, hop_s, memory_s, None if memory_s is None else take_s)
            for own_profile, own_target in zip(profiles, targets, strict=True)
        ]

    def process(self, reading: Reading) -> CoachReport:
        """Take in a reading and judge every channel."""
        end_frame = reading.start_frame + reading.frames
        judgements = []
        for index, channel in enumerate(self._channels):
            clips = [clip for clip in reading.clips if clip.channel == index]
            hum = reading.hum[index] if index < len(reading.hum) else None
            ago = [max(0, end_frame - clip.start_frame - clip.frames) // self._hop_frames for clip in clips]
            judgements.append(
                channel.process(
                    reading.average_dbfs[:, index],
                    reading.peak_dbfs[:, index],
                    float(reading.noise_floor_dbfs[index]),
                    clips,
                    ago,
                    math.nan if hum is None else hum.level_dbfs,
                )
            )
        # min() keeps the first of equals.
        worst = min(range(len(judgements)), key=lambda i: judgements[i].attention)
        return CoachReport(tuple(judgements), worst)

    def forecasts(self, take_s: float = TAKE_S) -> tuple[Forecast | None, ...]:
        """What a take of this length will peak at, for each channel; None with too little heard."""
        return tuple(channel.forecast(take_s) for channel in self._channels)

    def set_taking(self, taking: bool) -> None:
        """Say whether a take runs: what is heard then is the take, and no louder one is to come."""
        for channel in self._channels:
            channel.taking = taking

    def reset(self) -> None:
        """Start the evidence afresh, for instance after the knob was turned."""
        for channel in self._channels:
            channel.reset()
