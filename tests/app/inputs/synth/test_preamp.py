"""The knob, the overload and the end of the converter."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.inputs.synth.preamp import OVERLOAD_DBFS, TURN_S, Preamp
from dsp.decibels import db_to_amplitude

_RATE = 48_000


def _constant(value: float, frames: int) -> np.ndarray:
    return np.full((frames, 2), value, np.float32)


@given(st.floats(-60.0, 60.0), st.floats(-1.0, 1.0, width=32))
def test_a_gain_multiplies_up_to_full_scale(gain_db: float, value: float) -> None:
    out = Preamp(gain_db, _RATE, overload=False).process(_constant(value, 8), gain_db)
    expected = np.clip(value * 10 ** (gain_db / 20), -1.0, 1.0)
    # Below the smallest normal number float32 has no six digits.
    np.testing.assert_allclose(out, expected, rtol=1e-6, atol=float(np.finfo(np.float32).tiny))


@given(st.floats(-30.0, 30.0), st.floats(-30.0, 30.0), st.lists(st.integers(1, 300), min_size=1, max_size=20))
def test_a_turn_is_over_in_time_and_does_not_depend_on_blocks(
    old_db: float, new_db: float, cuts: list[int]
) -> None:
    frames = 960
    cuts = [*cuts, frames]
    whole = Preamp(old_db, _RATE, overload=False).process(_constant(1e-3, frames), new_db)
    preamp = Preamp(old_db, _RATE, overload=False)
    cut = np.concatenate([preamp.process(_constant(1e-3, n), new_db) for n in cuts])[:frames]
    np.testing.assert_allclose(cut, whole, rtol=1e-6)
    settled = round(TURN_S * _RATE)
    assert TURN_S <= 0.020
    np.testing.assert_allclose(whole[settled:], 1e-3 * 10 ** (new_db / 20), rtol=1e-5)
    # Every frame lies between the two, and no step is larger than the steepest point of a half-cosine.
    levels_db = 20 * np.log10(whole[:, 0] / 1e-3)
    steps_db = np.diff(levels_db, prepend=old_db)
    assert np.max(np.abs(steps_db)) <= abs(new_db - old_db) * np.pi / 2 / settled * 1.01 + 1e-4


def test_turning_again_before_the_end_does_not_jump() -> None:
    preamp = Preamp(0.0, _RATE, overload=False)
    first = preamp.process(_constant(0.01, 200), 20.0)
    second = preamp.process(_constant(0.01, 800), -20.0)
    step_db = 20 * np.log10(second[0, 0] / first[-1, 0])
    assert abs(step_db) < 0.2
    assert second[-1, 0] == pytest.approx(0.001, rel=1e-5)


def test_the_converter_ends_at_full_scale() -> None:
    loud = (1.5 * np.sin(np.arange(480) / 20.0)).astype(np.float32)[:, np.newaxis]
    out = Preamp(0.0, _RATE, overload=False).process(loud, 0.0)
    assert np.max(out) == 1.0
    assert np.min(out) == -1.0
    inside = np.abs(loud) < 1.0
    np.testing.assert_array_equal(out[inside], loud[inside])


def test_an_overloaded_preamp_bends_and_then_goes_flat_below_full_scale() -> None:
    limit = db_to_amplitude(OVERLOAD_DBFS)
    rising = np.linspace(-1.0, 1.0, 4001, dtype=np.float32)[:, np.newaxis]
    out = Preamp(0.0, _RATE, overload=True).process(rising, 0.0)
    straight = np.abs(rising) <= 0.9 * limit
    np.testing.assert_allclose(out[straight], rising[straight], atol=1e-7)
    flat = np.abs(rising) >= 1.1 * limit
    np.testing.assert_allclose(np.abs(out[flat]), limit, rtol=1e-5)
    assert np.all(np.diff(out[:, 0]) >= -1e-7)
    # Bent: no corner where the straight part ends.
    slopes = np.diff(out[:, 0]) / np.diff(rising[:, 0])
    assert np.max(np.abs(np.diff(slopes))) < 0.03


def test_turning_down_frees_an_overloaded_preamp() -> None:
    tone = (0.4 * np.sin(np.arange(4800) / 10.0)).astype(np.float32)[:, np.newaxis]
    out = Preamp(-12.0, _RATE, overload=True).process(tone, -12.0)
    np.testing.assert_allclose(out, tone * 10 ** (-12 / 20), rtol=1e-5, atol=1e-8)
