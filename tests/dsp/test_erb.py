import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dsp.erb import BAND_CENTRES_HZ, erb_hz, erb_number, erb_number_hz, roex_weights


def test_the_bandwidth_at_1_khz_is_the_published_one():
    assert float(erb_hz(1000.0)) == pytest.approx(132.6, abs=0.05)


@given(st.floats(20.0, 20_000.0))
def test_the_number_counts_bandwidths(frequency_hz):
    assert float(erb_number_hz(erb_number(frequency_hz))) == pytest.approx(frequency_hz)
    # The slope of the scale is one number per bandwidth; the paper's constants agree to 0.2 %.
    slope = float(erb_number(frequency_hz + 0.5) - erb_number(frequency_hz - 0.5))
    assert slope * float(erb_hz(frequency_hz)) == pytest.approx(1.0, abs=0.005)


def test_the_bands_reach_over_what_instruments_play():
    assert BAND_CENTRES_HZ[0] < 60.0
    assert BAND_CENTRES_HZ[-1] > 14_000.0
    assert np.diff(erb_number(BAND_CENTRES_HZ)) == pytest.approx(1.0)


@pytest.mark.parametrize("centre_hz", [250.0, 1000.0, 6000.0])
def test_a_filter_passes_its_bandwidth_of_noise_and_all_of_a_tone_at_its_centre(centre_hz):
    frequencies = np.arange(0.0, 24_000.0, 0.5)
    weights = roex_weights(frequencies, np.array([centre_hz]))[:, 0]
    assert weights.max() == weights[round(2 * centre_hz)] == 1.0
    assert weights.sum() * 0.5 == pytest.approx(float(erb_hz(centre_hz)), rel=0.002)
