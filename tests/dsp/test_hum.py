"""Hum: which mains, how loud, and no accusation of somebody who holds a low note."""

import math

import numpy as np
import pytest

from dsp.chain import Chain
from dsp.hum import HumFinder

SECONDS = 12
SLOW_HZ = 8_000
"""Enough for hum, where the case itself does not need more."""


def _hum(rate_hz, mains_hz, level_dbfs, seconds=SECONDS):
    """Fundamental at ``level_dbfs``, the k-th of six harmonics 1/k of it."""
    t_s = np.arange(seconds * rate_hz) / rate_hz
    tones = sum(np.sin(2 * np.pi * k * mains_hz * t_s + k) / k for k in range(1, 7))
    return 10 ** (level_dbfs / 20) * tones


def _total_dbfs(level_dbfs):
    return level_dbfs + 10 * math.log10(sum(1 / k**2 for k in range(1, 7)))


def _noise(rate_hz, seed, level_dbfs=-75.0, seconds=SECONDS):
    rng = np.random.default_rng(seed)
    return 10 ** (level_dbfs / 20) / math.sqrt(2) * rng.standard_normal(seconds * rate_hz)


def _bass(rate_hz, seed, seconds=SECONDS):
    """Low E, A and G in phrases of three seconds, with rests of two."""
    rng = np.random.default_rng(seed)
    wave = np.zeros(seconds * rate_hz)
    for first in range(0, wave.size, rate_hz // 2):
        if first % (5 * rate_hz) >= 3 * rate_hz:
            continue
        t_s = np.arange(rate_hz // 2) / rate_hz
        pitch_hz = rng.choice([41.2, 55.0, 49.0, 82.4, 98.0])
        tone = sum(np.sin(2 * np.pi * k * pitch_hz * t_s) / k for k in range(1, 9))
        wave[first : first + t_s.size] += 0.15 * tone * np.exp(-2 * t_s)
    return wave


def _find(wave, rate_hz, group=100):
    samples = wave.astype(np.float32)
    samples = samples.reshape(samples.shape[0], -1)
    hop = round(rate_hz / 100)
    finder = HumFinder(rate_hz, samples.shape[1], hop)
    whole = samples.shape[0] // hop * hop
    for first in range(0, whole, group * hop):
        finder.process(samples[first : min(whole, first + group * hop)])
    return finder


@pytest.mark.parametrize(
    ("rate_hz", "mains_hz", "shift_hz"),
    [
        *((44_100, 50, 0.0), (44_100, 60, 0.1), (48_000, 50, 0.0), (48_000, 60, 0.0), (48_000, 50, 0.1)),
        *((48_000, 60, -0.2), (96_000, 50, -0.1), (192_000, 60, 0.0)),
    ],
)
def test_hum_under_a_bass_is_found_with_its_level(rate_hz, mains_hz, shift_hz):
    wave = _hum(rate_hz, mains_hz + shift_hz, -70.0) + _noise(rate_hz, 1) + _bass(rate_hz, 2)
    (found,) = _find(wave, rate_hz).found
    assert found is not None
    assert found.mains_hz == mains_hz
    assert found.level_dbfs == pytest.approx(_total_dbfs(-70.0), abs=1.0)


@pytest.mark.parametrize("level_dbfs", [-90.0, -70.0, -40.0])
def test_level_is_right_within_a_decibel(level_dbfs):
    (found,) = _find(_hum(48_000, 50, level_dbfs) + _noise(48_000, 3), 48_000).found
    assert found is not None
    assert found.level_dbfs == pytest.approx(_total_dbfs(level_dbfs), abs=1.0)


def test_nobody_is_accused_without_hum():
    for seed in range(4):
        finder = _find(_noise(48_000, seed) + _bass(48_000, seed + 10), 48_000)
        assert finder.found == (None,)
        assert finder.overall == (None,)


@pytest.mark.parametrize("pitch_hz", [49.0, 50.0, 51.91, 58.27, 60.0, 61.74, 98.0, 100.0, 120.0, 123.47])
def test_a_held_bass_note_is_no_hum(pitch_hz):
    t_s = np.arange(SECONDS * 48_000) / 48_000
    # A plucked string that is struck again every two seconds and rings on meanwhile.
    swell = np.exp(-1.2 * (t_s % 2.0))
    rich = sum(np.sin(2 * np.pi * k * pitch_hz * t_s) / k for k in range(1, 9))
    pure = np.sin(2 * np.pi * pitch_hz * t_s)
    if pitch_hz not in (50.0, 60.0):  # at the mains' own pitch only the pure tone can be told apart
        assert _find(0.1 * swell * rich + _noise(48_000, 1), 48_000).found == (None,)
    assert _find(0.1 * pure + _noise(48_000, 2), 48_000).found == (None,)


def test_silence_has_no_hum():
    assert _find(np.zeros(6 * 48_000), 48_000).found == (None,)


def test_five_seconds_are_needed():
    wave = _hum(48_000, 50, -50.0) + _noise(48_000, 1)
    assert _find(wave[: 4 * 48_000], 48_000).found == (None,)
    assert _find(wave[: 6 * 48_000], 48_000).found[0] is not None
    assert _find(wave[: 6 * 48_000], 48_000).overall[0] is not None


def test_each_channel_has_its_own_and_grouping_changes_nothing():
    hum, noise = _hum(48_000, 60, -60.0), _noise(48_000, 1)
    wave = np.stack([noise, noise + hum], axis=1)
    whole, single = _find(wave, 48_000), _find(wave[:, ::-1], 48_000, group=1)
    assert whole.found[0] is None
    assert whole.found[1].mains_hz == 60
    assert single.found[1] is None
    assert single.found[0].level_dbfs == pytest.approx(whole.found[1].level_dbfs, abs=1e-4)


def test_hum_that_ends_is_gone_after_ten_seconds_but_stays_in_the_summary():
    noise = _noise(48_000, 1, seconds=36)
    noise[: 20 * 48_000] += _hum(48_000, 50, -60.0, seconds=20)
    finder = _find(noise, 48_000)
    assert finder.found == (None,)
    assert finder.overall[0].mains_hz == 50


def _hits(seed, seconds=20, rest_s=0.2):
    """Low notes of a third of a second each, with no longer rest between them than ``rest_s``."""
    rng = np.random.default_rng(seed)
    wave = np.zeros(seconds * SLOW_HZ)
    t_s = np.arange(round((0.4 - rest_s) * SLOW_HZ)) / SLOW_HZ
    fade = np.minimum(1.0, (t_s[-1] - t_s) / 0.02)
    for first in range(0, wave.size - t_s.size, round(0.4 * SLOW_HZ)):
        pitch_hz = 55.0 * 2 ** (rng.integers(-5, 12) / 12)
        tone = sum(np.sin(2 * np.pi * k * pitch_hz * t_s + rng.uniform(0, 6)) / k for k in range(1, 9))
        wave[first : first + t_s.size] += 0.2 * tone * fade * np.exp(-3 * t_s)
    return wave


def _chords(seed, seconds=20):
    """Chords of an organ that trembles, each held until the next one."""
    rng = np.random.default_rng(seed)
    t_s = np.arange(seconds * SLOW_HZ) / SLOW_HZ
    tremble = 0.003 * np.sin(2 * np.pi * 6.0 * t_s) / 6.0
    wave = np.zeros(t_s.size)
    first = 0
    while first < wave.size:
        part = slice(first, first + round(rng.choice([0.5, 1.0, 2.0, 3.0]) * SLOW_HZ))
        root = 98.0 * 2 ** (rng.integers(0, 12) / 12)
        for pitch_hz in (root / 2, root, root * 2 ** (4 / 12), root * 2 ** (7 / 12)):
            for k in (1, 2, 3, 4, 6, 8):
                wave[part] += 0.02 * np.sin(2 * np.pi * k * pitch_hz * (t_s + tremble)[part])
        first = part.stop
    return wave


@pytest.mark.parametrize("mains_hz", [50.0, 49.9, 60.1])
def test_hum_is_found_between_notes_that_leave_a_fifth_of_a_second(mains_hz):
    wave = _hits(1) + _hum(SLOW_HZ, mains_hz, -60.0, 20) + _noise(SLOW_HZ, 1, seconds=20)
    (found,) = _find(wave, SLOW_HZ).overall
    assert found.mains_hz == round(mains_hz / 10) * 10
    assert found.level_dbfs == pytest.approx(_total_dbfs(-60.0), abs=0.5)


def test_hum_is_found_under_chords_that_never_rest():
    wave = _chords(2) + _hum(SLOW_HZ, 50, -55.0, 20) + _noise(SLOW_HZ, 1, seconds=20)
    (found,) = _find(wave, SLOW_HZ).overall
    assert found.mains_hz == 50
    assert found.level_dbfs == pytest.approx(_total_dbfs(-55.0), abs=1.0)


@pytest.mark.parametrize("seed", range(4))
def test_playing_without_a_rest_is_no_hum(seed):
    for playing in (_chords(seed), _hits(seed), _hits(seed, rest_s=0.0)):
        for noise_dbfs in (-75.0, -150.0):
            finder = _find(playing + _noise(SLOW_HZ, seed, noise_dbfs, seconds=20), SLOW_HZ)
            assert finder.found == (None,)
            assert finder.overall == (None,)


def test_hum_that_a_gate_cuts_out_is_found_nevertheless():
    open_ = (np.arange(20 * SLOW_HZ) // SLOW_HZ) % 3 > 0
    wave = open_ * (_hum(SLOW_HZ, 60, -60.0, 20) + _noise(SLOW_HZ, 1, seconds=20))
    (found,) = _find(wave, SLOW_HZ).overall
    assert found.mains_hz == 60
    assert found.level_dbfs == pytest.approx(_total_dbfs(-60.0), abs=0.5)


def test_a_grid_may_drift():
    t_s = np.arange(40 * SLOW_HZ) / SLOW_HZ
    turns = 49.95 * t_s + 0.002 * t_s**2 / 2  # 2 mHz a second
    hum = 1e-3 * sum(np.sin(2 * np.pi * k * turns + k) / k for k in range(1, 7))
    (found,) = _find(hum + _noise(SLOW_HZ, 4, seconds=40), SLOW_HZ).overall
    assert found.mains_hz == 50
    assert found.level_dbfs == pytest.approx(_total_dbfs(-60.0), abs=1.0)


@pytest.mark.parametrize("mains_hz", [48.0, 52.0, 58.3, 61.7])
def test_what_no_grid_does_is_no_hum(mains_hz):
    wave = _hum(SLOW_HZ, mains_hz, -50.0) + _noise(SLOW_HZ, 1)
    assert _find(wave, SLOW_HZ).found == (None,)


def test_gain_moves_the_level_by_itself():
    wave = _hum(SLOW_HZ, 50, -60.0) + _noise(SLOW_HZ, 1)
    loud, soft = (_find(gain * wave, SLOW_HZ).found[0] for gain in (1.0, 0.125))
    assert loud.level_dbfs - soft.level_dbfs == pytest.approx(20 * math.log10(8), abs=1e-4)


@pytest.mark.parametrize("group", [1, 7, 24, 30, 100, 2000])
def test_grouping_changes_neither_the_verdict_nor_the_moment(group):
    wave = (_hum(SLOW_HZ, 60, -60.0) + _noise(SLOW_HZ, 1) + _bass(SLOW_HZ, 3))[: SLOW_HZ * 79 // 10]
    found, expected = _find(wave, SLOW_HZ, group).found[0], _find(wave, SLOW_HZ, 790).found[0]
    assert found.mains_hz == expected.mains_hz
    assert found.level_dbfs == pytest.approx(expected.level_dbfs, abs=1e-4)


def test_a_constant_leaves_no_figure_that_is_none():
    """A constant has nothing at any line but rounding: no weight may be divided by none."""
    rate_hz = 48_000
    chain = Chain(rate_hz, 1)
    with np.errstate(all="raise", under="ignore"):
        for second in range(40):
            # As a counter of seconds gone by would be, a step of one bit after half a minute.
            chain.process(np.full((rate_hz, 1), (1 + second // 22) * 2.0**-23, np.float32))
