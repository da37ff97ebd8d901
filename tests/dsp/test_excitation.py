import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dsp.decibels import db_to_amplitude, power_to_db
from dsp.erb import BAND_CENTRES_HZ, erb_hz
from dsp.excitation import BANDS, CELLS_PER_S, Excitation, ear_weights

RATE_HZ = 48_000


def measure(samples, rate_hz=RATE_HZ):
    meter = Excitation(rate_hz, samples.shape[1])
    return np.concatenate((meter.process(samples), meter.finish()))


def noise(seconds, rms_dbfs, rate_hz=RATE_HZ, channels=1, seed=1):
    rms = db_to_amplitude(rms_dbfs) / np.sqrt(2.0)
    return np.random.default_rng(seed).normal(0, rms, (round(seconds * rate_hz), channels)).astype(np.float32)


def tone(frequency_hz, seconds=1.0, dbfs=0.0, rate_hz=RATE_HZ):
    t_s = np.arange(round(seconds * rate_hz)) / rate_hz
    return (db_to_amplitude(dbfs) * np.sin(2 * np.pi * frequency_hz * t_s)).astype(np.float32)[:, np.newaxis]


@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 48_000, 96_000, 11_025])
def test_a_tone_at_the_centre_of_a_band_reads_its_level_at_any_rate(rate_hz):
    band = 15
    cells = measure(tone(BAND_CENTRES_HZ[band], dbfs=-30.0, rate_hz=rate_hz), rate_hz)[2:-3]
    # The 100 ms window smears it into the skirts of the filter a little.
    assert power_to_db(cells[:, band]) == pytest.approx(-30.0, abs=0.1)
    assert cells.argmax(axis=1).tolist() == [band] * cells.shape[0]


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_white_noise_has_its_density_times_the_bandwidth_in_each_band(rate_hz):
    cells = measure(noise(30.0, -20.0, rate_hz), rate_hz)
    expected = -20.0 - power_to_db(rate_hz / 2) + power_to_db(erb_hz(BAND_CENTRES_HZ))
    assert power_to_db(cells.mean(axis=0, dtype=np.float64)) == pytest.approx(expected, abs=0.4)


def test_the_worked_ratio_of_a_tone_in_noise():
    """White noise at -20, a 1 kHz tone at -40 dBFS: -40 - (-20 - 43.80 + 21.23) = +2.57 dB at 1 kHz."""
    band = int(np.argmin(np.abs(BAND_CENTRES_HZ - 1000.0)))
    centre_hz = float(BAND_CENTRES_HZ[band])
    target = measure(tone(centre_hz, 20.0, -40.0))[:-3, band].mean(dtype=np.float64)
    masker = measure(noise(20.0, -20.0))[:-3, band].mean(dtype=np.float64)
    # The nearest band lies at 1051 Hz and is 0.19 dB wider than that at 1 kHz.
    wider_db = power_to_db(float(erb_hz(centre_hz) / erb_hz(1000.0)))
    assert power_to_db(target / masker) + wider_db == pytest.approx(2.57, abs=0.3)


def test_cells_lie_on_one_grid_in_time_at_every_rate():
    for rate_hz in (11_025, 44_100, 48_000):
        samples = np.zeros((2 * rate_hz, 1), np.float32)
        samples[rate_hz:] = tone(1000.0, 1.0, rate_hz=rate_hz)
        loud = measure(samples, rate_hz).sum(axis=1) > 1e-6
        # Cell 19 reaches from 0.95 to 1.05 s.
        assert np.flatnonzero(loud)[0] in {CELLS_PER_S - 1, CELLS_PER_S}
        assert loud.size in {2 * CELLS_PER_S, 2 * CELLS_PER_S + 1}


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(0, 9000), min_size=1, max_size=12), st.sampled_from([8000, 11_025, 44_100]))
def test_the_cut_into_blocks_does_not_matter(cuts, rate_hz):
    samples = noise(1.0, -20.0, rate_hz, channels=2)
    meter = Excitation(rate_hz, 2)
    cells, at = [], 0
    for frames in cuts:
        cells.append(meter.process(samples[at : at + frames]))
        at += frames
    cells += [meter.process(samples[at:]), meter.finish()]
    assert np.concatenate(cells) == pytest.approx(measure(samples, rate_hz), rel=1e-5)


def test_a_gain_scales_the_pattern():
    samples = noise(1.0, -20.0)
    assert measure(samples * np.float32(0.5)) == pytest.approx(measure(samples) / 4, rel=1e-5)


def test_silence_has_no_excitation():
    cells = measure(np.zeros((RATE_HZ, 2), np.float32))
    assert cells.shape == (CELLS_PER_S, BANDS)
    assert not cells.any()
    assert measure(np.zeros((0, 2), np.float32)).shape == (0, BANDS)


def test_one_channel_counts_as_the_same_in_two():
    samples = noise(1.0, -20.0)
    assert measure(np.repeat(samples, 2, axis=1)) == pytest.approx(measure(samples), rel=1e-5)
    one_sided = samples * np.array([1.0, 0.0], np.float32)
    assert measure(one_sided) == pytest.approx(measure(samples) / 2, rel=1e-5)


def test_surround_is_heard_without_its_subwoofer():
    samples = np.zeros((RATE_HZ, 6), np.float32)
    samples[:, 3] = 0.5
    assert not measure(samples).any()
    assert len(ear_weights(6)) == 6
    assert sum(ear_weights(5)) == sum(ear_weights(6)) == 2.0


def test_a_rate_in_kilohertz_is_a_mistake():
    with pytest.raises(ValueError, match="Hz, not kHz"):
        Excitation(48, 1)
