"""Noise in a band, and its envelope."""

from __future__ import annotations

import numpy as np
import pytest

from app.inputs.synth.hiss import hiss, swell


@pytest.mark.parametrize("frames", [1, 100, 4801, 40_000])
def test_noise_has_the_length_and_level_asked_for(frames: int) -> None:
    noise = hiss(frames, 1000.0, 5000.0, 48_000, np.random.default_rng(1))
    assert noise.shape == (frames,)
    assert noise.dtype == np.float32
    assert float(np.sqrt(np.mean(noise.astype(float) ** 2))) == pytest.approx(1.0, rel=1e-4)


def test_noise_lies_in_its_band() -> None:
    noise = hiss(96_000, 1000.0, 4000.0, 48_000, np.random.default_rng(1))
    power = np.abs(np.fft.rfft(noise)) ** 2
    hz = np.fft.rfftfreq(noise.size, 1 / 48_000)
    inside, below, above = (
        power[(hz > a) & (hz < b)].mean() for a, b in ((1500, 3000), (50, 250), (12_000, 20_000))
    )
    assert below < 1e-3 * inside
    assert above < 1e-3 * inside


@pytest.mark.parametrize(("frames", "rise", "fall"), [(1000, 100, 200), (50, 100, 200), (1, 0, 0)])
def test_a_swell_stays_within_bounds_and_ends_low(frames: int, rise: int, fall: int) -> None:
    envelope = swell(frames, rise, fall)
    assert envelope.shape == (frames,)
    assert np.all((envelope >= 0.0) & (envelope <= 1.0))
    if frames == 1000:
        assert np.all(envelope[100:800] == 1.0)
        assert envelope[0] < 0.01
        assert envelope[-1] < 0.01
