"""Decibels against their definition (AES17-2020, 3.12)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dsp.decibels import (
    AES17_OFFSET_DB,
    amplitude_to_db,
    db_to_amplitude,
    mean_square_to_dbfs,
    power_to_db,
)


@pytest.mark.parametrize(("ratio", "level_db"), [(1.0, 0.0), (10.0, 20.0), (0.1, -20.0), (2.0, 6.0206)])
def test_an_amplitude_ratio_reads_twenty_log(ratio, level_db):
    assert amplitude_to_db(ratio) == pytest.approx(level_db, abs=1e-4)
    assert power_to_db(ratio) == pytest.approx(level_db / 2.0, abs=1e-4)


def test_a_full_scale_sine_reads_zero_as_an_rms_level():
    sine = np.sin(2.0 * np.pi * np.arange(4800) / 48.0)
    assert mean_square_to_dbfs(float(np.mean(sine**2))) == pytest.approx(0.0, abs=1e-9)
    assert mean_square_to_dbfs(1.0) == pytest.approx(10.0 * math.log10(2.0))


@pytest.mark.parametrize("nothing", [0.0, -0.0, -1.0])
def test_nothing_reads_minus_infinity_without_a_warning(nothing):
    assert amplitude_to_db(nothing) == -math.inf
    assert power_to_db(np.array([nothing, 1.0])).tolist() == [-math.inf, 0.0]
    assert mean_square_to_dbfs(nothing) == -math.inf
    assert db_to_amplitude(-math.inf) == 0.0


def test_what_is_not_known_stays_not_known():
    assert math.isnan(amplitude_to_db(np.array([math.nan]))[0])
    assert math.isnan(amplitude_to_db(math.nan))


def test_float32_is_read_in_full_precision_and_left_alone():
    given_values = np.array([[0.5, 0.25]], np.float32)
    levels = amplitude_to_db(given_values)
    assert levels.dtype == np.float64
    assert levels.shape == (1, 2)
    np.testing.assert_allclose(levels, [[-6.020599913, -12.041199827]], atol=1e-9)
    assert given_values.tolist() == [[0.5, 0.25]]


@given(st.floats(-200.0, 200.0))
def test_a_level_comes_back_from_its_ratio(level_db):
    assert amplitude_to_db(db_to_amplitude(level_db)) == pytest.approx(level_db, abs=1e-9)


@given(st.floats(1e-12, 1e12))
def test_power_and_amplitude_agree(ratio):
    assert power_to_db(ratio**2) == pytest.approx(amplitude_to_db(ratio), abs=1e-9)
    assert mean_square_to_dbfs(ratio) - power_to_db(ratio) == pytest.approx(AES17_OFFSET_DB, abs=1e-9)
    assert power_to_db(np.array([ratio]))[0] == pytest.approx(power_to_db(ratio), abs=1e-9)
