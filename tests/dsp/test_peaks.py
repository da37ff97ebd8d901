"""Sample peaks and the hold, against a plain reading of their definitions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from dsp.peaks import PeakHold, hop_peaks

SAMPLES = st.floats(-1.0, 1.0, width=32)
STREAMS = st.tuples(st.integers(1, 6), st.integers(1, 3)).flatmap(
    lambda shape: arrays.arrays(np.float32, (shape[0] * 5, shape[1]), elements=SAMPLES)
)
PEAKS = st.tuples(st.integers(1, 40), st.integers(1, 3)).flatmap(
    lambda shape: arrays.arrays(np.float64, shape, elements=st.floats(0.0, 2.0))
)


@given(STREAMS)
def test_a_hop_reads_its_largest_magnitude(stream):
    peaks = hop_peaks(stream, 5)
    assert peaks.dtype == np.float64
    for hop in range(stream.shape[0] // 5):
        for channel in range(stream.shape[1]):
            assert peaks[hop, channel] == max(abs(float(x)) for x in stream[hop * 5 : hop * 5 + 5, channel])


@given(STREAMS)
def test_polarity_and_layout_change_nothing(stream):
    np.testing.assert_array_equal(hop_peaks(-stream, 5), hop_peaks(stream, 5))
    np.testing.assert_array_equal(hop_peaks(np.asfortranarray(stream), 5), hop_peaks(stream, 5))
    np.testing.assert_array_equal(hop_peaks(stream[:, ::-1], 5), hop_peaks(stream, 5)[:, ::-1])


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_a_bad_sample_shows_in_its_hop_alone(bad):
    stream = np.full((15, 2), 0.5, np.float32)
    stream[7, 1] = bad
    assert np.isfinite(hop_peaks(stream, 5)).tolist() == [[True, True], [True, False], [True, True]]


@given(PEAKS, st.integers(1, 12))
def test_the_hold_is_the_highest_of_its_window(peaks, window_hops):
    hold = PeakHold(peaks.shape[1], 1000, 10, hold_s=window_hops / 100.0)
    for hop in range(peaks.shape[0]):
        hold.process(peaks[hop : hop + 1])
        np.testing.assert_array_equal(hold.hold, peaks[max(0, hop + 1 - window_hops) : hop + 1].max(axis=0))


@given(PEAKS, st.sampled_from([None, 0.05, 0.2]), st.lists(st.integers(1, 9), min_size=1))
def test_grouping_changes_nothing(peaks, hold_s, sizes):
    one, many = (PeakHold(peaks.shape[1], 1000, 10, hold_s) for _ in range(2))
    one.process(peaks)
    start = 0
    while start < peaks.shape[0]:
        size = sizes[start % len(sizes)]
        many.process(peaks[start : start + size])
        start += size
    np.testing.assert_array_equal(many.hold, one.hold)


@given(PEAKS)
def test_without_a_time_it_holds_until_reset(peaks):
    hold = PeakHold(peaks.shape[1], 48000, 480)
    assert not hold.hold.any()
    hold.process(peaks)
    hold.process(peaks * 0.5)
    np.testing.assert_array_equal(hold.hold, peaks.max(axis=0))
    hold.reset()
    assert not hold.hold.any()
    hold.process(peaks * 0.5)
    np.testing.assert_array_equal(hold.hold, peaks.max(axis=0) * 0.5)


def test_reset_empties_the_window_too():
    hold = PeakHold(1, 1000, 10, hold_s=0.1)
    hold.process(np.array([[0.9]]))
    hold.reset()
    hold.process(np.array([[0.1]]))
    assert hold.hold.tolist() == [0.1]


def test_the_reading_is_a_copy():
    hold = PeakHold(1, 1000, 10)
    reading = hold.hold
    hold.process(np.array([[0.9]]))
    assert reading.tolist() == [0.0]


@pytest.mark.parametrize("hold_s", [0.0, -1.0, math.nan])
def test_a_hold_without_length_is_refused(hold_s):
    with pytest.raises(ValueError, match="hold_s"):
        PeakHold(1, 1000, 10, hold_s)


def test_a_signalling_nan_is_a_nan_like_any_other():
    samples = np.zeros((96, 2), np.float32)
    samples.view(np.uint32)[50, 1] = 0x7F80_0001
    peaks = hop_peaks(samples, 48)
    assert np.isnan(peaks).tolist() == [[False, False], [False, True]]
