"""The slow average against IEC 60268-17 and against the mathematics of its second-order model."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dsp.average import SlowAverage
from dsp.hops import hop_frames

RATES_HZ = [44100, 48000, 88200, 96000, 192000]


def sine(rate_hz, tone_hz, seconds, amplitude=1.0, phase=0.0):
    """(frames, 1) float32, whole hops."""
    frames = round(seconds / 0.01) * hop_frames(rate_hz)
    phases = 2.0 * np.pi * tone_hz * np.arange(frames) / rate_hz + phase
    return (amplitude * np.sin(phases)).astype(np.float32)[:, np.newaxis]


def measure(stream, rate_hz=48000, hops_a_call=None):
    hop = hop_frames(rate_hz)
    meter = SlowAverage(rate_hz, stream.shape[1], hop)
    step = stream.shape[0] if hops_a_call is None else hops_a_call * hop
    return np.concatenate([meter.process(stream[i : i + step]) for i in range(0, stream.shape[0], step)])


def pointer(stream, rate_hz=48000):
    """Deflection, linear: 1 for a full-scale sine."""
    return 10.0 ** (measure(stream, rate_hz)[:, 0] / 20.0)


def moment(levels, crossing, rising=True):
    """Seconds until the end-of-hop readings, joined by straight lines, first cross a level."""
    past = levels >= crossing if rising else levels <= crossing
    i = int(np.argmax(past))
    assert past[i]
    assert i > 0
    return 0.01 * (i + (crossing - levels[i - 1]) / (levels[i] - levels[i - 1]))


# The pointer ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_tone_reaches_99_percent_in_300_ms_and_overshoots_once(rate_hz):
    rise = pointer(sine(rate_hz, 997.0, 3.0, 10 ** (-18 / 20)), rate_hz) / 10 ** (-18 / 20)
    assert moment(rise, 0.99) == pytest.approx(0.300, abs=0.003)
    assert 1.010 <= rise.max() <= 1.015
    assert 0.01 * (int(rise.argmax()) + 1) == pytest.approx(0.399, abs=0.02)
    after = rise[int(rise.argmax()) :]
    assert after.min() > 0.999  # it comes back without a second swing
    assert 20 * math.log10(rise[-1]) == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_sine_settles_at_its_aes17_level(rate_hz):
    assert measure(sine(rate_hz, 997.0, 3.0, 10 ** (-18 / 20)), rate_hz)[-1, 0] == pytest.approx(
        -18.0, abs=0.02
    )


def test_the_pointer_follows_the_exact_step_response():
    """A constant is a drive without ripple: y(t) is known in closed form."""
    meter = measure(np.full((48000 * 2, 1), 0.5, np.float32))[:, 0]
    zeta, omega = 0.812717, 2.0 * math.pi * 2.150488
    t_s = 0.01 * np.arange(1, 201)
    swing = omega * math.sqrt(1.0 - zeta**2)
    law = 1.0 - np.exp(-zeta * omega * t_s) * (
        np.cos(swing * t_s) + zeta / math.sqrt(1 - zeta**2) * np.sin(swing * t_s)
    )
    np.testing.assert_allclose(10 ** (meter / 20), 0.5 * math.pi / 2 * law, rtol=1e-6)


@pytest.mark.parametrize("rate_hz", [44100, 48000, 192000])
@pytest.mark.parametrize("offset_ms", [0, 3, 7])
@pytest.mark.parametrize(
    ("burst_ms", "highest_db"), [(10, -24.9), (20, -18.9), (50, -11.1), (100, -5.6), (200, -1.3), (500, 0.11)]
)
def test_a_burst_reads_as_much_as_its_length_allows(burst_ms, highest_db, offset_ms, rate_hz):
    """Also where the burst does not begin on the hop grid."""
    tone = sine(rate_hz, 997.0, 2.0)
    start, end = (round(ms * rate_hz / 1000) for ms in (200 + offset_ms, 200 + offset_ms + burst_ms))
    tone[:start] = 0.0
    tone[end:] = 0.0
    assert measure(tone, rate_hz).max() == pytest.approx(highest_db, abs=0.2)


def test_a_burst_of_300_ms_reads_99_percent():
    tone = sine(48000, 997.0, 1.0)
    tone[14400:] = 0.0
    reading = pointer(tone)
    assert reading[29] == pytest.approx(0.990, abs=0.005)
    assert reading.max() == pytest.approx(0.9909, abs=0.005)


@pytest.mark.parametrize(("left", "seconds"), [(0.5, 0.112), (0.1, 0.224), (0.05, 0.256), (0.01, 0.300)])
def test_a_stop_lets_the_pointer_fall_as_fast_as_it_rose(left, seconds):
    tone = sine(48000, 997.0, 4.0)
    tone[144000:] = 0.0
    fall = pointer(tone)
    assert moment(fall[300:] / fall[299], left, rising=False) == pytest.approx(seconds, abs=0.005)


def test_a_swing_below_rest_reads_as_silence():
    tone = sine(48000, 997.0, 10.0)
    tone[144000:] = 0.0
    reading = measure(tone)[:, 0]
    assert not np.isnan(reading).any()
    assert (reading[335:370] == -np.inf).all()
    assert (reading[700:] == -np.inf).all()


@pytest.mark.parametrize(("tone_hz", "ripple_db"), [(20.0, 0.1), (25.0, 0.1), (50.0, 0.1), (53.0, 0.1)])
def test_a_low_tone_does_not_make_it_tremble(tone_hz, ripple_db):
    settled = measure(sine(48000, tone_hz, 5.0))[200:, 0]
    assert np.ptp(settled) < ripple_db


# Tones ------------------------------------------------------------------------------------------------------


def awkward_tones_hz(rate_hz):
    """Where plain rectified samples go wrong (the rate over small fractions), and between, up to 16 kHz."""
    fractions = {m * rate_hz / (2.0 * k) for k in range(2, 13) for m in (1, 2, 3)}
    plain = {
        25.0,
        28.0,
        31.5,
        35.0,
        40.0,
        63.0,
        100.0,
        997.0,
        3150.0,
        5003.0,
        8000.0,
        10000.0,
        12503.0,
        16000.0,
    }
    return sorted(tone for tone in fractions | plain if 25.0 <= tone <= 16000.0)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_every_tone_reads_right_at_every_phase(rate_hz):
    for tone_hz in awkward_tones_hz(rate_hz):
        phases = np.linspace(0.0, np.pi, 6, endpoint=False)
        tones = np.concatenate([sine(rate_hz, tone_hz, 0.7, 0.25, phase) for phase in phases], axis=1)
        error_db = np.abs(measure(tones, rate_hz)[-1] - 20 * math.log10(0.25)).max()
        limit_db = 0.2 if 35.0 <= tone_hz <= 10000.0 else 0.5
        assert error_db <= limit_db, f"{tone_hz:.1f} Hz"


@pytest.mark.parametrize("rate_hz", [44100, 48000])
def test_the_worst_tones_are_as_good_as_the_comment_says(rate_hz):
    """0.12 dB where plain samples serve, 0.09 dB up to 10 kHz above, 0.20 dB up to 16 kHz."""
    for tone_hz, limit_db in [
        (rate_hz / 16, 0.125),
        (rate_hz / 14, 0.12),
        (rate_hz / 4.5, 0.1),
        (rate_hz / 3, 0.21),
    ]:
        for phase in np.linspace(0.0, np.pi, 13, endpoint=False):
            reading = measure(sine(rate_hz, tone_hz, 0.8, 1.0, phase), rate_hz)[-1, 0]
            assert abs(reading) <= limit_db


def test_twelve_kilohertz_reads_the_same_at_every_phase():
    """Plain rectified samples spread by 3 dB here."""
    readings = [
        measure(sine(48000, 12000.0, 1.0, 0.1, math.radians(phase)))[-1, 0] for phase in range(0, 180, 5)
    ]
    assert np.ptp(readings) < 0.2
    assert (
        np.ptp(
            20
            * np.log10([np.abs(np.sin(math.radians(p) + np.pi / 2 * np.arange(4))).mean() for p in (0, 45)])
        )
        > 2.9
    )


def test_a_bass_does_not_hide_a_high_tone_that_matters():
    """Two tones on different sides of the threshold: the reading moves little with the high one's phase."""
    readings = [
        measure(sine(48000, 110.0, 1.0, 0.3) + sine(48000, 12000.0, 1.0, 0.3, phase))[-1, 0]
        for phase in np.linspace(0.0, np.pi, 9)
    ]
    assert np.ptp(readings) < 0.1


@pytest.mark.parametrize(("shape", "over_rms_db"), [("square", 0.91), ("triangle", -0.34), ("noise", -1.05)])
def test_other_waveforms_read_their_mean_magnitude(shape, over_rms_db):
    """An average-responding meter's known errors against true RMS, for waveforms other than the sine."""
    if shape == "noise":
        wave = np.random.default_rng(5).normal(0.0, 0.1, (48000 * 20, 1))
    else:
        phase = np.arange(48000 * 2)[:, np.newaxis] * 101.0 / 48000 % 1.0
        wave = 0.1 * (
            np.where(phase < 0.5, 1.0, -1.0) if shape == "square" else 4.0 * np.abs(phase - 0.5) - 1.0
        )
    reading = measure(wave.astype(np.float32))[200 if shape == "noise" else 150 :, 0].mean()
    rms_dbfs = 10.0 * math.log10(2.0 * np.mean(wave**2))
    assert reading - rms_dbfs == pytest.approx(over_rms_db, abs=0.15 if shape == "noise" else 0.03)


# Properties -------------------------------------------------------------------------------------------------


@st.composite
def streams(draw):
    """Stretches of tone, noise and silence, low and high, at 8 kHz so that a hop is short."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    parts = []
    for _ in range(draw(st.integers(1, 5))):
        frames = 80 * draw(st.integers(1, 40))
        kind = draw(st.sampled_from(["silence", "noise", "tone", "near the threshold"]))
        amplitude = 10.0 ** -draw(st.floats(0.0, 3.0))
        if kind == "silence":
            part = np.zeros(frames)
        elif kind == "noise":
            part = rng.uniform(-1.0, 1.0, frames)
        else:
            low, high = (480.0, 600.0) if kind == "near the threshold" else (20.0, 4000.0)
            part = np.sin(np.arange(frames) * 2.0 * np.pi * draw(st.floats(low, high)) / 8000.0)
        parts.append(amplitude * part)
    left = np.concatenate(parts)
    return np.stack((left, np.roll(left, 333) * 0.5), axis=1).astype(np.float32)


def linear(levels_dbfs):
    return 10.0 ** (levels_dbfs / 20.0)


@settings(deadline=None, max_examples=60)
@given(streams(), st.lists(st.integers(1, 90), min_size=1, max_size=5))
def test_grouping_changes_nothing(stream, sizes):
    meter = SlowAverage(8000, 2, 80)
    start, rows = 0, []
    while start < stream.shape[0]:
        size = 80 * sizes[len(rows) % len(sizes)]
        rows.append(meter.process(stream[start : start + size]))
        start += size
    np.testing.assert_allclose(
        linear(np.concatenate(rows)), linear(measure(stream, 8000)), rtol=1e-9, atol=2e-10
    )


@settings(deadline=None, max_examples=40)
@given(streams(), st.sampled_from([-60.0, -6.0, -1.7, 0.5, 12.0, 40.0]))
def test_gain_moves_the_reading_by_itself(stream, gain_db):
    gain = 10.0 ** (gain_db / 20.0)
    louder = linear(measure((stream * np.float32(gain)).astype(np.float32), 8000))
    np.testing.assert_allclose(louder, gain * linear(measure(stream, 8000)), rtol=1e-4, atol=1e-6 * gain)


@settings(deadline=None, max_examples=40)
@given(streams())
def test_channels_polarity_and_layout_do_not_matter(stream):
    reading = measure(stream, 8000)
    np.testing.assert_array_equal(measure(stream[:, ::-1], 8000), reading[:, ::-1])
    np.testing.assert_array_equal(measure(-stream, 8000), reading)
    np.testing.assert_array_equal(measure(np.asfortranarray(stream), 8000), reading)
    one = linear(measure(stream[:, :1], 8000))
    np.testing.assert_allclose(one, linear(reading[:, :1]), rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize("stream", [np.zeros((4800, 3)), np.full((4800, 3), -0.0), np.full((4800, 3), 1e-30)])
def test_silence_reads_minus_infinity(stream):
    assert (measure(stream.astype(np.float32)) == -np.inf).all()


def test_numbers_beyond_all_sense_leave_it_working():
    """As a damaged float file holds them."""
    stream = np.full((4800, 1), 3e38, np.float32)
    stream[::2] *= -1.0
    meter = SlowAverage(48000, 1, 480)
    assert np.isfinite(meter.process(stream)).all()
    assert np.isfinite(meter.process(sine(48000, 997.0, 0.1))[:2]).all()


def test_a_hop_shorter_than_the_interpolation_is_refused():
    with pytest.raises(ValueError, match="hop_frames is 10"):
        SlowAverage(1000, 1, 10)
