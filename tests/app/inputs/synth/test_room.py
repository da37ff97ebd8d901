"""The noise of room and chain, and hum."""

from __future__ import annotations

import numpy as np
import pytest

from app.inputs.synth.room import CHUNK_FRAMES, Room
from dsp.decibels import mean_square_to_dbfs

_RATE = 48_000


def _noise(
    chunks: int = 40, *, hum_hz: float | None = None, rumble_hz: float = 0.0, channels: int = 1, **how: float
) -> np.ndarray:
    room = Room(
        seed=3,
        rate_hz=_RATE,
        channels=channels,
        noise_dbfs=how.get("noise_dbfs", -70.0),
        rumble_hz=rumble_hz,
        hum_hz=hum_hz,
        hum_dbfs=how.get("hum_dbfs", -56.0),
    )
    return np.concatenate([room.chunk(index) for index in range(chunks)]).astype(float)


@pytest.mark.parametrize("rumble_hz", [0.0, 200.0])
def test_the_noise_has_the_level_asked_for(rumble_hz: float) -> None:
    # 163 840 independent values: the level is known to 0.02 dB; rumble makes them fewer.
    assert mean_square_to_dbfs(float(np.mean(_noise(rumble_hz=rumble_hz)[1000:] ** 2))) == pytest.approx(
        -70.0, abs=0.15
    )


def test_plain_noise_is_white() -> None:
    noise = _noise()[:, 0]
    power = np.abs(np.fft.rfft(noise)) ** 2
    bands = np.array([band.mean() for band in np.array_split(power[1:], 16)])
    assert np.ptp(10 * np.log10(bands)) < 0.6


def test_a_room_rumbles() -> None:
    noise = _noise(rumble_hz=200.0)[:, 0]
    power = np.abs(np.fft.rfft(noise)) ** 2
    hz = np.fft.rfftfreq(noise.size, 1.0 / _RATE)
    low, high = (power[(hz > a) & (hz < b)].mean() for a, b in ((40, 160), (4000, 12000)))
    assert 10 * np.log10(low / high) > 6.0


def test_no_edge_of_a_chunk_shows() -> None:
    noise = _noise(200, rumble_hz=200.0)[:, 0]
    steps = np.diff(noise)
    seams = steps[CHUNK_FRAMES - 1 :: CHUNK_FRAMES]
    assert np.std(seams) == pytest.approx(np.std(steps), rel=0.25)
    assert np.max(np.abs(seams)) < 4.5 * np.std(steps)


def test_chunks_and_channels_are_different_noise() -> None:
    noise = _noise(2, channels=2)
    for one, other in ((noise[:CHUNK_FRAMES, 0], noise[CHUNK_FRAMES:, 0]), (noise[:, 0], noise[:, 1])):
        assert abs(np.corrcoef(one, other)[0, 1]) < 0.08


def test_a_chunk_depends_on_its_number_alone() -> None:
    room = Room(seed=3, rate_hz=_RATE, channels=1, noise_dbfs=-70.0, rumble_hz=0.0, hum_hz=60.0)
    later = room.chunk(7)
    room.chunk(2)
    np.testing.assert_array_equal(room.chunk(7), later)


@pytest.mark.parametrize("hum_hz", [50.0, 60.0, 50.1])
def test_hum_is_a_steady_tone_with_harmonics_at_its_level(hum_hz: float) -> None:
    hum = _noise(240, hum_hz=hum_hz, noise_dbfs=-140.0, hum_dbfs=-50.0)[:, 0]
    t_s = np.arange(hum.size) / _RATE
    window = np.hanning(hum.size)

    def amplitude(hz: float) -> float:
        return float(2.0 * abs(np.sum(window * hum * np.exp(-2j * np.pi * hz * t_s))) / np.sum(window))

    lines = np.array([amplitude(n * hum_hz) for n in range(1, 8)])
    assert mean_square_to_dbfs(float(np.sum(lines**2) / 2)) == pytest.approx(-50.0, abs=0.05)
    assert np.all(lines > 0.03 * lines[0])
    assert np.argmax(lines) == 0
    assert amplitude(1.5 * hum_hz) < 1e-3 * lines[0]
