"""Hum: which mains, how loud, and no accusation of somebody who holds a low note."""

import math

import numpy as np
import pytest

from dsp.hum import HumFinder

SECONDS = 12


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
