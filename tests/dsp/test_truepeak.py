"""True peak against EBU Tech 3341 (cases 15 to 23), heavy oversampling, and itself unpruned."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dsp.hops import hop_frames
from dsp.peaks import hop_peaks
from dsp.truepeak import TruePeak, oversampling

RATES_HZ = [44100, 48000, 88200, 96000, 192000]


def measure(stream, rate_hz=48000, sizes=(None,), **how):
    """The finished meter; ``sizes`` are hops a call, in turn."""
    hop = hop_frames(rate_hz)
    stream = np.concatenate((stream, np.zeros((-stream.shape[0] % hop, stream.shape[1]), np.float32)))
    meter = TruePeak(rate_hz, stream.shape[1], hop, **how)
    start = turn = 0
    while start < stream.shape[0]:
        size = sizes[turn % len(sizes)]
        end = stream.shape[0] if size is None else start + size * hop
        meter.process(stream[start:end])
        start, turn = end, turn + 1
    meter.flush()
    return meter


def fades(frames, rate_hz, seconds=0.01):
    ramp = np.arange(frames) / (seconds * rate_hz)
    return np.minimum(1.0, np.minimum(ramp, ramp[::-1]))


def tone(rate_hz, per_period, amplitude, degrees, seconds=0.3):
    frames = round(seconds * rate_hz)
    wave = amplitude * np.sin(2.0 * np.pi * np.arange(frames) / per_period + math.radians(degrees))
    return np.repeat((wave * fades(frames, rate_hz))[:, np.newaxis], 2, axis=1).astype(np.float32)


def oversampled(wave, factor):
    """Ideal band-limited interpolation of one cycle of a periodic wave, by padding its spectrum."""
    spectrum = np.fft.rfft(wave)
    return np.fft.irfft(spectrum, wave.size * factor) * factor


# EBU Tech 3341 ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(
    ("case", "per_period", "amplitude", "degrees", "wanted_dbtp"),
    [
        (15, 4, 0.5, 0.0, -6.0),
        (16, 4, 0.5, 45.0, -6.0),
        (17, 6, 0.5, 60.0, -6.0),
        (18, 8, 0.5, 67.5, -6.0),
        (19, 4, 1.41, 45.0, 3.0),
    ],
)
def test_ebu_tones(case, per_period, amplitude, degrees, wanted_dbtp, rate_hz):
    reading = measure(tone(rate_hz, per_period, amplitude, degrees), rate_hz).max_dbtp
    assert (reading <= wanted_dbtp + 0.2).all()
    assert (reading >= wanted_dbtp - 0.4).all()
    # Much closer than required: the tones are known exactly.
    np.testing.assert_allclose(reading, 20 * math.log10(amplitude), atol=0.02)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("offset", [0, 1, 2, 3])
def test_ebu_transient(offset, rate_hz):
    """Cases 20 to 23: a full-scale period at fs/4 within a tone at fs/6 and half of it, made at 4·fs."""
    step = np.full(48 * 400 + 16, 2.0 * np.pi / 24.0)
    amplitude = np.full(step.size, 0.5)
    middle = slice(48 * 200, 48 * 200 + 16)
    step[middle], amplitude[middle] = 2.0 * np.pi / 16.0, 1.0
    wave = amplitude * np.sin(np.cumsum(step) - step[0]) * fades(step.size, 4 * rate_hz, 0.005)
    spectrum = np.fft.rfft(wave)
    spectrum[spectrum.size // 4 :] = 0.0
    master = np.fft.irfft(spectrum, wave.size)
    stream = np.repeat(master[offset::4, np.newaxis], 2, axis=1).astype(np.float32)
    reading = measure(stream, rate_hz).max_dbtp
    assert (reading <= 0.2).all()
    assert (reading >= -0.4).all()
    np.testing.assert_allclose(reading, 20 * np.log10(np.abs(master).max()), atol=0.05)


@pytest.mark.parametrize(
    ("rate_hz", "factor"),
    [(8000, 16), (44100, 16), (88200, 16), (96000, 8), (176400, 8), (192000, 4), (384000, 4)],
)
def test_oversampling_is_at_least_what_bs_1770_asks_for(rate_hz, factor):
    assert oversampling(rate_hz) == factor
    assert rate_hz * factor >= 192000 or factor >= 4


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000])
@pytest.mark.parametrize("share", [0.05, 0.2, 0.25, 1 / 3, 0.4, 0.45])
def test_a_tone_reads_right_at_every_phase(share, rate_hz):
    phases = np.linspace(0.0, np.pi, 12, endpoint=False)
    frames = hop_frames(rate_hz) * 20
    waves = np.sin(2.0 * np.pi * share * np.arange(frames)[:, np.newaxis] + phases)
    waves *= fades(frames, rate_hz)[:, np.newaxis]
    worst_db = 20 * math.log10(math.cos(math.pi * share / oversampling(rate_hz)))
    reading = measure(waves.astype(np.float32), rate_hz).max_dbtp
    assert reading.max() < 0.02
    assert reading.min() > worst_db - 0.02


# Music-like sound -------------------------------------------------------------------------------------------


def plucked(rng, frames, rate_hz):
    """Notes of many harmonics that die away, struck at random."""
    out = np.zeros(frames)
    t_s = np.arange(frames) / rate_hz
    for _ in range(12):
        start, pitch_hz = rng.integers(0, frames * 3 // 4), 80.0 * 2 ** rng.uniform(0.0, 3.0)
        for k in range(1, int(min(40, 0.45 * rate_hz / pitch_hz))):
            note = np.sin(2 * np.pi * k * pitch_hz * t_s + rng.uniform(0, 6.3)) * np.exp(-(3 + k) * t_s) / k
            out[start:] += note[: frames - start]
    return out


def cymbal(rng, frames, rate_hz):
    """Bursts of noise with most of its power at the top, up to where a converter's filter ends."""
    decay = np.exp(-20.0 * (np.arange(frames) / rate_hz % 0.25))
    spectrum = np.fft.rfft(np.diff(rng.normal(size=frames + 1)) * decay)
    spectrum[int(0.45 * frames) :] = 0.0
    return np.fft.irfft(spectrum, frames)


KINDS = {
    "plucked": plucked,
    "cymbal": cymbal,
    "both": lambda rng, n, r: plucked(rng, n, r) + 0.3 * cymbal(rng, n, r),
    "driven": lambda rng, n, r: np.tanh(3.0 * plucked(rng, n, r)),
    "clipped": lambda rng, n, r: np.clip(3.0 * plucked(rng, n, r), -1.0, 1.0),
}


@pytest.mark.parametrize("rate_hz", [44100, 96000])
@pytest.mark.parametrize("kind", KINDS)
def test_music_reads_within_a_tenth_of_sixteenfold_oversampling(kind, rate_hz):
    rng = np.random.default_rng([rate_hz, list(KINDS).index(kind)])
    frames = hop_frames(rate_hz) * 60
    wave = KINDS[kind](rng, frames, rate_hz) * fades(frames, rate_hz)
    wave = (0.9 * wave / np.abs(wave).max()).astype(np.float32)
    truth_dbtp = 20 * math.log10(np.abs(oversampled(wave, 16)).max())
    assert measure(wave[:, np.newaxis], rate_hz).max_dbtp[0] == pytest.approx(truth_dbtp, abs=0.1)


# Overs ------------------------------------------------------------------------------------------------------


def test_overs_between_samples_are_counted_hop_by_hop():
    """Samples at 0.85, waveform at 1.2, in the last 20 of 60 hops."""
    wave = tone(48000, 4, 1.2, 45.0, seconds=0.6)
    wave[: 480 * 40] *= 0.5
    meter = measure(wave)
    assert np.abs(wave).max() < 0.86
    # The fade-out of 10 ms falls below full scale within its first quarter: still one hop.
    assert meter.overs.tolist() == [20.0, 20.0]


def test_a_hop_that_clips_is_no_over_between_samples():
    wave = tone(48000, 4, 1.2, 45.0, seconds=0.3)
    wave[480 * 10 + 240, 0] = 1.0
    wave[480 * 12 + 240, 0] = -(1.0 - 2.0**-15)
    left, right = measure(wave).overs
    assert right - left == 2.0


def test_a_tone_below_full_scale_has_no_overs():
    assert not measure(tone(48000, 4, 0.999, 45.0)).overs.any()


# The stream -------------------------------------------------------------------------------------------------


def test_flush_brings_in_the_last_frames():
    """A waveform whose highest point lies between the last two samples."""
    wave = np.zeros((480, 1), np.float32)
    wave[-2:] = 0.8
    meter = TruePeak(48000, 1, 480)
    meter.process(wave)
    before = meter.max_dbtp[0]
    meter.flush()
    assert before == pytest.approx(20 * math.log10(0.8), abs=1e-6)
    assert meter.max_dbtp[0] > before + 1.5
    after = meter.max_dbtp
    meter.flush()
    assert meter.max_dbtp == after


def test_a_peak_across_the_seam_of_two_hops_is_found():
    wave = np.zeros((960, 1), np.float32)
    wave[479:481] = 0.8
    seam = measure(wave, sizes=(1,)).max_dbtp
    assert seam == pytest.approx(measure(np.roll(wave, 200, axis=0)).max_dbtp, abs=1e-9)


def test_reset_lets_go_of_the_maximum_and_keeps_what_the_take_needs():
    meter = TruePeak(48000, 2, 480)
    meter.process(tone(48000, 4, 1.2, 45.0))
    meter.process(np.zeros((480, 2), np.float32))
    before, overs = meter.max_dbtp, meter.overs
    assert (before > 0.0).all()
    assert overs.all()
    meter.reset()
    assert (meter.max_dbtp == -np.inf).all()
    meter.process(tone(48000, 4, 0.5, 45.0))
    np.testing.assert_allclose(meter.max_dbtp, -6.02, atol=0.02)
    np.testing.assert_array_equal(meter.overall_dbtp, before)
    np.testing.assert_array_equal(meter.overs, overs)


def test_in_live_use_ordinary_music_is_hardly_evaluated(monkeypatch):
    """The price of a hop must not creep up with what came before it."""
    rng = np.random.default_rng(2)
    wave = plucked(rng, 480 * 400, 48000)
    wave = (0.2 * wave / np.abs(wave).max())[:, np.newaxis].astype(np.float32)
    wave[480 * 3 + 100] = 0.9  # a click, as rough as can be
    examined = []
    monkeypatch.setattr(TruePeak, "_examine", lambda self, *hops: examined.append(len(hops[0])))
    meter = TruePeak(48000, 1, 480)
    for start in range(0, wave.shape[0], 480):
        meter.process(wave[start : start + 480])
    assert 1 <= sum(examined) <= 8


@pytest.mark.parametrize("nothing", [0.0, -0.0])
def test_silence_reads_minus_infinity(nothing):
    meter = measure(np.full((4800, 2), nothing, np.float32))
    assert (meter.max_dbtp == -np.inf).all()
    assert not meter.overs.any()


def test_peaks_that_the_caller_has_may_be_handed_in():
    wave = tone(48000, 6, 0.5, 60.0)
    one, other = TruePeak(48000, 2, 480), TruePeak(48000, 2, 480)
    one.process(wave)
    other.process(wave, hop_peaks(wave, 480))
    np.testing.assert_array_equal(one.max_dbtp, other.max_dbtp)


def test_numbers_beyond_all_sense_leave_it_working():
    """As a damaged float file holds them."""
    wave = np.full((960, 1), 3e38, np.float32)
    wave[::2] *= -1.0
    meter = TruePeak(48000, 1, 480)
    meter.process(wave)
    assert 770.0 < meter.max_dbtp[0] < 790.0
    meter.process(np.zeros((960, 1), np.float32))
    meter.reset()
    meter.process(tone(48000, 4, 0.5, 45.0)[:, :1])
    np.testing.assert_allclose(meter.max_dbtp, -6.02, atol=0.02)


def test_a_hop_shorter_than_the_interpolation_is_refused():
    with pytest.raises(ValueError, match="hop_frames is 10"):
        TruePeak(1000, 1, 10)


def test_importing_the_measurements_does_not_load_scipy_signal():
    code = "import sys, dsp.average, dsp.peaks, dsp.truepeak; sys.exit('scipy.signal' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


# Properties -------------------------------------------------------------------------------------------------


@st.composite
def streams(draw):
    """Up to 15 hops at 8 kHz of all that could fool a bound: smooth, rough, clipped, sparse, swelling."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    parts = []
    for _ in range(draw(st.integers(1, 3))):
        frames = 80 * draw(st.integers(1, 5))
        kind = draw(st.sampled_from(["silence", "noise", "tone", "clipped", "impulses", "smooth"]))
        amplitude = draw(st.sampled_from([1e-3, 0.1, 0.5, 0.97, 1.1, 1.8]))
        if kind == "silence":
            part = np.zeros(frames)
        elif kind == "noise":
            part = rng.uniform(-1.0, 1.0, frames)
        elif kind in ("tone", "clipped"):
            part = np.sin(np.arange(frames) * np.pi * draw(st.floats(0.01, 0.99)) + rng.uniform(0, 6.3))
            part = np.clip(3.0 * part, -1.0, 1.0) if kind == "clipped" else part
        elif kind == "impulses":
            part = (rng.random(frames) < 0.05) * rng.choice([-1.0, 1.0], frames)
        else:
            part = np.convolve(rng.uniform(-1.0, 1.0, frames), np.hanning(12) / 3.0, "same")
        parts.append(amplitude * part)
    left = np.concatenate(parts)
    return np.stack((left, np.roll(left, 40) * 0.7), axis=1).astype(np.float32)


def assert_same(one, other):
    np.testing.assert_allclose(one.max_dbtp, other.max_dbtp, rtol=0.0, atol=1e-9)
    np.testing.assert_array_equal(one.overs, other.overs)


@settings(deadline=None, max_examples=100)
@given(streams(), st.lists(st.sampled_from([1, 2, 5]), min_size=1, max_size=4))
def test_pruning_changes_nothing(stream, sizes):
    assert_same(measure(stream, 8000, sizes), measure(stream, 8000, prune=False))


@pytest.mark.parametrize("rate_hz", [96000, 192000])
@pytest.mark.parametrize("level", [0.3, 0.97, 1.5])
def test_pruning_changes_nothing_at_high_rates(level, rate_hz):
    """Where the grid is coarser than 16-fold, and the third bound other than at 8 kHz."""
    rng = np.random.default_rng(9)
    tones = np.sin(2 * np.pi * np.outer(np.arange(hop_frames(rate_hz) * 4), rng.uniform(0, 0.3, 3)))
    stream = (level * (tones + rng.uniform(-0.2, 0.2, tones.shape))).astype(np.float32)
    assert_same(measure(stream, rate_hz), measure(stream, rate_hz, prune=False))


@settings(deadline=None, max_examples=30)
@given(streams(), st.lists(st.integers(1, 4), min_size=1, max_size=5))
def test_grouping_changes_nothing(stream, sizes):
    assert_same(measure(stream, 8000, sizes), measure(stream, 8000))


@settings(deadline=None, max_examples=30)
@given(streams())
def test_channels_polarity_and_layout_do_not_matter(stream):
    meter = measure(stream, 8000)
    assert_same(measure(-stream, 8000), meter)
    assert_same(measure(np.asfortranarray(stream), 8000), meter)
    swapped = measure(stream[:, ::-1], 8000)
    np.testing.assert_allclose(swapped.max_dbtp[::-1], meter.max_dbtp, atol=1e-9)
    np.testing.assert_array_equal(swapped.overs[::-1], meter.overs)
    alone = measure(stream[:, 1:], 8000)
    np.testing.assert_allclose(alone.max_dbtp, meter.max_dbtp[1:], atol=1e-9)
    assert alone.overs[0] == meter.overs[1]


@settings(deadline=None, max_examples=30)
@given(streams(), st.integers(-12, 6))
def test_gain_moves_the_reading_by_itself(stream, doublings):
    moved = measure(stream * np.float32(2.0**doublings), 8000).max_dbtp
    np.testing.assert_allclose(
        moved, measure(stream, 8000).max_dbtp + 20 * math.log10(2.0) * doublings, atol=1e-9
    )


@settings(deadline=None, max_examples=30)
@given(streams())
def test_it_never_reads_below_the_sample_peak(stream):
    with np.errstate(divide="ignore"):
        assert (
            measure(stream, 8000).max_dbtp
            >= 20 * np.log10(np.abs(stream, dtype=np.float64).max(axis=0)) - 1e-9
        ).all()
