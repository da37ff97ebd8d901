"""Loudness against BS.1770-5, EBU Tech 3341 V4 and EBU Tech 3342."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dsp.hops import hop_frames
from dsp.loudness import Loudness, default_weights

# Tone segments of Tech 3341 Table 1 and Tech 3342: (seconds, dBFS peak in each channel), stereo, 1 kHz.
SILENCE = -math.inf
INTEGRATED = {
    1: [(20, -23)],
    2: [(20, -33)],
    3: [(10, -36), (60, -23), (10, -36)],
    4: [(10, -72), (10, -36), (60, -23), (10, -36), (10, -72)],
    5: [(20, -26), (20.1, -20), (20, -26)],
}
RANGE = {
    1: ([(20, -20), (20, -30)], 10.0),
    2: ([(20, -20), (20, -15)], 5.0),
    3: ([(20, -40), (20, -20)], 20.0),
    4: ([(20, -50), (20, -35), (20, -20), (20, -35), (20, -50)], 15.0),
}


def tones(rate_hz, segments, channels=2, f_hz=1000.0):
    """One running sine whose level changes at the segments' edges."""
    edges = np.round(np.cumsum([0, *(seconds for seconds, _ in segments)]) * rate_hz).astype(int)
    amplitude = np.zeros(edges[-1])
    for (_, dbfs), start, stop in zip(segments, edges, edges[1:], strict=False):
        amplitude[start:stop] = 10.0 ** (dbfs / 20.0)
    mono = amplitude * np.sin(2 * np.pi * f_hz / rate_hz * np.arange(edges[-1]))
    return np.repeat(mono.astype(np.float32)[:, None], channels, axis=1)


def measure(x, rate_hz, hops_at_once=400, weights=None):
    """The loudness object after a signal, and both series."""
    hop = hop_frames(rate_hz)
    meter = Loudness(rate_hz, x.shape[1], hop, weights)
    whole = len(x) // hop
    parts = [
        meter.process(x[first * hop : min(first + hops_at_once, whole) * hop])
        for first in range(0, whole, hops_at_once)
    ]
    return meter, *(np.concatenate(series) for series in zip(*parts, strict=True))


def noise(seconds, rate_hz=48000, channels=2, seed=440):
    rng = np.random.default_rng(seed)
    level = np.repeat(rng.uniform(0.02, 0.3, (math.ceil(seconds * 2), channels)), rate_hz // 2, axis=0)
    x = level[: round(seconds * rate_hz)] * rng.standard_normal((round(seconds * rate_hz), channels))
    return x.astype(np.float32)


@pytest.mark.parametrize("case", INTEGRATED)
@pytest.mark.parametrize("rate_hz", [44100, 48000])
def test_tech_3341_integrated(case, rate_hz):
    expected = -33.0 if case == 2 else -23.0
    meter, momentary, short_term = measure(tones(rate_hz, INTEGRATED[case]), rate_hz)
    assert meter.integrated_lufs == pytest.approx(expected, abs=0.1)
    if case <= 2:
        assert np.nanmin(momentary[100:]) >= expected - 0.1
        assert meter.momentary_max_lufs == pytest.approx(expected, abs=0.1)
        assert np.nanmin(short_term[300:]) >= expected - 0.1
        assert meter.short_term_max_lufs == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("rate_hz", [88200, 96000, 192000])
def test_tech_3341_integrated_at_high_rates(rate_hz):
    meter, _, _ = measure(tones(rate_hz, INTEGRATED[5]), rate_hz)
    assert meter.integrated_lufs == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("rate_hz", [44100, 48000, 88200, 96000, 192000])
def test_tech_3341_case_6_surround(rate_hz):
    parts = [tones(rate_hz, [(20, dbfs)], 1) for dbfs in (-28, -28, -24, -30, -30)]
    five = np.hstack(parts)
    assert measure(five, rate_hz)[0].integrated_lufs == pytest.approx(-23.0, abs=0.1)
    if rate_hz == 48000:
        lfe = tones(rate_hz, [(20, -3)], 1, 60.0)
        six = np.hstack([*parts[:3], lfe, *parts[3:]])
        assert measure(six, rate_hz)[0].integrated_lufs == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("rate_hz", [44100, 48000, 192000])
def test_tech_3341_case_9_short_term_is_constant(rate_hz):
    _, _, short_term = measure(tones(rate_hz, [(1.34, -20), (1.66, -30)] * 5), rate_hz)
    assert np.all(np.abs(short_term[300:] + 23.0) <= 0.1)


@pytest.mark.parametrize("rate_hz", [44100, 48000, 192000])
def test_tech_3341_case_12_momentary_is_constant(rate_hz):
    _, momentary, _ = measure(tones(rate_hz, [(0.18, -20), (0.22, -30)] * 25), rate_hz)
    assert np.all(np.abs(momentary[100:] + 23.0) <= 0.1)


@pytest.mark.parametrize("i", [0, 1, 7, 13, 19])
def test_tech_3341_cases_10_and_13_maximum_of_a_burst_anywhere(i):
    meter, _, _ = measure(tones(48000, [(i * 0.15, SILENCE), (3, -23), (1, SILENCE)]), 48000)
    assert meter.short_term_max_lufs == pytest.approx(-23.0, abs=0.1)
    for rate_hz in (44100, 48000):
        meter, _, _ = measure(tones(rate_hz, [(i * 0.02, SILENCE), (0.4, -23), (1, SILENCE)]), rate_hz)
        assert meter.momentary_max_lufs == pytest.approx(-23.0, abs=0.1)


def test_tech_3341_case_13_burst_between_hops():
    for frames in range(0, 480, 37):
        x = tones(48000, [(0.5, SILENCE), (frames / 48000, SILENCE), (0.4, -23), (1, SILENCE)])
        assert measure(x, 48000)[0].momentary_max_lufs == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize(("burst_s", "gap_s", "figure"), [(3, 0.15, "short_term"), (0.4, 0.02, "momentary")])
def test_tech_3341_cases_11_and_14_live_maxima_in_turn(burst_s, gap_s, figure):
    rate_hz, hop = 48000, 480
    meter = Loudness(rate_hz, 2, hop)
    for i in range(20):
        x = tones(rate_hz, [(i * gap_s, SILENCE), (burst_s, -38 + i), (burst_s - i * gap_s, SILENCE)])
        meter.reset()
        meter.process(x)
        assert getattr(meter, f"{figure}_max_lufs") == pytest.approx(-38 + i, abs=0.1)


@pytest.mark.parametrize("case", RANGE)
@pytest.mark.parametrize("rate_hz", [44100, 48000])
def test_tech_3342_range(case, rate_hz):
    segments, expected = RANGE[case]
    # The standard allows ±1 LU; steady tones have percentiles that leave nothing to chance.
    assert measure(tones(rate_hz, segments), rate_hz)[0].range_lu == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize("rate_hz", [44100, 48000, 88200, 96000, 192000])
def test_full_scale_sine_in_one_channel_reads_minus_3_01(rate_hz):
    x = tones(rate_hz, [(20, 0)], 1, 997.0)
    # The high-pass keeps its numerator at every rate, which moves the level by up to 0.03 dB at 192 kHz.
    tolerance = 0.01 if rate_hz <= 48000 else 0.03
    assert measure(x, rate_hz)[0].integrated_lufs == pytest.approx(-3.01, abs=tolerance)


def test_the_same_signal_in_both_channels_reads_3_01_lu_higher():
    x = noise(10, channels=1)
    one, _, _ = measure(x, 48000)
    two, _, _ = measure(np.repeat(x, 2, axis=1), 48000)
    assert two.integrated_lufs - one.integrated_lufs == pytest.approx(10 * math.log10(2), abs=1e-9)


@given(gain_db=st.floats(-25.0, 25.0))
@settings(max_examples=15, deadline=None)
def test_gain_moves_every_level_alike(gain_db):
    x = noise(6)
    plain, momentary, short_term = measure(x, 48000)
    gain = np.float32(10 ** (gain_db / 20))
    louder, louder_momentary, louder_short_term = measure(x * gain, 48000)
    moved = 20 * math.log10(float(gain))
    np.testing.assert_allclose(louder_momentary, momentary + moved, atol=1e-5)
    np.testing.assert_allclose(louder_short_term, short_term + moved, atol=1e-5)
    assert louder.integrated_lufs == pytest.approx(plain.integrated_lufs + moved, abs=1e-4)
    assert louder.range_lu == pytest.approx(plain.range_lu, abs=0.005)


@given(order=st.permutations(range(4)))
@settings(max_examples=15, deadline=None)
def test_microphones_may_be_plugged_in_any_order(order):
    x = noise(5, channels=4)
    plain, momentary, _ = measure(x, 48000)
    swapped, swapped_momentary, _ = measure(np.ascontiguousarray(x[:, list(order)]), 48000)
    np.testing.assert_allclose(swapped_momentary, momentary, atol=1e-9)
    assert swapped.integrated_lufs == pytest.approx(plain.integrated_lufs, abs=1e-9)


@given(hops_at_once=st.integers(1, 450))
@settings(max_examples=15, deadline=None)
def test_figures_do_not_depend_on_how_the_hops_were_grouped(hops_at_once):
    # Sound, then silence: a sum that runs on would leave something behind.
    x = np.vstack((noise(6, 44100), np.zeros((44100 * 4, 2), np.float32)))
    whole, *series = measure(x, 44100, 1000)
    split, *split_series = measure(x, 44100, hops_at_once)
    for a, b in zip(series, split_series, strict=True):
        np.testing.assert_allclose(b, a, rtol=0, atol=1e-9)
    assert split.integrated_lufs == pytest.approx(whole.integrated_lufs, abs=1e-9)
    assert split.range_lu == pytest.approx(whole.range_lu, abs=1e-9)
    assert split.momentary_max_lufs == pytest.approx(whole.momentary_max_lufs, abs=1e-9)


def test_silence_is_minus_infinity():
    meter, momentary, short_term = measure(np.zeros((48000 * 5, 2), np.float32), 48000)
    assert np.all(momentary[39:] == -np.inf)
    assert np.all(short_term[299:] == -np.inf)
    assert meter.integrated_lufs == -math.inf
    assert meter.momentary_max_lufs == -math.inf
    assert math.isnan(meter.range_lu)


def test_silence_after_sound_is_minus_infinity_again():
    x = np.vstack((noise(5), np.zeros((48000 * 8, 2), np.float32)))
    _, momentary, short_term = measure(x, 48000)
    assert momentary[-1] == -np.inf
    assert short_term[-1] == -np.inf


def test_nothing_is_known_before_a_whole_window():
    meter, momentary, short_term = measure(noise(0.39), 48000)
    assert np.all(np.isnan(momentary))
    assert np.all(np.isnan(short_term))
    for figure in ("integrated_lufs", "range_lu", "momentary_max_lufs", "short_term_max_lufs"):
        assert math.isnan(getattr(meter, figure))
    meter, momentary, _ = measure(noise(0.40), 48000)
    assert math.isfinite(momentary[-1])
    assert meter.integrated_lufs == pytest.approx(momentary[-1], abs=1e-9)
    assert meter.momentary_max_lufs == momentary[-1]
    assert math.isnan(meter.short_term_max_lufs)


def test_an_incomplete_last_block_is_left_out():
    # BS.1770-5: blocks of 400 ms begin every 100 ms; 490 ms hold one.
    x = np.vstack((tones(48000, [(0.4, -23)]), tones(48000, [(0.09, 0)])))
    assert measure(x, 48000)[0].integrated_lufs == pytest.approx(-23.0, abs=0.1)


def test_reset_forgets_what_was_before_also_in_windows_that_straddle_it():
    meter = Loudness(48000, 2, 480)
    meter.process(tones(48000, [(5, -3)]))
    meter.reset()
    assert math.isnan(meter.momentary_max_lufs)
    x = tones(48000, [(5, -33)])
    momentary, _ = meter.process(x)
    assert np.all(np.isfinite(momentary)), "the display goes on without a break"
    # The step down is itself a click, which the first window rightly contains.
    assert meter.momentary_max_lufs == pytest.approx(-33.0, abs=0.5)
    assert meter.short_term_max_lufs == pytest.approx(-33.0, abs=0.1)
    assert meter.integrated_lufs == pytest.approx(-33.0, abs=0.1)


def test_hours_leave_no_drift():
    """Ten hours of hops whose powers are known: the sums after them are those of a fresh object."""
    meter, fresh = Loudness(4000, 1, 40), Loudness(4000, 1, 40)
    loud, quiet = noise(20, 4000, 1, 1), noise(20, 4000, 1, 2) * np.float32(1e-4)
    for _ in range(90):
        meter.process(np.tile(loud, (20, 1)))
    for x in (loud, quiet):
        after = meter.process(x)
        alone = fresh.process(x)
    for a, b in zip(after, alone, strict=True):
        np.testing.assert_allclose(a[600:], b[600:], atol=1e-9)


def test_weights():
    assert default_weights(1) == (1.0,)
    assert default_weights(2) == (1.0, 1.0)
    assert default_weights(5) == (1.0, 1.0, 1.0, 1.41, 1.41)
    assert default_weights(6) == (1.0, 1.0, 1.0, 0.0, 1.41, 1.41)
    assert default_weights(8) == (1.0,) * 8
    x = noise(1)
    left, _, _ = measure(x, 48000, weights=(1.0, 0.0))
    alone, _, _ = measure(np.ascontiguousarray(x[:, :1]), 48000)
    assert left.integrated_lufs == pytest.approx(alone.integrated_lufs, abs=1e-9)


@pytest.mark.parametrize("weights", [(1.0,), (1.0, -1.0), (1.0, math.nan)])
def test_weights_that_make_no_sense_are_refused(weights):
    with pytest.raises(ValueError, match="2 finite values"):
        Loudness(48000, 2, 480, weights)
