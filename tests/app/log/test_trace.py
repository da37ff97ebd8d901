"""The picture of a take stays small and keeps every peak."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.log.trace import MAX_POINTS, TraceBuilder


def test_a_point_covers_a_tenth_of_a_second_at_first():
    trace = TraceBuilder()
    for i in range(25):
        trace.add(-20.0 - i, -10.0 - i)
    view = trace.view()
    assert view.point_s == pytest.approx(0.1)
    assert view.average_dbfs.tolist() == [-20.0, -30.0, -40.0]
    assert view.peak_dbfs.tolist() == [-10.0, -20.0, -30.0]


@given(st.integers(1, 200_000), st.data())
def test_the_size_is_bounded_and_no_peak_is_lost(hops, data):
    place = data.draw(st.integers(0, hops - 1))
    trace = TraceBuilder()
    trace.add(-30.0, -20.0, place)
    trace.add(-6.0, -1.5)
    trace.add(-30.0, -20.0, hops - place - 1)
    view = trace.view()
    points = view.peak_dbfs
    assert len(points) <= MAX_POINTS
    assert len(view.points) == 4 * len(points)
    # Long enough for the take, and not a point longer.
    assert (len(points) - 1) * view.point_s < hops * 0.01 + 1e-9 <= len(points) * view.point_s + 2e-9
    assert points.max() == -1.5
    assert int(np.argmax(points)) == int(place * 0.01 / view.point_s + 1e-9)
    assert view.average_dbfs.max() == -6.0


def test_hops_one_by_one_or_together():
    one, together = TraceBuilder(), TraceBuilder()
    for _ in range(30_000):
        one.add(-20.0, -10.0)
    together.add(-20.0, -10.0, 30_000)
    assert one.view() == together.view()


def test_silence_and_the_unknown_are_silence():
    trace = TraceBuilder()
    trace.add(-math.inf, math.nan, 10)
    assert trace.view().average_dbfs.tolist() == [-math.inf]
    assert trace.view().peak_dbfs.tolist() == [-math.inf]


def test_levels_beyond_what_is_stored_are_held_at_the_edge():
    trace = TraceBuilder()
    trace.add(-400.0, 400.0, 10)
    assert trace.view().average_dbfs.tolist() == [-327.67]
    assert trace.view().peak_dbfs.tolist() == [327.67]
