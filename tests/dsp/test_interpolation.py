"""The fractional-delay filters, and the bound that the true peak's pruning rests on."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dsp.interpolation import Blockwise, bend_gain, fractional_delays

SHAPES = [(16, 4, 6.0), (32, 16, 5.0), (32, 8, 5.0)]


def with_samples(delays):
    """The filters with the two samples themselves before and after, as filters too."""
    unit = np.eye(delays.shape[1])
    half = delays.shape[1] // 2
    return np.concatenate((unit[half - 1 : half], delays, unit[half : half + 1]))


@pytest.mark.parametrize(("half_taps", "factor", "beta"), SHAPES)
def test_constants_and_straight_lines_come_back_exactly(half_taps, factor, beta):
    delays = fractional_delays(half_taps, factor, beta)
    at = np.arange(1 - half_taps, half_taps + 1)
    assert delays.shape == (factor - 1, 2 * half_taps)
    np.testing.assert_allclose(delays.sum(axis=1), 1.0, atol=1e-13)
    np.testing.assert_allclose(delays @ at, np.arange(1, factor) / factor, atol=1e-12)


@pytest.mark.parametrize(
    ("half_taps", "factor", "beta", "tones", "limit_db"),
    [(16, 4, 6.0, (0.01, 0.25, 0.4), 0.01), (32, 16, 5.0, (0.001, 0.01, 0.1, 0.25, 0.4, 0.45), 0.02)],
)
def test_a_tone_comes_back_at_its_level_and_place(half_taps, factor, beta, tones, limit_db):
    delays = fractional_delays(half_taps, factor, beta)
    at = np.arange(1 - half_taps, half_taps + 1)
    for tone in tones:
        wanted = np.exp(2j * np.pi * tone * np.arange(1, factor) / factor)
        error = np.abs(delays @ np.exp(2j * np.pi * tone * at) / wanted - 1.0).max()
        assert error < 10 ** (limit_db / 20.0) - 1.0


@pytest.mark.parametrize(("half_taps", "factor", "beta"), SHAPES)
def test_the_filters_mirror_each_other(half_taps, factor, beta):
    delays = fractional_delays(half_taps, factor, beta)
    np.testing.assert_allclose(delays[::-1, ::-1], delays, atol=1e-13)


@settings(deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from([2, 4, 8, 16]), st.sampled_from(["noise", "walk", "steps"]))
def test_no_value_passes_its_neighbours_by_more_than_the_bend_gain_allows(seed, spacing, kind):
    delays = fractional_delays(24, 16, 6.0)
    x = np.random.default_rng(seed).uniform(-1.0, 1.0, 48)
    if kind == "walk":
        x = np.cumsum(x)
    elif kind == "steps":
        x = np.sign(x)
    values = with_samples(delays) @ x
    largest_bend = np.abs(np.diff(x, 2)).max()
    coarse = np.abs(values[::spacing])
    for i in range(16 // spacing):
        within = np.abs(values[i * spacing : (i + 1) * spacing + 1]).max()
        assert within <= coarse[i : i + 2].max() + bend_gain(delays, spacing) * largest_bend + 1e-9


@pytest.mark.parametrize("spacing", [2, 4, 16])
def test_the_bend_gain_is_reached_by_the_worst_signal(spacing):
    """So it is not only safe but the smallest number that is."""
    delays = fractional_delays(24, 16, 6.0)
    grid = with_samples(delays)
    reached = 0.0
    for j in range(1, 16):
        left = j - j % spacing
        if j == left:
            continue
        part = (j - left) / spacing
        rest = grid[j] - (1 - part) * grid[left] - part * grid[left + spacing]
        # How the difference from the straight line answers to a bend of 1 at each place.
        ramps = np.maximum(0, np.arange(48)[np.newaxis] - np.arange(1, 47)[:, np.newaxis])
        bends = np.sign(ramps @ rest)
        x = bends @ ramps
        assert np.abs(np.diff(x, 2)).max() <= 1.0
        reached = max(reached, rest @ x)
    assert reached == pytest.approx(bend_gain(delays, spacing), rel=1e-9)


def test_on_the_same_grid_nothing_passes_anything():
    assert bend_gain(fractional_delays(24, 4, 6.0), 1) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("frames", [31, 32, 80, 441])
def test_block_products_equal_the_sums_that_they_stand_for(frames):
    delays = fractional_delays(16, 4, 6.0)
    stretches = np.random.default_rng(3).uniform(-1.0, 1.0, (5, frames + 31)).astype(np.float32)
    direct = np.abs(
        [[delays @ row[n : n + 32].astype(np.float64) for n in range(frames)] for row in stretches]
    )
    exact = Blockwise(delays, frames, np.float64)
    np.testing.assert_allclose(exact.highest(stretches), direct.max(axis=2), rtol=1e-12)
    np.testing.assert_allclose(exact.total(stretches), direct.sum(axis=(1, 2)), rtol=1e-12)
    quick = Blockwise(delays, frames, np.float32)
    assert quick.highest(stretches).dtype == np.float32
    np.testing.assert_allclose(quick.highest(stretches), direct.max(axis=2), atol=2e-6)
