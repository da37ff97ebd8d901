"""Series of levels with known answers. A hop is 10 ms; levels are in dBFS."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from app.coach.judgement import Reason, Target, Verdict
from app.coach.parts import find_part
from app.coach.verdict import ChannelCoach, Coach
from dsp.reading import Clip, ClipKind, Reading

HOP_S = 0.01
PLAIN = replace(find_part("other"), growth_db=0.0)
TARGET = Target()
NAN = float("nan")
FLOOR = -75.0


def coach(profile=PLAIN, memory_s=20.0, take_s=None, target=TARGET):
    return ChannelCoach(profile, target, HOP_S, memory_s, take_s)


def level(average_dbfs, peak_dbfs, seconds):
    hops = round(seconds / HOP_S)
    return np.full(hops, float(average_dbfs)), np.full(hops, float(peak_dbfs))


def playing(average_dbfs, crest_db, seconds, seed=1):
    """Playing as it is: the average wanders, the peaks stand above it by the crest and less."""
    rng = np.random.default_rng(seed)
    hops = round(seconds / HOP_S)
    average = average_dbfs + np.interp(
        np.arange(hops), np.arange(0, hops + 50, 50), rng.normal(0, 2, hops // 50 + 1)
    )
    return average, average + crest_db - rng.exponential(2.0, hops)


def hear(channel, *passages, floor=FLOOR, clips=()):
    judgement = None
    for average, peak in passages:
        judgement = channel.process(average, peak, floor, clips)
        clips = ()
    return judgement


def live(channel, average, peak, floor=FLOOR):
    return [channel.process(average[i : i + 1], peak[i : i + 1], floor) for i in range(average.size)]


def clip(kind=ClipKind.FULL_SCALE, channel=0, start_frame=0, frames=8):
    return Clip(kind, channel, start_frame, frames, 0.0)


class TestVerdicts:
    @pytest.mark.parametrize(
        ("average", "peak", "verdict", "reason", "change"),
        [
            (-100, -90, Verdict.SLACK, Reason.NOTHING_HEARD, 0),
            (-34, -26, Verdict.LOW_WATER, Reason.AVERAGE_LOW, 16),
            (-18, -8, Verdict.FAIR_WATER, Reason.IN_WINDOW, 0),
            (-19.5, -12, Verdict.FAIR_WATER, Reason.IN_WINDOW, 0),
            (-13, -7, Verdict.FAIR_WATER, Reason.IN_WINDOW, 0),
            (-26, -8, Verdict.FAIR_WATER, Reason.CEILING_NEAR, 0),
            (-10, -8, Verdict.HIGH_WATER, Reason.AVERAGE_HIGH, -8),
            (-20, -3, Verdict.HIGH_WATER, Reason.PEAKS_HIGH, -7),
        ],
    )
    @pytest.mark.parametrize("memory_s", [20.0, None])
    def test_steady_levels(self, average, peak, verdict, reason, change, memory_s):
        judgement = hear(coach(memory_s=memory_s), level(average, peak, 10))
        assert (judgement.verdict, judgement.reason) == (verdict, reason)
        assert judgement.gain_change_db == change

    def test_the_figures_are_those_of_the_loud_playing(self):
        judgement = hear(coach(), level(-40, -30, 5), level(-20, -9, 5), level(-18, -8, 5))
        assert judgement.average_playing_dbfs == pytest.approx(-19, abs=0.1)
        assert judgement.peak_playing_dbfs == -8
        assert judgement.loud_s == pytest.approx(10.0)

    def test_clipping_asks_for_at_least_the_usual_crest(self):
        judgement = hear(coach(), level(-5, 0, 5), level(-5, 0, 0.1), clips=[clip()])
        # The peak lies the part's crest over the average of -5, and belongs at -10.
        assert PLAIN.crest_db == 13.0
        assert (judgement.verdict, judgement.gain_change_db) == (Verdict.AWASH, -18)

    def test_peaks_that_were_not_cut_off_tell_of_those_that_were(self):
        average, peak = playing(-16, 14, 20)
        peak += 0.5 - peak.max()
        mild = hear(coach(), (average, np.minimum(peak, 0.0)), level(-16, -5, 0.1), clips=[clip()])
        # Only the tips are gone: little more than a clip at full scale asks for.
        assert -15 <= mild.gain_change_db <= -10

    def test_flat_tops_are_a_possibility_and_not_a_clip(self):
        judgement = hear(coach(), level(-18, -9, 5), level(-18, -9, 2), clips=[clip(ClipKind.FLAT_TOP)])
        assert (judgement.verdict, judgement.reason) == (Verdict.HIGH_WATER, Reason.FLAT_TOPS)
        assert judgement.gain_change_db < 0

    def test_percussive_parts_are_judged_by_peaks(self):
        drums = replace(find_part("drums"), growth_db=0.0)
        for average, peak, verdict, change in [
            (-30, -10, Verdict.FAIR_WATER, 0),
            (-40, -20, Verdict.LOW_WATER, 10),
            (-11, -9, Verdict.FAIR_WATER, 0),
            (-30, -2, Verdict.HIGH_WATER, -8),
        ]:
            judgement = hear(coach(drums), level(average, peak, 10))
            assert (judgement.verdict, judgement.gain_change_db) == (verdict, change)

    def test_a_target_of_ones_own(self):
        target = Target(average_dbfs=-24, window_low_dbfs=-26, window_high_dbfs=-20, ceiling_dbfs=-12)
        judgement = hear(coach(target=target), level(-18, -13, 10))
        assert (judgement.verdict, judgement.gain_change_db) == (Verdict.HIGH_WATER, -6)


class TestNoise:
    @pytest.mark.parametrize(
        ("floor", "hum", "reason"),
        [
            (-80.0, NAN, Reason.AVERAGE_LOW),
            (-65.0, NAN, Reason.NOISE_NEAR),
            (-65.0, -80.0, Reason.NOISE_NEAR),
            (-65.0, -66.0, Reason.HUM_NEAR),
        ],
    )
    @pytest.mark.parametrize("memory_s", [20.0, None])
    def test_noise_that_would_come_up_with_the_playing_is_named(self, floor, hum, reason, memory_s):
        average, peak = playing(-36, 9, 10)
        judgement = coach(memory_s=memory_s).process(average, peak, floor, hum_dbfs=hum)
        assert (judgement.verdict, judgement.reason) == (Verdict.LOW_WATER, reason)
        assert judgement.gain_change_db > 0

    def test_noise_is_no_matter_where_the_gain_need_not_go_up(self):
        assert hear(coach(), level(-18, -9, 10), floor=-45.0).reason is Reason.IN_WINDOW


class TestSoftPassages:
    def test_a_verse_after_a_chorus_asks_for_no_more_gain(self):
        channel = coach()
        hear(channel, level(-18, -9, 20))
        assert hear(channel, level(-26, -17, 40)).verdict is Verdict.FAIR_WATER
        assert hear(channel, level(-26, -17, 80)).verdict is Verdict.LOW_WATER

    def test_the_advice_to_raise_is_that_of_the_loud_part(self):
        channel = coach()
        assert hear(channel, level(-34, -25, 20)).gain_change_db == 15
        assert hear(channel, level(-42, -33, 40)).gain_change_db == 15

    def test_a_step_too_wide_for_a_player_is_believed(self):
        channel = coach()
        hear(channel, level(-18, -9, 20))
        assert hear(channel, level(-40, -31, 23)).verdict is Verdict.LOW_WATER


class TestTheKnob:
    def test_turned_down_starts_the_evidence_afresh(self):
        channel = coach()
        quiet = np.random.default_rng(2).normal(0, 0.2, 300)
        loud, loud_peak = playing(-10, 9, 12)
        hear(channel, (quiet - 75, quiet - 65), (loud, loud_peak))
        assert hear(channel, (quiet - 85, quiet - 75)).verdict is Verdict.HIGH_WATER
        soft, soft_peak = playing(-20, 9, 8, seed=2)
        judgement = hear(channel, (soft, soft_peak))
        # Without fresh evidence the loud playing would stay in memory for 20 s.
        assert judgement.verdict is Verdict.FAIR_WATER

    def test_noise_at_a_higher_gain_is_not_taken_for_playing(self):
        channel = coach()
        quiet = np.random.default_rng(2).normal(0, 0.2, 300)
        hear(channel, (quiet - 75, quiet - 65), playing(-40, 9, 10), (quiet - 75, quiet - 65))
        hear(channel, playing(-18, 9, 10))
        # The floor of the last minute is still the old one.
        pause = (np.tile(quiet - 53, 8), np.tile(quiet - 43, 8))
        assert hear(channel, pause).verdict is Verdict.SLACK


class TestTheTakeToCome:
    def test_runs_louder_than_the_rehearsal(self):
        grown = replace(PLAIN, growth_db=3.0)
        rehearsal = level(-18, -8, 10)
        assert hear(coach(grown), rehearsal).verdict is Verdict.FAIR_WATER
        judgement = hear(coach(grown, take_s=240.0), rehearsal)
        assert (judgement.verdict, judgement.reason) == (Verdict.HIGH_WATER, Reason.TAKE_LOUDER)
        assert judgement.gain_change_db < 0

    def test_nothing_is_added_while_it_runs(self):
        coach = Coach(1, 48_000, 480, profile=replace(PLAIN, growth_db=3.0))
        coach.set_taking(True)
        assert coach.process(reading(*level(-18, -8, 10))).worst.verdict is Verdict.FAIR_WATER

    def test_a_player_who_has_played_a_take_is_not_expected_to_grow_again(self):
        channel = coach(replace(PLAIN, growth_db=3.0), take_s=240.0)
        assert hear(channel, level(-18, -9, 10)).reason is Reason.TAKE_LOUDER
        channel.taking = True
        assert hear(channel, level(-18, -9, 20)).verdict is Verdict.FAIR_WATER
        channel.taking = False
        assert hear(channel, level(-18, -9, 20)).verdict is Verdict.FAIR_WATER


class TestSilence:
    @pytest.mark.parametrize("floor", [NAN, -np.inf, -70.0])
    @pytest.mark.parametrize("noise", [-80.0, -72.0])
    def test_noise_alone_is_slack_whatever_is_known_of_the_floor(self, floor, noise):
        judgement = hear(coach(), level(noise, noise + 10, 30), floor=floor)
        assert (judgement.verdict, judgement.reason) == (Verdict.SLACK, Reason.NOTHING_HEARD)
        assert judgement.gain_change_db == 0
        assert judgement.average_playing_dbfs is None

    @pytest.mark.parametrize("memory_s", [20.0, None])
    def test_exact_zeros_are_less_than_noise(self, memory_s):
        judgement = hear(coach(memory_s=memory_s), level(-np.inf, -np.inf, 3), floor=-np.inf)
        assert (judgement.verdict, judgement.reason) == (Verdict.SLACK, Reason.EXACT_ZEROS)
        judgement = hear(coach(memory_s=memory_s), level(-80, -66, 3), floor=-90.0)
        assert judgement.reason is Reason.NOTHING_HEARD

    def test_a_file_of_noise_that_ends_in_zeros_was_not_all_zeros(self):
        channel = coach(memory_s=None)
        assert hear(channel, level(-80, -66, 3), level(-np.inf, -np.inf, 3)).reason is Reason.NOTHING_HEARD
        channel = coach(memory_s=None)
        assert hear(channel, level(-np.inf, -np.inf, 3), level(-80, -66, 3)).reason is Reason.NOTHING_HEARD

    def test_what_zeros_hid_is_noise_and_neither_playing_nor_another_gain(self):
        channel = coach()
        heard = [hear(channel, level(-np.inf, -np.inf, 5), floor=-np.inf)]
        heard += live(channel, *level(-72, -60, 2), floor=-np.inf)
        heard += live(channel, *level(-72, -60, 8), floor=-72.0)
        assert {judgement.reason for judgement in heard} == {Reason.EXACT_ZEROS, Reason.NOTHING_HEARD}
        assert hear(channel, level(-30, -18, 4), floor=-72.0).verdict is Verdict.LOW_WATER

    def test_a_loud_room_is_noise_once_its_floor_is_known(self):
        channel = coach()
        assert hear(channel, level(-48, -38, 2), floor=NAN).reason is Reason.LISTENING
        assert hear(channel, level(-48, -38, 1), floor=-47.0).verdict is Verdict.SLACK

    @pytest.mark.parametrize("floor", [NAN, -80.0])
    def test_playing_30_db_too_low_is_playing(self, floor):
        judgement = hear(coach(), level(-48, -38, 10), floor=floor)
        assert (judgement.verdict, judgement.gain_change_db) == (Verdict.LOW_WATER, 28)

    def test_no_advice_before_three_seconds_of_playing(self):
        channel = coach()
        assert hear(channel, level(-34, -26, 2.9)).reason is Reason.LISTENING
        judgement = hear(channel, level(-90, -80, 3))
        assert (judgement.reason, judgement.gain_change_db) == (Reason.LISTENING, 0)
        assert hear(channel, level(-34, -26, 0.2)).gain_change_db == 16

    def test_the_advice_stands_while_the_player_turns_the_knob_and_goes_with_time(self):
        channel = coach()
        first = hear(channel, level(-34, -26, 10))
        pause = level(-90, -80, 1)
        assert all(hear(channel, pause) == first for _ in range(19))
        assert hear(channel, pause, pause).verdict is Verdict.SLACK


class TestSteadiness:
    def test_the_number_stands_still_while_playing_wanders(self):
        average, peak = playing(-30, 10, 60)
        judgements = live(coach(), average, peak)[2000:]
        changes = sum(a.gain_change_db != b.gain_change_db for a, b in itertools.pairwise(judgements))
        assert {judgement.verdict for judgement in judgements} == {Verdict.LOW_WATER}
        assert changes <= 2

    @pytest.mark.parametrize("edge_dbfs", [-20.0, -12.0])
    def test_levels_that_hover_at_an_edge_do_not_flicker(self, edge_dbfs):
        t = np.arange(12_000)
        average = edge_dbfs + 0.5 * np.sin(2 * np.pi * t / 2500)
        judgements = live(coach(), average, average + 4.0)[300:]
        assert sum(a.verdict is not b.verdict for a, b in itertools.pairwise(judgements)) <= 1

    def test_a_clip_shows_at_once_and_leaves_when_it_is_forgotten(self):
        channel = coach()
        hear(channel, level(-18, -9, 10.03))
        average, peak = level(-18, -9, 0.01)
        assert channel.process(average, peak, FLOOR, [clip()]).verdict is Verdict.AWASH
        assert hear(channel, level(-18, -9, 19.5)).verdict is Verdict.AWASH
        assert hear(channel, level(-18, -9, 2)).verdict is Verdict.FAIR_WATER

    def test_a_clip_in_a_pause_shows_too(self):
        channel = coach()
        hear(channel, level(-90, -80, 1))
        assert hear(channel, level(-90, -80, 0.01), clips=[clip()]).verdict is Verdict.AWASH

    def test_a_reset_forgets(self):
        channel = coach()
        hear(channel, level(-18, 0, 10), clips=[clip()])
        channel.reset()
        assert hear(channel, level(-90, -80, 0.1)).verdict is Verdict.SLACK
        assert hear(channel, level(-18, -9, 4)).verdict is Verdict.FAIR_WATER


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 1000),
    start=st.floats(-50, 0),
    cuts=st.lists(st.integers(0, 1500), max_size=30),
    clip_hop=st.none() | st.integers(0, 1499),
    memory_s=st.sampled_from([3.0, None]),
)
def test_the_grouping_of_hops_does_not_matter(seed, start, cuts, clip_hop, memory_s):
    average, peak = playing(start, 11, 15, seed)
    average[400:700] = -95.0
    clips = [] if clip_hop is None else [clip()]

    def run(edges):
        channel = coach(memory_s=memory_s, take_s=240.0)
        for low, high in itertools.pairwise(edges):
            here = clips if clip_hop is not None and low <= clip_hop < high else []
            ago = [high - 1 - clip_hop] if here else []
            judgement = channel.process(average[low:high], peak[low:high], FLOOR, here, ago)
        return judgement

    assert run([0, 1500]) == run(sorted({0, 1500, *cuts}))


@settings(max_examples=60, deadline=None)
@given(
    gain=st.floats(-25, 25),
    seed=st.integers(0, 100),
    crest=st.floats(4, 20),
    part=st.sampled_from(["bass", "drums"]),
)
def test_turning_the_gain_changes_the_advice_by_as_much(gain, seed, crest, part):
    average, peak = playing(-30, crest, 12, seed)
    far_low = hear(coach(find_part(part), None), (average - 12, peak - 12), floor=NAN)
    here = hear(coach(find_part(part), None), (average + gain, peak + gain), floor=NAN)
    assume(far_low.verdict is Verdict.LOW_WATER and here.verdict not in (Verdict.FAIR_WATER, Verdict.SLACK))
    assert here.gain_change_db == pytest.approx(far_low.gain_change_db - 12 - gain, abs=1.0)


def reading(average, peak, clips=(), start_frame=0):
    hops = average.shape[0]
    average, peak = average.reshape(hops, -1), peak.reshape(hops, -1)
    channels = average.shape[1]
    nothing = np.full(channels, np.nan)
    return Reading(
        rate_hz=48_000,
        start_frame=start_frame,
        frames=hops * 480,
        hop_frames=480,
        average_dbfs=average,
        peak_dbfs=peak,
        momentary_lufs=np.full(hops, np.nan),
        short_term_lufs=np.full(hops, np.nan),
        peak_hold_dbfs=peak.max(axis=0),
        true_peak_dbtp=nothing,
        noise_floor_dbfs=nothing,
        noise_floor_dba=nothing,
        clips=clips,
    )


class TestCoach:
    def test_the_worst_channel_comes_first(self):
        average = np.column_stack([level(a, 0, 10)[0] for a in (-18, -34, -10, -90)])
        peak = average + 6
        report = Coach(4, 48_000, 480, profile=PLAIN, take_s=None).process(reading(average, peak))
        verdicts = [judgement.verdict for judgement in report.channels]
        assert verdicts == [Verdict.FAIR_WATER, Verdict.LOW_WATER, Verdict.HIGH_WATER, Verdict.SLACK]
        assert report.worst_channel == 2
        assert report.worst_first == (2, 1, 3, 0)

    def test_a_clip_counts_for_its_own_channel(self):
        average = np.column_stack([level(-18, 0, 10)[0]] * 2)
        report = Coach(2, 48_000, 480, profile=PLAIN, take_s=None).process(
            reading(average, average + 8, [clip(channel=1, start_frame=4800)])
        )
        assert [j.verdict for j in report.channels] == [Verdict.FAIR_WATER, Verdict.AWASH]

    def test_each_channel_may_have_its_own_part_and_target(self):
        average = np.column_stack([level(-30, 0, 10)[0]] * 2)
        report = Coach(
            2,
            48_000,
            480,
            profile=[replace(find_part("drums"), growth_db=0.0), PLAIN],
            target=[Target(), Target(average_dbfs=-30, window_low_dbfs=-32)],
            take_s=None,
        ).process(reading(average, average + 10))
        assert [j.verdict for j in report.channels] == [Verdict.LOW_WATER, Verdict.FAIR_WATER]

    def test_reset_starts_afresh(self):
        coach = Coach(1, 48_000, 480, profile=PLAIN)
        coach.process(reading(*level(-10, -1, 10)))
        coach.reset()
        assert coach.process(reading(*level(-90, -80, 0.1))).worst.verdict is Verdict.SLACK

    def test_too_few_profiles_are_a_mistake(self):
        with pytest.raises(ValueError, match="1 profiles and 2 targets for 2 channels"):
            Coach(2, 48_000, 480, profile=[PLAIN])
