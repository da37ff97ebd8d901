"""Gated programme figures against the definition, with every block kept."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dsp.gating import ABSOLUTE_GATE_LUFS, BIN_LU, GatedBlocks, power_to_lufs


def power(lufs):
    return 10.0 ** ((np.asarray(lufs, dtype=np.float64) + 0.691) / 10.0)


def lufs_of(powers):
    return 10.0 * np.log10(np.mean(powers)) - 0.691


def survivors(levels, relative_lu):
    """BS.1770-5 Annex 1 equations (4) to (7): the blocks above both gates."""
    kept = levels[levels > ABSOLUTE_GATE_LUFS]
    return kept[kept > lufs_of(power(kept)) + relative_lu] if kept.size else kept


def filled(levels):
    blocks = GatedBlocks()
    blocks.add(power(levels), np.asarray(levels, dtype=np.float64))
    return blocks


def away_from_gate(levels, relative_lu):
    kept = levels[levels > ABSOLUTE_GATE_LUFS]
    gate = lufs_of(power(kept)) + relative_lu if kept.size else math.inf
    return np.all(np.abs(levels - gate) > 2 * BIN_LU)


@given(levels=st.lists(st.floats(-90.0, 10.0), min_size=1, max_size=200))
@settings(max_examples=200, deadline=None)
def test_figures_are_those_of_the_definition(levels):
    levels = np.array(levels)
    blocks = filled(levels)
    if away_from_gate(levels, -10.0):
        expected = survivors(levels, -10.0)
        if expected.size:
            assert blocks.integrated_lufs == pytest.approx(lufs_of(power(expected)), abs=1e-6)
        else:
            assert blocks.integrated_lufs == -math.inf
    if away_from_gate(levels, -20.0):
        expected = np.sort(survivors(levels, -20.0))
        if expected.size:
            low, high = (expected[math.floor((expected.size - 1) * p + 0.5)] for p in (0.10, 0.95))
            assert blocks.range_lu == pytest.approx(high - low, abs=2 * BIN_LU)
        else:
            assert math.isnan(blocks.range_lu)


def test_unknown_without_blocks_and_silent_with_silence():
    assert math.isnan(GatedBlocks().integrated_lufs)
    assert math.isnan(GatedBlocks().range_lu)
    silent = filled([-np.inf, -80.0, -70.0])
    assert silent.integrated_lufs == -math.inf
    assert math.isnan(silent.range_lu)


def test_levels_far_beyond_full_scale_count_with_their_power():
    assert filled([60.0, 60.0, -23.0]).integrated_lufs == pytest.approx(60.0, abs=1e-9)


def test_a_year_of_blocks_takes_no_more_room():
    blocks = filled([-23.0])
    before = blocks._counts.nbytes + blocks._powers.nbytes
    for _ in range(50):
        blocks.add(power(np.full(1000, -23.0)), np.full(1000, -23.0))
    assert blocks._counts.nbytes + blocks._powers.nbytes == before < 2_000_000
    assert blocks.integrated_lufs == pytest.approx(-23.0, abs=1e-9)


def test_power_to_lufs_keeps_unknown_apart_from_silence():
    lufs = power_to_lufs(np.array([np.nan, 0.0, 1.0]))
    assert math.isnan(lufs[0])
    assert lufs[1] == -math.inf
    assert lufs[2] == pytest.approx(-0.691)
