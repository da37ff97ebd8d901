import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.coach.evidence import Evidence

NEVER = 99.0


def filled(average, peak=None, memory_ticks=None):
    evidence = Evidence(memory_ticks)
    average = np.asarray(average, float)
    evidence.add(average, average + 10.0 if peak is None else np.asarray(peak, float))
    return evidence


def test_loud_playing_leaves_out_the_softer_half_and_the_pauses():
    levels = filled([-90] * 50 + [-40] * 100 + [-20] * 100).levels(-60.0)
    assert levels.average_dbfs == pytest.approx(-20, abs=0.06)
    assert (levels.playing_s, levels.loud_s) == (pytest.approx(20.0), pytest.approx(10.0))


def test_one_accent_does_not_decide_what_is_loud():
    levels = filled([-20] * 99 + [-8]).levels(-60.0)
    assert levels.average_dbfs == pytest.approx(-20, abs=0.2)
    assert levels.peak_dbfs == 2.0, "the peaks still know of it"


def test_nothing_above_the_threshold_is_nothing():
    assert filled([-70] * 10).levels(-60.0) is None
    assert filled([-np.inf, np.nan]).levels(-60.0) is None


@given(gain=st.floats(-20, 10), seed=st.integers(0, 99))
def test_gain_shifts_every_level_by_as_much(gain, seed):
    average = np.random.default_rng(seed).normal(-25, 4, 200)
    here, there = filled(average).levels(-90.0), filled(average + gain).levels(-90.0)
    assert there.average_dbfs == pytest.approx(here.average_dbfs + gain, abs=0.2)
    assert there.peak_dbfs == pytest.approx(here.peak_dbfs + gain, abs=1e-9)


@given(seed=st.integers(0, 99), ticks=st.integers(1, 300))
def test_a_memory_is_the_same_as_hearing_its_end_alone(seed, ticks):
    average = np.random.default_rng(seed).normal(-25, 4, 400)
    assert filled(average, memory_ticks=ticks).levels(-90.0) == filled(average[-ticks:]).levels(-90.0)


def test_blocks_are_seconds_of_playing():
    evidence = Evidence(None)
    average = np.array(([-20.0] * 5 + [-90.0] * 5) * 4 + [-20.0] * 9)
    evidence.add(average, np.arange(average.size) - 60.0, playing_dbfs=-60.0)
    assert evidence.block_peaks_dbfs.tolist() == [-60.0 + 14, -60.0 + 34], "nine ticks are no second yet"


def test_peaks_that_were_not_cut_off_show_where_the_others_were():
    rng = np.random.default_rng(8)
    estimates = []
    for _ in range(100):
        peaks = np.minimum(-5.0 + rng.exponential(2.0, 150), 0.0)
        _, by_tail = filled(np.full(150, -18.0), peaks).hidden_peaks_dbfs(NEVER)
        if by_tail != NEVER:
            estimates.append(by_tail)
    # The most probable maximum of 150 exponential excesses of 2 dB each lies 2 ln 150 over their base.
    assert len(estimates) > 60
    assert np.mean(estimates) == pytest.approx(-5.0 + 2.0 * np.log(150), abs=0.6)
    assert np.std(estimates) < 2.0


def test_the_averages_and_the_crest_of_what_was_not_cut_show_the_rest():
    average = np.concatenate((np.full(60, -14.0), np.full(60, -6.0)))
    by_crest, other = filled(average, np.minimum(average + 10.0, 0.0)).hidden_peaks_dbfs(NEVER)
    assert by_crest == pytest.approx(4.0)
    assert other == NEVER, "half was cut off: nothing is seen of how the peaks fall off"


def test_with_everything_cut_off_only_the_usual_crest_is_left():
    assert filled(np.full(100, -10.0), np.zeros(100)).hidden_peaks_dbfs(3.5) == (3.5,)
    assert filled([]).hidden_peaks_dbfs(3.5) == (3.5,)
