from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.window.scale import TICKS_DBFS, LevelScale, differ

SCALE = LevelScale()
levels = st.floats(-200.0, 20.0)


def test_ends_and_unknown() -> None:
    assert SCALE.height(SCALE.top_dbfs) == 1.0
    assert SCALE.height(SCALE.bottom_dbfs) == 0.0
    assert SCALE.height(-math.inf) == 0.0
    assert SCALE.height(math.nan) == 0.0
    assert SCALE.height(math.inf) == 1.0


@given(levels, levels)
def test_higher_levels_never_lie_lower(a_dbfs: float, b_dbfs: float) -> None:
    low, high = sorted((a_dbfs, b_dbfs))
    assert SCALE.height(low) <= SCALE.height(high)


def test_playing_has_more_room_than_noise() -> None:
    top = SCALE.height(0.0) - SCALE.height(-12.0)
    deep = SCALE.height(-60.0) - SCALE.height(-72.0)
    assert top > 2 * deep


def test_no_step_and_no_kink_at_the_knee() -> None:
    knee, step = SCALE.knee_dbfs, 1e-4
    above = (SCALE.height(knee + step) - SCALE.height(knee)) / step
    below = (SCALE.height(knee) - SCALE.height(knee - step)) / step
    assert math.isclose(above, below, rel_tol=1e-3)


@given(st.lists(st.one_of(levels, st.just(-math.inf), st.just(math.nan)), min_size=1, max_size=20))
def test_arrays_map_as_single_levels_do(many: list[float]) -> None:
    array = SCALE.heights(np.array(many, np.float32))
    single = [SCALE.height(float(np.float32(level))) for level in many]
    np.testing.assert_allclose(array, single, atol=2e-6)


def test_ticks_lie_within() -> None:
    assert all(0.0 < SCALE.height(tick) < 1.0 for tick in TICKS_DBFS)


@pytest.mark.parametrize(
    ("one", "other", "differs"),
    [
        (-18.0, -18.4, False),
        (-18.0, -18.6, True),
        (math.nan, math.nan, False),
        (math.nan, -18.0, True),
        (-math.inf, -math.inf, False),
        (-math.inf, -18.0, True),
        (-math.inf, math.nan, True),
    ],
)
def test_levels_differ_by_what_can_be_seen_and_by_being_known(
    one: float, other: float, differs: bool
) -> None:
    assert differ(one, other, 0.5) is differs
    assert differ(other, one, 0.5) is differs
