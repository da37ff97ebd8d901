from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.coach.forecast import Forecast, SteadyForecast, forecast
from app.coach.judgement import Target
from app.coach.parts import find_part

TARGET = Target()
STEADY = replace(find_part("other"), growth_db=0.0, growth_sd_db=0.0)


def rehearsal(seed=1, blocks=20, top_dbfs=-12.0):
    rng = np.random.default_rng(seed)
    return top_dbfs + rng.exponential(1.0, blocks)


@pytest.mark.parametrize("peaks", [np.empty(0), np.full(7, -10.0), np.full(60, -10.0), np.full(60, -np.inf)])
def test_too_little_playing_has_no_forecast(peaks):
    assert forecast(peaks, STEADY, TARGET, take_s=240) is None


def test_with_much_evidence_the_median_is_that_of_the_law():
    # The highest of m exponential excesses has its median at scale * ln(m / ln 2).
    found = forecast(rehearsal(blocks=4000), STEADY, TARGET, take_s=240)
    assert found.peak_p50_dbfs == pytest.approx(-12.0 + np.log(240 / np.log(2)), abs=0.35)


def test_growth_lifts_the_whole_forecast():
    plain = forecast(rehearsal(), STEADY, TARGET, take_s=240)
    grown = forecast(rehearsal(), replace(STEADY, growth_db=3.0), TARGET, take_s=240)
    for name in ("peak_p05_dbfs", "peak_p50_dbfs", "peak_p95_dbfs"):
        assert getattr(grown, name) == pytest.approx(getattr(plain, name) + 3.0, abs=0.02)
    assert grown.clip_probability > plain.clip_probability


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 500), gain=st.floats(-30, 10), blocks=st.integers(8, 100))
def test_a_gain_change_shifts_the_peaks_and_is_the_same_as_hearing_it_so(seed, gain, blocks):
    peaks = rehearsal(seed, blocks, -22.0)
    turned = forecast(peaks, STEADY, TARGET, take_s=240, gain_db=gain)
    heard = forecast(peaks + gain, STEADY, TARGET, take_s=240)
    if heard is not None and np.max(peaks + gain) < -0.01:
        assert turned.peak_p50_dbfs == pytest.approx(heard.peak_p50_dbfs, abs=1e-6)
        assert turned.clip_probability == pytest.approx(heard.clip_probability, abs=1e-9)
        assert turned.over_ceiling_probability == pytest.approx(heard.over_ceiling_probability, abs=1e-9)


@settings(max_examples=30, deadline=None)
@given(
    seed=st.integers(0, 500),
    top=st.floats(-30, -3),
    take_s=st.floats(30, 900),
    part=st.sampled_from(["bass", "voice"]),
)
def test_figures_are_in_order(seed, top, take_s, part):
    found = forecast(rehearsal(seed, 15, top), find_part(part), TARGET, take_s=take_s)
    assert found.peak_p05_dbfs < found.peak_p50_dbfs < found.peak_p95_dbfs
    low, high = found.clip_probability_low, found.clip_probability_high
    assert 0.0 <= low <= high <= 1.0
    assert found.clip_probability <= found.over_ceiling_probability + 1e-6
    assert found.heard_s == 15


def test_a_longer_take_goes_higher_and_less_evidence_is_less_sure():
    short, long = (forecast(rehearsal(), STEADY, TARGET, take_s=take_s) for take_s in (60, 600))
    assert long.peak_p50_dbfs > short.peak_p50_dbfs
    few, many = (
        forecast(rehearsal(blocks=blocks, top_dbfs=-6.0), STEADY, TARGET, take_s=240) for blocks in (10, 1000)
    )
    assert (
        few.clip_probability_high - few.clip_probability_low
        > many.clip_probability_high - many.clip_probability_low
    )


def test_a_clipped_rehearsal_looks_past_full_scale():
    loud = np.minimum(rehearsal(3, 60, -2.0), 0.0)
    assert np.mean(loud >= 0.0) > 0.05
    found = forecast(loud, STEADY, TARGET, take_s=240)
    assert found.peak_p50_dbfs > 1.0
    assert found.clip_probability > 0.95


def test_the_record_rule_is_reported():
    assert forecast(rehearsal(blocks=30), STEADY, TARGET, take_s=240).record_probability == pytest.approx(
        240 / 270
    )


def chance(clip_probability):
    return Forecast(240.0, 30.0, -9.0, -7.0, -4.0, clip_probability, 0.0, 1.0, 0.5, 0.9)


def test_a_shown_forecast_stands_still_while_the_chance_wavers():
    steady = SteadyForecast()
    shown = [steady.consider(chance(p)) for p in (0.036, 0.038, 0.03, 0.05, 0.036, 0.06)]
    assert {each.clip_probability for each in shown} == {0.036}


def test_a_clearly_other_chance_is_taken_over_once_it_lasts():
    steady = SteadyForecast()
    steady.consider(chance(0.05))
    shown = [steady.consider(chance(p)).clip_probability for p in (0.3, 0.06, 0.3, 0.31, 0.32)]
    assert shown == [0.05, 0.05, 0.05, 0.05, 0.32]


def test_what_is_no_longer_known_goes_at_once():
    steady = SteadyForecast()
    steady.consider(chance(0.05))
    assert steady.consider(None) is None
    assert steady.consider(chance(0.4)).clip_probability == 0.4
