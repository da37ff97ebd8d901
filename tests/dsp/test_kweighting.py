"""K-weighting against the tables of BS.1770-5 and against a plain recursion."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dsp.hops import hop_frames
from dsp.kweighting import KWeightedPower, k_weighting

RATES = (44100, 48000, 88200, 96000, 192000)

# BS.1770-5 Annex 1 Tables 1 and 2; response at 48 kHz computed from them.
TABLE_48K = (
    (1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585),
    (1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621),
)
RESPONSE_DB = {
    20: -13.28,
    38: -6.00,
    60: -2.90,
    100: -1.13,
    200: -0.27,
    500: 0.04,
    997: 0.691,
    2000: 3.07,
    5000: 4.01,
    10000: 4.04,
}


def recursion(sections, x):
    """The difference equation, frame by frame."""
    y = np.asarray(x, dtype=np.float64)
    for b0, b1, b2, _, a1, a2 in sections:
        out = np.zeros_like(y)
        x1 = x2 = y1 = y2 = np.zeros(y.shape[1])
        for n in range(len(y)):
            out[n] = b0 * y[n] + b1 * x1 + b2 * x2 - a1 * y1 - a2 * y2
            x1, x2, y1, y2 = y[n], x1, out[n], y1
        y = out
    return y


def noise(frames, channels, seed=1):
    rng = np.random.default_rng(seed)
    return rng.uniform(-0.5, 0.5, (frames, channels)).astype(np.float32) + np.float32(0.2)


def test_coefficients_at_48_khz_are_those_of_the_standard():
    np.testing.assert_allclose(k_weighting(48000), TABLE_48K, rtol=0, atol=1e-12)


@pytest.mark.parametrize("rate_hz", RATES)
def test_response(rate_hz):
    tolerance_db = 0.02 if rate_hz == 48000 else 0.05
    for f_hz, expected_db in RESPONSE_DB.items():
        z = np.exp(-2j * np.pi * f_hz / rate_hz * np.arange(3))
        gain = np.prod([abs(s[:3] @ z) / abs(s[3:] @ z) for s in k_weighting(rate_hz)])
        assert 20 * np.log10(gain) == pytest.approx(expected_db, abs=tolerance_db), f_hz


# 1103 and 2206 Hz hops have no convenient divisor; 220 has 55; 441 has 63.
@pytest.mark.parametrize("rate_hz", [*RATES, 8000, 22050, 11025, 110300])
def test_mean_squares_are_those_of_the_recursion(rate_hz):
    hop = hop_frames(rate_hz)
    x = noise(6 * hop, 2)
    y = recursion(k_weighting(rate_hz), x)
    expected = (y**2).reshape(6, hop, 2).mean(axis=1)
    np.testing.assert_allclose(KWeightedPower(rate_hz, 2, hop).process(x), expected, rtol=1e-8)


@given(cuts=st.lists(st.integers(1, 199), max_size=8, unique=True), channels=st.integers(1, 3))
@settings(max_examples=20, deadline=None)
def test_figures_do_not_depend_on_how_the_hops_were_grouped(cuts, channels):
    x = noise(200 * 441, channels)
    whole = KWeightedPower(44100, channels, 441).process(x)
    split = KWeightedPower(44100, channels, 441)
    edges = [0, *sorted(cuts), 200]
    parts = [split.process(x[441 * a : 441 * b]) for a, b in itertools.pairwise(edges)]
    np.testing.assert_allclose(np.concatenate(parts), whole, rtol=1e-9)


def test_silence_after_sound_dies_away_to_zero_exactly():
    power = KWeightedPower(48000, 1, 480)
    power.process(noise(480 * 100, 1))
    assert np.all(power.process(np.zeros((480 * 400, 1), np.float32))[300:] == 0.0)


@pytest.mark.parametrize("rate_hz", [48, 3999])
def test_a_rate_without_room_for_the_shelf_is_refused(rate_hz):
    with pytest.raises(ValueError, match="4000 or more"):
        k_weighting(rate_hz)
