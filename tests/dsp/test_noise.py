"""Noise floor: right within half a decibel while somebody plays, unknown where nobody could know."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dsp.noise import NoiseFloor, QuietMeasurement
from dsp.weighting import a_weighting_power, power_spectrum

RATE_HZ = 48_000
HOP = 480
NOISE_DBFS = -70.0


def _noise(seconds, color, seed, rate_hz=RATE_HZ):
    """Gaussian noise at NOISE_DBFS (AES17), shaped in the frequency domain."""
    rng = np.random.default_rng(seed)
    frames = round(seconds * rate_hz)
    f_hz = np.fft.rfftfreq(frames, 1 / rate_hz)
    shape = {
        "white": np.ones_like(f_hz),
        "pink": 1 / np.sqrt(np.maximum(f_hz, 10.0)) * (f_hz > 10.0),
        "rumble": ((f_hz > 15.0) & (f_hz < 120.0)).astype(float),
        "audio band": ((f_hz > 20.0) & (f_hz < 20_000.0)).astype(float),
    }[color]
    wave = np.fft.irfft(np.fft.rfft(rng.standard_normal(frames)) * shape, frames)
    return wave * (10 ** (NOISE_DBFS / 20) / math.sqrt(2)) / np.sqrt(np.mean(wave**2))


def _playing(seconds, share, seed, rate_hz=RATE_HZ):
    """Plucked notes for ``share`` of every five seconds, damped to silence at the end of a phrase."""
    rng = np.random.default_rng(seed)
    wave = np.zeros(round(seconds * rate_hz))
    phrase = 5 * rate_hz
    for first in range(0, wave.size, phrase):
        end = min(wave.size, first + round(share * phrase))
        at = first
        while at < end:
            length = min(round(rng.uniform(0.15, 0.5) * rate_hz), end - at)
            t_s = np.arange(length) / rate_hz
            pitch_hz = 82.4 * 2 ** (rng.integers(0, 24) / 12)
            tone = sum(np.sin(2 * np.pi * k * pitch_hz * t_s) / k for k in range(1, 6))
            wave[at : at + length] += 10 ** (rng.uniform(-26, -14) / 20) * tone * np.exp(-2 * t_s)
            at += length
    return wave


def _floor(wave, rate_hz=RATE_HZ, memory_s=60.0, group=200):
    hop = rate_hz // 100
    samples = wave.astype(np.float32)
    samples = samples.reshape(samples.shape[0], -1)
    floor = NoiseFloor(rate_hz, samples.shape[1], hop, memory_s)
    for first in range(0, samples.shape[0] // hop * hop, group * hop):
        floor.process(samples[first : first + group * hop][: samples.shape[0] // hop * hop - first])
    return floor


@pytest.mark.parametrize("share", [0.0, 0.3, 0.5, 0.7, 0.8])
@pytest.mark.parametrize(("color", "tolerance_db"), [("white", 0.5), ("pink", 0.5), ("rumble", 1.0)])
def test_the_floor_is_right_while_somebody_plays(color, tolerance_db, share):
    for seed in range(2):
        wave = _noise(25, color, seed) + _playing(25, share, seed + 100)
        assert _floor(wave).level_dbfs[0] == pytest.approx(NOISE_DBFS, abs=tolerance_db)


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_every_rate(rate_hz):
    wave = _noise(20, "white", 1, rate_hz) + _playing(20, 0.6, 2, rate_hz)
    assert _floor(wave, rate_hz).level_dbfs[0] == pytest.approx(NOISE_DBFS, abs=0.5)


@pytest.mark.parametrize("share", [0.95, 1.0])
def test_without_quiet_it_is_not_known(share):
    for seed in range(3):
        floor = _floor(_noise(25, "white", seed) + _playing(25, share, seed + 50))
        assert math.isnan(floor.level_dbfs[0])
        assert math.isnan(floor.level_dba[0])


def test_a_held_chord_is_no_noise():
    t_s = np.arange(20 * RATE_HZ) / RATE_HZ
    chord = sum(np.sin(2 * np.pi * f * t_s) for f in (220.0, 277.2, 329.6)) * 0.05
    assert math.isnan(_floor(chord).level_dbfs[0])


def test_a_note_that_rings_out_is_no_noise():
    t_s = np.arange(20 * RATE_HZ) / RATE_HZ
    note = 0.01 * np.exp(-0.02 * t_s) * np.sin(2 * np.pi * 110 * t_s)
    assert math.isnan(_floor(note).level_dbfs[0])


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("decay_s", [0.05, 0.1, 0.3])
def test_hits_that_ring_into_the_noise_do_not_raise_it(seed, decay_s):
    """Like cymbals: noise themselves, so that nothing but their level moves."""
    rng = np.random.default_rng(seed)
    frames = 30 * RATE_HZ
    t_s = np.arange(frames) / RATE_HZ
    hit_s = np.cumsum(rng.choice([0.15, 0.3, 0.3, 0.6, 0.9], 200))
    since_s = t_s - hit_s[np.maximum(0, np.searchsorted(hit_s, t_s) - 1)]
    ringing = 0.05 * np.exp(-np.maximum(0.0, since_s) / decay_s) * rng.standard_normal(frames)
    level_dbfs = _floor(_noise(30, "white", seed) * 10 + ringing).level_dbfs[0]
    assert math.isnan(level_dbfs) or abs(level_dbfs - NOISE_DBFS - 20) < 0.5
    if decay_s == 0.05:
        assert not math.isnan(level_dbfs)


def test_two_seconds_are_needed():
    assert math.isnan(_floor(_noise(1.9, "white", 1)).level_dbfs[0])
    assert _floor(_noise(2.6, "white", 1)).level_dbfs[0] == pytest.approx(NOISE_DBFS, abs=0.3)


def test_exact_zeros_are_no_measurement():
    floor = _floor(np.zeros(5 * RATE_HZ))
    assert math.isnan(floor.level_dbfs[0])
    assert math.isnan(floor.level_dba[0])


@pytest.mark.parametrize("zeros_s", [3, 30, 50])
def test_zeros_before_an_input_is_switched_on_hide_no_noise(zeros_s):
    # Not in whole blocks: the switch knows nothing of them.
    zeros, noise = np.zeros(zeros_s * RATE_HZ + 1300), _noise(5, "audio band", zeros_s)
    heard = _floor(np.concatenate((zeros, noise)), group=10)
    alone = _floor(noise, group=10)
    assert heard.level_dbfs[0] == pytest.approx(alone.level_dbfs[0], abs=0.1)
    assert heard.level_dba[0] == pytest.approx(alone.level_dba[0], abs=0.3)
    off = _floor(np.concatenate((noise, zeros)), group=10).level_dbfs[0]
    assert math.isnan(off) or off == pytest.approx(alone.level_dbfs[0], abs=0.1), "it is off now"


@pytest.mark.parametrize("memory_s", [60.0, None])
@pytest.mark.parametrize("seed", range(3))
def test_playing_through_a_gate_is_no_noise(seed, memory_s):
    assert math.isnan(_floor(_playing(25, 0.55, seed), memory_s=memory_s).level_dbfs[0])


def test_a_tone_with_rests_is_no_noise():
    t_s = np.arange(12 * RATE_HZ) / RATE_HZ
    tone = 0.005 * np.sin(2 * np.pi * 440 * t_s) * (t_s % 1.0 < 0.6)
    assert math.isnan(_floor(tone).level_dbfs[0])


def test_a_weighting_takes_what_the_curve_says():
    # White noise from 20 Hz to 20 kHz loses 2.05 dB.
    floor = _floor(_noise(20, "audio band", 3))
    assert floor.level_dba[0] == pytest.approx(NOISE_DBFS - 2.05, abs=0.2)


@pytest.mark.parametrize(
    ("nominal_hz", "expected_db"),
    [
        *((31.5, -39.4), (63, -26.2), (100, -19.1), (250, -8.6), (500, -3.2), (1000, 0.0)),
        *((2000, 1.2), (2500, 1.3), (4000, 1.0), (8000, -1.1), (16000, -6.6), (20000, -9.3)),
    ],
)
def test_the_curve_is_the_printed_one(nominal_hz, expected_db):
    # IEC 61672-1 prints the values at the exact third-octave centres.
    exact_hz = 1000.0 * 10 ** (round(10 * math.log10(nominal_hz / 1000)) / 10)
    assert 10 * math.log10(a_weighting_power(np.array([exact_hz]))[0]) == pytest.approx(expected_db, abs=0.06)


def test_a_spectrum_keeps_the_power():
    blocks = np.random.default_rng(0).standard_normal((200, 2400))
    assert power_spectrum(blocks).sum(axis=1).mean() == pytest.approx(1.0, rel=0.02)
    assert power_spectrum(blocks[:, :2399]).sum(axis=1).mean() == pytest.approx(1.0, rel=0.02)


@settings(max_examples=6, deadline=None)
@given(group=st.integers(1, 400), gain_db=st.floats(-20, 20))
def test_grouping_changes_nothing_and_gain_shifts_by_itself(group, gain_db):
    wave = (_noise(12, "pink", 5) + _playing(12, 0.5, 6))[:, None] * [1.0, 10 ** (gain_db / 20)]
    whole, cut = _floor(wave), _floor(wave, group=group)
    np.testing.assert_allclose(cut.level_dbfs, whole.level_dbfs, rtol=0, atol=1e-9)
    np.testing.assert_allclose(cut.level_dba, whole.level_dba, rtol=0, atol=1e-9)
    assert whole.level_dbfs[1] - whole.level_dbfs[0] == pytest.approx(gain_db, abs=1e-3)
    assert whole.level_dba[1] - whole.level_dba[0] == pytest.approx(gain_db, abs=1e-3)


def test_old_quiet_is_forgotten_in_time_and_at_once_on_request():
    wave = np.concatenate([_noise(10, "white", 1), 10 * _noise(40, "white", 2)])
    assert _floor(wave, memory_s=20.0).level_dbfs[0] == pytest.approx(NOISE_DBFS + 20, abs=0.3)
    floor = _floor(_noise(10, "white", 1))
    floor.reset()
    assert math.isnan(floor.level_dbfs[0])


def test_a_whole_file_remembers_its_first_seconds():
    wave = np.concatenate([_noise(8, "white", 1), _noise(60, "white", 2) + _playing(60, 1.0, 3)])
    assert math.isnan(_floor(wave, memory_s=30.0).level_dbfs[0])
    floor = _floor(wave, memory_s=None)
    floor.estimate()
    assert floor.level_dbfs[0] == pytest.approx(NOISE_DBFS, abs=0.5)


def _measure_quiet(wave):
    quiet = QuietMeasurement(RATE_HZ, wave.shape[1], HOP, seconds=4.0)
    samples = wave.astype(np.float32)
    for first in range(0, samples.shape[0], HOP):
        quiet.process(samples[first : first + HOP])
        if quiet.done:
            break
    return quiet


def test_a_quiet_measurement_is_exact_and_says_which_channel_was_not_quiet():
    calm = _noise(6, "pink", 1)
    disturbed = _noise(6, "pink", 2)
    disturbed[2 * RATE_HZ : 2 * RATE_HZ + 960] += 0.05
    quiet = _measure_quiet(np.stack([calm, disturbed, np.zeros_like(calm)], axis=1))
    result = quiet.result()
    assert quiet.done
    assert result.level_dbfs[0] == pytest.approx(NOISE_DBFS, abs=0.3)
    assert result.level_dba[0] < result.level_dbfs[0]
    assert math.isnan(result.level_dbfs[1])
    assert math.isnan(result.level_dbfs[2])
