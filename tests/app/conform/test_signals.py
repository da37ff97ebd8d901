"""The test signals are what their definitions say, checked by other means than those that make them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from app.conform import scenes, signals

RATES = (44100, 48000, 192000)


def joined(blocks):
    return np.concatenate(list(blocks))


@pytest.mark.parametrize("rate_hz", RATES)
@pytest.mark.parametrize("f_hz", [1000, 997])
def test_a_tone_is_one_running_sine(rate_hz, f_hz):
    x = joined(signals.tone(rate_hz, [(0.7, (-6.0, -20.0)), (1.85, (-12.0, -20.0))], f_hz))
    assert x.shape == (round(2.55 * rate_hz), 2)
    assert x.dtype == np.float32
    n = np.arange(len(x))
    level = np.where(n < round(0.7 * rate_hz), 10 ** (-6 / 20), 10 ** (-12 / 20))
    wave = np.sin(2 * np.pi * ((n * f_hz) % rate_hz) / rate_hz)
    np.testing.assert_allclose(x[:, 0], level * wave, atol=1e-6)
    np.testing.assert_allclose(x[:, 1], 0.1 * wave, atol=1e-6)


def test_segments_end_where_the_sum_of_their_lengths_says():
    # Twenty-five times 0.18 s + 0.22 s at 44.1 kHz: rounding each alone would drift.
    x = joined(signals.tone(44100, signals.stereo(*[(0.18, -20), (0.22, -30)] * 25)))
    assert len(x) == 10 * 44100


def test_silence_is_zero():
    assert not joined(signals.tone(48000, signals.stereo((0.5, signals.SILENCE)))).any()


def test_small_blocks_are_the_same_signal():
    segments = signals.stereo((1.3, -20))
    whole = joined(signals.tone(48000, segments))
    blocks = list(signals.in_small_blocks(signals.tone(48000, segments), 512))
    assert max(len(block) for block in blocks) == 512
    np.testing.assert_array_equal(np.concatenate(blocks), whole)


def true_peak_dbtp(column, times=32):
    """The peak of the band-limited waveform, by filling up the spectrum with zeros."""
    spectrum = np.fft.rfft(column.astype(np.float64))
    fine = np.fft.irfft(spectrum, column.size * times) * times
    return 20 * math.log10(np.abs(fine).max())


@pytest.mark.parametrize("rate_hz", RATES)
def test_peaks_between_samples_have_the_true_peaks_and_sample_peaks_of_the_table(rate_hz):
    x = joined(signals.peaks_between_samples(rate_hz))
    # Sample peaks by trigonometry: fs/4 at 0° hits the peak; 45° misses it by cos 45°, and so on.
    hit = [0.5, 0.5 * math.cos(math.pi / 4), 0.5 * math.cos(math.pi / 6)]
    hit += [0.5 * math.cos(math.pi / 8), 1.41 * math.cos(math.pi / 4)]
    np.testing.assert_allclose(np.abs(x).max(axis=0), hit, rtol=1e-4)
    middle = x[len(x) // 4 : len(x) // 4 + 4800]
    for column, amplitude in zip(middle.T, (0.5, 0.5, 0.5, 0.5, 1.41), strict=True):
        assert true_peak_dbtp(column * np.hanning(4800)) == pytest.approx(
            20 * math.log10(amplitude), abs=0.05
        )


@pytest.mark.parametrize("rate_hz", RATES)
def test_peaks_between_grids_reach_full_scale_between_samples(rate_hz):
    x = joined(signals.peaks_between_grids(rate_hz))
    # The loud period loses a little to the band limit; all four decimations carry the same waveform.
    readings = [true_peak_dbtp(column) for column in x.T]
    assert np.ptp(readings) < 0.02
    assert -0.35 < np.mean(readings) < 0.0
    sample_peaks = 20 * np.log10(np.abs(x).max(axis=0))
    # One step of the finer grid to either side reads alike, the farthest grid by far the least.
    assert sample_peaks[1] == pytest.approx(sample_peaks[3], abs=0.01)
    assert sample_peaks[0] > sample_peaks[1] + 0.2 > sample_peaks[2] + 2.0


def test_noise_has_its_level_and_its_band():
    x = scenes.noise(48000, 10.0, -70.0, 100.0, 1000.0, 0.0, seed=3)
    assert 20 * math.log10(math.sqrt(2 * np.mean(x**2))) == pytest.approx(-70.0, abs=1e-6)
    power = np.abs(np.fft.rfft(x)) ** 2
    f_hz = np.fft.rfftfreq(x.size, 1 / 48000)
    assert power[(f_hz >= 100) & (f_hz <= 1000)].sum() == pytest.approx(power.sum(), rel=1e-9)


def test_pink_noise_has_equal_power_in_every_octave():
    x = scenes.noise(48000, 30.0, -20.0, 20.0, 20000.0, 1.0, seed=4)
    power = np.abs(np.fft.rfft(x)) ** 2
    f_hz = np.fft.rfftfreq(x.size, 1 / 48000)
    octaves = [power[(f_hz >= low) & (f_hz < 2 * low)].sum() for low in (100, 400, 1600, 6400)]
    np.testing.assert_allclose(octaves, np.mean(octaves), rtol=0.1)


@pytest.mark.parametrize("share", [0.5, 0.8, 0.95])
def test_playing_fills_its_share_and_leaves_the_rest_silent(share):
    x = scenes.playing(48000, 10.0, share, (220.0, 330.0))
    for start in (0, 5):
        pause = x[round((start + 5 * share) * 48000) : (start + 5) * 48000]
        assert pause.size == pytest.approx((1 - share) * 5 * 48000, abs=1)
        assert not pause.any()
        assert np.abs(x[start * 48000 : round((start + 5 * share) * 48000)]).max() > 0.05
    assert 20 * math.log10(np.abs(x).max()) == pytest.approx(-20.0, abs=1e-9)


def test_hum_has_the_level_it_is_named_by():
    x = scenes.hum(48000, 10.0, 50.0, -70.0)
    spectrum = np.abs(np.fft.rfft(x)) / (x.size / 2)
    lines = [20 * math.log10(spectrum[round(50 * k * 10)]) for k in range(1, 7)]
    np.testing.assert_allclose(lines, [-70 - 20 * math.log10(k) for k in range(1, 7)], atol=1e-6)


def test_overload_leaves_flat_tops_under_full_scale():
    fine = scenes.chords(4 * 48000, 4.0, seed=6)
    cut = scenes.overloaded(fine, 48000, 4, 6.0, 0.5)
    clean = scenes.overloaded(fine, 48000, 4, 0.0, 0.5)
    assert np.abs(clean).max() == pytest.approx(0.5, abs=0.02)
    assert np.abs(cut).max() < 0.6

    def near_the_top(x):
        return np.mean(np.abs(x) > 0.97 * np.abs(clean).max())

    assert near_the_top(cut) > 5 * near_the_top(clean)


@pytest.mark.parametrize("bits", [16, 24])
def test_dithered_silence_has_the_power_of_the_arithmetic(bits):
    # Rounding adds 1/12, triangular dither 1/6 of a code squared.
    x = signals.quantised(np.zeros(200_000), bits, np.random.default_rng(1)).astype(np.float64)
    code = 2.0 ** -(bits - 1)
    assert np.mean(x**2) / code**2 == pytest.approx(1 / 12 + 1 / 6, rel=0.02)
    np.testing.assert_array_equal(x / code, np.round(x / code))
