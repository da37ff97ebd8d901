import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dsp.chain import Chain
from dsp.track import TrackMeter

RATE_HZ = 16_000


def track(samples, rate_hz=RATE_HZ):
    meter = TrackMeter(rate_hz, samples.shape[1])
    meter.process(samples)
    return meter.finish()


def tone(seconds, dbfs, rate_hz=RATE_HZ, channels=1):
    t_s = np.arange(round(seconds * rate_hz)) / rate_hz
    wave = 10 ** (dbfs / 20) * np.sin(2 * np.pi * 997.0 * t_s)
    return np.repeat(wave[:, np.newaxis], channels, axis=1).astype(np.float32)


def test_the_figures_are_those_of_the_chain():
    rng = np.random.default_rng(4)
    samples = (rng.normal(0, 0.1, (10 * RATE_HZ + 77, 2)) * [1.0, 0.5]).astype(np.float32)
    chain = Chain(RATE_HZ, 2)
    reading = chain.process(samples)
    chain.finish()
    summary = chain.summary()
    found = track(samples)
    assert found.integrated_lufs == pytest.approx(summary.integrated_lufs)
    assert found.short_term_max_lufs == pytest.approx(summary.short_term_max_lufs)
    assert found.true_peak_dbtp == pytest.approx(summary.true_peak_dbtp.max())
    assert found.short_term_lufs[:100] == pytest.approx(reading.short_term_lufs[9::10], nan_ok=True)
    assert found.duration_s == samples.shape[0] / RATE_HZ


def test_a_tone_has_the_loudness_that_bs_1770_gives_it():
    mono, stereo = track(tone(10.0, -20.0)), track(tone(10.0, -20.0, channels=2))
    assert mono.short_term_p50_lufs == pytest.approx(-23.01, abs=0.05)
    assert stereo.short_term_p50_lufs == pytest.approx(-20.0, abs=0.05)
    # On headphones both are equally loud.
    assert mono.short_term_p50_lufs + mono.in_both_ears_lu == pytest.approx(
        stereo.short_term_p50_lufs + stereo.in_both_ears_lu, abs=1e-6
    )
    assert stereo.peak_to_loudness_db == pytest.approx(0.0, abs=0.1)


def test_rests_do_not_lower_the_middle_of_the_loudness():
    playing, rest = tone(20.0, -20.0), np.zeros((60 * RATE_HZ, 1), np.float32)
    assert track(np.concatenate((playing, rest))).short_term_p50_lufs == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("samples", [np.zeros((5 * RATE_HZ, 2), np.float32), tone(5.0, -90.0)])
def test_silence_says_so(samples):
    found = track(samples)
    assert found.silent
    assert math.isnan(found.short_term_p50_lufs)
    assert math.isnan(found.peak_to_loudness_db)


def test_nothing_at_all_is_silent_too():
    found = track(np.zeros((0, 1), np.float32))
    assert found.silent
    assert found.excitation.shape[0] == found.short_term_lufs.size == 0


def test_bad_samples_count_as_silence():
    samples = tone(5.0, -20.0)
    samples[1000:1100] = np.nan
    samples[2000] = np.inf
    mended = np.where(np.isfinite(samples), samples, 0.0).astype(np.float32)
    assert same(track(samples), track(mended))


def test_it_can_be_asked_while_the_stream_goes_on():
    samples = np.random.default_rng(2).normal(0, 0.1, (10 * RATE_HZ, 1)).astype(np.float32)
    meter = TrackMeter(RATE_HZ, 1)
    for at in range(0, samples.shape[0], 160):
        meter.process(samples[at : at + 160])
        if at == 5 * RATE_HZ:
            half = meter.so_far()
    whole = meter.finish()
    assert half.duration_s == pytest.approx(5.01)
    assert half.excitation == pytest.approx(whole.excitation[: half.excitation.shape[0]])
    assert half.integrated_lufs == pytest.approx(whole.integrated_lufs, abs=0.1)
    assert same(whole, track(samples))


@settings(max_examples=10, deadline=None)
@given(st.lists(st.integers(0, 40_000), min_size=1, max_size=6))
def test_the_cut_into_blocks_does_not_matter(cuts):
    samples = (np.random.default_rng(2).normal(0, 0.1, (5 * RATE_HZ, 2))).astype(np.float32)
    meter = TrackMeter(RATE_HZ, 2)
    at = 0
    for frames in cuts:
        meter.process(samples[at : at + frames])
        at += frames
    meter.process(samples[at:])
    assert same(meter.finish(), track(samples))


def same(one, other):
    return all(
        np.allclose(value, getattr(other, name), rtol=1e-5, atol=1e-12, equal_nan=True)
        for name, value in ((each.name, getattr(one, each.name)) for each in dataclasses.fields(one))
    )


def test_a_memory_keeps_the_newest_of_the_series_and_nothing_else_changes():
    rng = np.random.default_rng(5)
    samples = rng.normal(0, 0.1, (20 * RATE_HZ, 1)).astype(np.float32)
    whole, short = TrackMeter(RATE_HZ, 1), TrackMeter(RATE_HZ, 1, memory_s=8.0)
    for block in np.split(samples, 40):
        whole.process(block)
        short.process(block)
        short.so_far()
    all_of_it, newest = whole.so_far(), short.so_far()
    assert newest.duration_s == 8.0
    np.testing.assert_array_equal(newest.excitation, all_of_it.excitation[-160:])
    np.testing.assert_array_equal(newest.short_term_lufs, all_of_it.short_term_lufs[-80:])
    assert newest.integrated_lufs == all_of_it.integrated_lufs
