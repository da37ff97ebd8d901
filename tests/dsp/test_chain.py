"""The chain: the same figures however the stream is cut, and nothing that one bad sample can spread."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dsp.chain import Chain
from dsp.hops import hop_frames
from dsp.reading import ClipKind, FaultKind

RATE_HZ = 48_000


def _music(seconds, channels=2, rate_hz=RATE_HZ, seed=1):
    """Bursts of decaying tones over quiet noise, up to about -6 dBFS."""
    rng = np.random.default_rng(seed)
    frames = round(seconds * rate_hz)
    t_s = np.arange(frames) / rate_hz
    envelope = np.exp(-3.0 * (t_s % 0.7))
    tones = [np.sin(2 * np.pi * f * t_s + p) for f, p in zip((110.0, 331.7), (0.3, 1.1), strict=True)]
    sound = np.stack([0.5 * envelope * tones[c % 2] for c in range(channels)], axis=1)
    return (sound + 1e-4 * rng.standard_normal((frames, channels))).astype(np.float32)


def _run(samples, sizes, rate_hz=RATE_HZ):
    chain = Chain(rate_hz, samples.shape[1])
    readings, at = [], 0
    while at < samples.shape[0]:
        size = sizes[len(readings) % len(sizes)] if sizes else samples.shape[0]
        readings.append(chain.process(samples[at : at + size]))
        at += size
    readings.append(chain.finish())
    return chain.summary(), [reading for reading in readings if reading is not None]


def _series(readings, name):
    return np.concatenate([getattr(reading, name) for reading in readings])


@settings(max_examples=15, deadline=None)
@given(sizes=st.lists(st.integers(1, 9000), min_size=1, max_size=20))
def test_block_sizes_change_nothing(sizes):
    samples = _music(1.3)
    samples[20_000:20_011] = 1.0
    whole, whole_readings = _run(samples, [])
    cut, cut_readings = _run(samples, [max(64, size) for size in sizes])
    for name in ("average_dbfs", "peak_dbfs", "momentary_lufs", "short_term_lufs"):
        np.testing.assert_allclose(
            _series(cut_readings, name), _series(whole_readings, name), rtol=0, atol=1e-9, equal_nan=True
        )
    assert [clip for each in cut_readings for clip in each.clips] == [
        clip for each in whole_readings for clip in each.clips
    ]
    for name in ("peak_dbfs", "true_peak_dbtp", "average_max_dbfs", "rms_dbfs", "dc_offset"):
        np.testing.assert_allclose(getattr(cut, name), getattr(whole, name), rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 88_200, 96_000, 192_000])
def test_a_sine_reads_what_it_is_at_every_rate(rate_hz):
    t_s = np.arange(3 * rate_hz) / rate_hz
    tone = (10 ** (-18 / 20) * np.sin(2 * np.pi * 997 * t_s)).astype(np.float32)[:, None]
    summary, readings = _run(tone, [4096], rate_hz)
    assert readings[-2].average_dbfs[-1, 0] == pytest.approx(-18.0, abs=0.05)
    assert summary.peak_dbfs[0] == pytest.approx(-18.0, abs=0.05)
    assert summary.true_peak_dbtp[0] == pytest.approx(-18.0, abs=0.1)
    assert summary.rms_dbfs[0] == pytest.approx(-18.0, abs=0.01)
    assert summary.crest_db[0] == pytest.approx(3.01, abs=0.05)
    assert summary.frames == tone.shape[0]


@pytest.mark.parametrize("channels", [1, 3, 32])
def test_channels_do_not_touch_each_other(channels):
    samples = _music(0.5, channels)
    together, _ = _run(samples, [4800])
    for channel in {0, channels - 1}:
        alone, _ = _run(samples[:, [channel]], [4800])
        for name in ("peak_dbfs", "true_peak_dbtp", "average_max_dbfs", "rms_dbfs"):
            assert getattr(together, name)[channel] == pytest.approx(getattr(alone, name)[0], abs=1e-9)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_a_bad_sample_is_counted_and_goes_no_further(bad):
    clean = _music(1.0)
    clean[24_000] = 0.0
    spoilt = clean.copy()
    spoilt[24_000, 1] = bad
    expected, _ = _run(clean, [480])
    summary, readings = _run(spoilt, [480])
    assert summary.bad_samples == sum(reading.bad_samples for reading in readings) == 1
    for name in ("peak_dbfs", "average_max_dbfs", "rms_dbfs", "true_peak_dbtp", "integrated_lufs"):
        np.testing.assert_allclose(getattr(summary, name), getattr(expected, name), atol=1e-9)
    assert FaultKind.BAD_SAMPLES in {fault.kind for fault in summary.faults}


def test_denormals_are_silence():
    faint = np.full((4800, 1), 1e-40, np.float32)
    summary, readings = _run(faint, [480])
    assert summary.peak_dbfs[0] == -math.inf
    assert np.all(np.isneginf(_series(readings, "average_dbfs")))


def test_silence_has_no_numbers_that_are_none():
    summary, readings = _run(np.zeros((RATE_HZ, 2), np.float32), [480])
    assert np.all(np.isneginf(summary.peak_dbfs))
    assert np.all(np.isneginf(summary.rms_dbfs))
    assert np.all(np.isneginf(_series(readings, "peak_dbfs")))


def test_a_gap_moves_places_and_breaks_clips():
    samples = np.zeros((1000, 1), np.float32)
    samples[995:] = 1.0
    chain = Chain(RATE_HZ, 1)
    first = chain.process(samples)
    gap = chain.gap(4000)
    after = chain.process(samples[::-1].copy())
    end = chain.finish()
    clips = [clip for each in (first, gap, after, end) for clip in each.clips]
    assert [(clip.kind, clip.start_frame, clip.frames) for clip in clips] == [
        (ClipKind.FULL_SCALE, 995, 5),
        (ClipKind.FULL_SCALE, 5000, 5),
    ]
    assert chain.position_frames == 6000


def test_the_last_short_hop_is_measured():
    samples = np.zeros((481, 1), np.float32)
    samples[480] = 0.5
    summary, readings = _run(samples, [])
    assert summary.peak_dbfs[0] == pytest.approx(-6.02, abs=0.01)
    assert sum(reading.frames for reading in readings) == 481
    assert summary.dc_offset[0] == pytest.approx(0.5 / 481)


def test_resetting_lets_the_peaks_go():
    chain = Chain(RATE_HZ, 1)
    chain.process(np.full((480, 1), 0.9, np.float32))
    chain.reset_hold()
    reading = chain.process(np.full((4800, 1), 0.1, np.float32))
    assert reading.peak_hold_dbfs[0] == pytest.approx(-20.0, abs=1e-5)


@pytest.mark.parametrize(
    ("rate_hz", "channels"), [(48, 1), (7_999, 1), (384_001, 2), (48_000, 0), (48_000, 33)]
)
def test_what_cannot_be_measured_is_refused(rate_hz, channels):
    with pytest.raises(ValueError, match="can be measured"):
        Chain(rate_hz, channels)


def test_hops_are_ten_milliseconds():
    assert [hop_frames(rate) for rate in (8_000, 44_100, 48_000, 192_000)] == [80, 441, 480, 1920]
    with pytest.raises(ValueError, match="not kHz"):
        hop_frames(48)
