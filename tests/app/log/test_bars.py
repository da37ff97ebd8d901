"""Places in bars and beats."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.log.bars import Metre, bar_and_beat


@pytest.mark.parametrize(
    ("t_s", "metre", "expected"),
    [
        (0.0, Metre(120.0, 4), (1, 1.0)),
        (0.5, Metre(120.0, 4), (1, 2.0)),
        (1.999, Metre(120.0, 4), (1, 4.998)),
        (2.0, Metre(120.0, 4), (2, 1.0)),
        (4.0, Metre(120.0, 4, count_in_s=4.0), (1, 1.0)),
        (3.5, Metre(120.0, 4, count_in_s=4.0), (0, 4.0)),
        (0.0, Metre(120.0, 4, count_in_s=4.0), (-1, 1.0)),
        (2.25, Metre(80.0, 3), (2, 1.0)),
        # On the beat, though no float says so.
        (0.7 * 3, Metre(600 / 7, 7), (1, 4.0)),
    ],
)
def test_bars_and_beats(t_s, metre, expected):
    bar, beat = bar_and_beat(t_s, metre)
    assert (bar, beat) == (expected[0], pytest.approx(expected[1], abs=1e-6))


@given(
    st.integers(-5, 2000),
    st.integers(1, 12),
    st.floats(20.0, 400.0),
    st.floats(0.0, 30.0),
    st.floats(0.0, 0.99),
)
def test_a_place_made_from_bar_and_beat_comes_back(bar, beats_per_bar, tempo_bpm, count_in_s, within):
    metre = Metre(tempo_bpm, beats_per_bar, count_in_s)
    beat = 1.0 + within * beats_per_bar
    t_s = count_in_s + ((bar - 1) * beats_per_bar + beat - 1.0) * 60.0 / tempo_bpm
    found_bar, found_beat = bar_and_beat(t_s, metre)
    assert (found_bar - bar) * beats_per_bar + found_beat - beat == pytest.approx(0.0, abs=2e-6)
    assert 1.0 <= found_beat < beats_per_bar + 1.0


@pytest.mark.parametrize(
    "values", [(0.0, 4), (-90.0, 4), (math.nan, 4), (math.inf, 4), (90.0, 0), (90.0, 4, math.nan)]
)
def test_what_cannot_be_counted_is_refused(values):
    with pytest.raises(ValueError, match="nothing can be counted"):
        Metre(*values)
