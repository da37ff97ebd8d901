"""The built-in player: the source protocol, the knob, the clock, and where its parts sit."""

from __future__ import annotations

import threading
import time
import tracemalloc

import numpy as np
import pytest

from app.errors import UsageError
from app.inputs.player import GAIN_MAX_DB, GAIN_MIN_DB, PARTS, PlayerSource
from app.inputs.source import Source
from app.inputs.synth.score import Kind, evening
from dsp.average import SlowAverage
from dsp.decibels import amplitude_to_db, mean_square_to_dbfs

_RATE = 48_000
_HOP = 480


class _Clock:
    """Time that a test moves, and that also moves a little whenever somebody looks."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        self.now_s += 1e-4
        return self.now_s


def _opened(part: str = "bass", gain_db: float = 0.0, **how: object) -> PlayerSource:
    player = PlayerSource(part, gain_db, **{"paced": False, **how})  # type: ignore[arg-type]
    player.start()
    return player


def _play(seconds: float, part: str = "bass", gain_db: float = 0.0, **how: object) -> np.ndarray:
    return _opened(part, gain_db, **how).read(round(seconds * _RATE), 0.0).samples


# What is read.


@pytest.mark.parametrize("part", PARTS)
def test_samples_do_not_depend_on_how_they_are_read(part: str) -> None:
    frames = 8 * _RATE
    other = _opened(part)
    sizes = np.random.default_rng(3).integers(1, 9_000, 400)
    pieces = []
    while sum(piece.shape[0] for piece in pieces) < frames:
        pieces.append(other.read(int(sizes[len(pieces)]), 0.0).samples)
    np.testing.assert_array_equal(np.concatenate(pieces)[:frames], _play(8.0, part))


@pytest.mark.parametrize("part", PARTS)
def test_blocks_are_what_the_protocol_promises(part: str) -> None:
    player: Source = _opened(part)
    block = player.read(1000, 0.0)
    assert block.samples.shape == (1000, player.info.channels)
    assert block.samples.dtype == np.float32
    assert block.lost_frames == 0
    assert not block.ended
    assert block.active
    assert len(player.info.channel_names) == player.info.channels
    block.samples[:] = 0.0  # the reader owns it
    assert player.read(0, 0.0).samples.shape == (0, player.info.channels)


def test_another_seed_is_another_evening() -> None:
    assert not np.array_equal(_play(6.0, seed=1), _play(6.0, seed=2))


def test_starting_again_begins_from_the_top() -> None:
    player = _opened()
    first = player.read(6 * _RATE, 0.0).samples
    player.close()
    player.start()
    np.testing.assert_array_equal(player.read(6 * _RATE, 0.0).samples, first)
    assert player.stats().delivered_frames == 6 * _RATE


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 192_000])
@pytest.mark.parametrize("part", PARTS)
def test_other_rates_play_the_same_evening(part: str, rate_hz: int) -> None:
    player = _opened(part, rate_hz=rate_hz)
    player.read(round(5.0 * rate_hz), 0.0)
    samples = player.read(round(4.0 * rate_hz), 0.0).samples
    assert np.all(np.isfinite(samples))
    assert player.info.rate_hz == rate_hz
    level_db = mean_square_to_dbfs(float(np.mean(samples[:, 0].astype(float) ** 2)))
    usual_db = mean_square_to_dbfs(float(np.mean(_play(9.0, part)[5 * _RATE :, 0].astype(float) ** 2)))
    assert level_db == pytest.approx(usual_db, abs=1.5)


def test_reading_counts_what_was_delivered() -> None:
    player = _opened()
    for frames in (480, 100, 7000):
        player.read(frames, 0.0)
    stats = player.stats()
    assert stats.delivered_frames == 7580
    assert (stats.smallest_block_frames, stats.largest_block_frames) == (100, 7000)
    assert (stats.lost_frames, stats.gaps, stats.overflows) == (0, 0, 0)
    assert stats.backend


def test_memory_does_not_grow_with_the_evening() -> None:
    player = _opened("guitar", rate_hz=8_000)
    for _ in range(60):
        player.read(16_000, 0.0)
    tracemalloc.start()
    for _ in range(150):
        player.read(16_000, 0.0)
    grown, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    # Two minutes in, every chord has been strummed at every strength; five more minutes may move notes about.
    assert grown < 4_000_000


# The line that names it.


def test_the_spec_opens_the_same_player_again() -> None:
    player = PlayerSource("voice", -4.5)
    assert player.info.spec == "player:voice:-4.5"
    player.gain_db = 6.0
    assert player.info.spec == "player:voice:6"


def test_people_read_what_plays_and_what_is_wrong_with_it() -> None:
    names = {PlayerSource(part).info.name for part in PARTS}
    assert len(names) == len(PARTS)
    assert PlayerSource().info.note == ""
    assert "50 Hz" in PlayerSource(hum=50.0).info.note
    assert PlayerSource(overload=True).info.note
    assert PlayerSource().info.live
    assert not PlayerSource(paced=False).info.live


def test_an_unknown_part_is_refused_with_those_that_there_are() -> None:
    with pytest.raises(UsageError, match=r"whistle.*bass, guitar, voice and drums"):
        PlayerSource("whistle")


@pytest.mark.parametrize(
    ("how", "match"),
    [
        ({"gain_db": float("nan")}, "gain"),
        ({"gain_db": float("inf")}, "gain"),
        ({"rate_hz": 100}, "8000 to 384000 Hz, not at 100"),
        ({"speed": 0.0}, "speed"),
        ({"speed": float("inf")}, "speed"),
        ({"hum": 5000.0}, "hum"),
        ({"hum": float("nan")}, "hum"),
    ],
)
def test_what_makes_no_sense_is_refused_in_a_sentence(how: dict[str, float], match: str) -> None:
    with pytest.raises(UsageError, match=match):
        PlayerSource("bass", **how)  # type: ignore[arg-type]


def test_a_negative_seed_is_refused() -> None:
    with pytest.raises(ValueError, match="seed"):
        PlayerSource(seed=-1)


def test_the_knob_has_ends() -> None:
    player = PlayerSource(gain_db=500.0)
    assert player.gain_db == GAIN_MAX_DB
    player.gain_db = -500.0
    assert player.gain_db == GAIN_MIN_DB
    with pytest.raises(UsageError):
        player.gain_db = float("nan")
    assert player.gain_db == GAIN_MIN_DB


# The knob.


def test_the_knob_moves_the_playing_and_the_noise_alike() -> None:
    usual, turned = _play(8.0), _play(8.0, gain_db=-7.0)
    np.testing.assert_allclose(turned, usual * 10 ** (-7 / 20), rtol=1e-5, atol=1e-9)


def test_turning_the_knob_takes_effect_within_20_ms_and_without_a_click() -> None:
    player, usual = _opened(), _play(8.0)
    before = [player.read(_HOP, 0.0).samples for _ in range(500)]
    player.gain_db = -12.0
    after = np.concatenate([player.read(_HOP, 0.0).samples for _ in range(300)])
    np.testing.assert_array_equal(np.concatenate(before), usual[: 500 * _HOP])
    ratio = after / usual[500 * _HOP :]
    settled = ratio[round(0.020 * _RATE) - _HOP :]
    np.testing.assert_allclose(settled, 10 ** (-12 / 20), rtol=1e-4)
    # No click: from frame to frame the gain never moves by more than a fiftieth of a decibel per step
    # of a turn of 12 dB that lasts 10 ms (half-cosine: 12 dB · π/2 / 480).
    steps_db = np.diff(20 * np.log10(ratio[: 2 * _HOP, 0]), prepend=0.0)
    assert np.max(np.abs(steps_db)) < 0.045


def test_the_knob_may_be_turned_by_another_thread_while_reading() -> None:
    player = _opened()
    stop = threading.Event()

    def turn() -> None:
        gain_db = 0.0
        while not stop.is_set():
            gain_db = (gain_db + 1.0) % 12.0
            player.gain_db = -gain_db

    turner = threading.Thread(target=turn)
    turner.start()
    samples = np.concatenate([player.read(_HOP, 0.0).samples for _ in range(600)])
    stop.set()
    turner.join()
    quiet = samples[: round(3.5 * _RATE)]
    assert np.all(np.isfinite(samples))
    assert np.max(np.abs(quiet)) < 0.005


# The clock.


def test_paced_frames_come_as_time_passes() -> None:
    clock = _Clock()
    player = _opened(paced=True, clock=clock)
    clock.now_s += 0.0105
    assert player.read(_HOP, 0.0).samples.shape[0] == _HOP
    assert player.read(_HOP, 0.0).samples.shape[0] < 100
    clock.now_s += 0.5
    delivered = player.stats().delivered_frames
    assert player.read(10 * _RATE, 0.0).samples.shape[0] == pytest.approx(0.51 * _RATE - delivered, abs=100)


def test_time_can_run_ten_times_as_fast() -> None:
    clock = _Clock()
    player = _opened(paced=True, speed=10.0, clock=clock)
    clock.now_s += 0.5
    assert player.read(10 * _RATE, 0.0).samples.shape[0] == pytest.approx(5 * _RATE, abs=500)


def test_a_reader_that_comes_late_catches_up_without_loss() -> None:
    clock = _Clock()
    player = _opened(paced=True, clock=clock)
    clock.now_s += 1.0
    late = [player.read(_HOP, 0.0).samples for _ in range(100)]
    np.testing.assert_array_equal(np.concatenate(late), _play(1.0))


def test_after_a_long_absence_the_player_goes_on_where_it_was() -> None:
    clock = _Clock()
    player = _opened(paced=True, clock=clock)
    clock.now_s += 0.1
    first = player.read(4800, 0.0).samples
    clock.now_s += 3600.0
    assert player.read(10 * _RATE, 0.0).samples.shape[0] < 100
    clock.now_s += 0.1
    rest = player.read(_HOP, 0.0).samples
    assert rest.shape[0] == _HOP
    assert first.shape[0] == 4800
    assert player.stats().lost_frames == 0


def test_reading_waits_for_real_time() -> None:
    player = _opened(paced=True)
    began_s = time.monotonic()
    for _ in range(10):
        assert player.read(_HOP, 1.0).samples.shape[0] == _HOP
    assert time.monotonic() - began_s >= 0.099
    player.close()


def test_closing_wakes_a_reader_and_may_be_done_twice() -> None:
    player = _opened(paced=True)
    blocks = []
    reader = threading.Thread(target=lambda: blocks.append(player.read(100 * _RATE, 60.0)))
    reader.start()
    player.close()
    player.close()
    reader.join(timeout=5.0)
    assert not reader.is_alive()
    assert blocks[0].ended
    assert blocks[0].samples.shape == (0, 1)
    assert player.read(10, 0.0).ended


# Where the parts sit, with the project's own averages.


def _loud(part: str, gain_db: float = 0.0, **how: object) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Average and peak of each hop of the second half of the first chorus, and the noise before it all."""
    chorus = next(section for section in evening(1) if section.kind is Kind.CHORUS)
    samples = _play(chorus.start_s + chorus.seconds, part, gain_db, **how)
    samples = samples[: samples.shape[0] // _HOP * _HOP]
    average_dbfs = SlowAverage(_RATE, samples.shape[1], _HOP).process(samples)
    peak_dbfs = amplitude_to_db(np.abs(samples).reshape(-1, _HOP, samples.shape[1]).max(axis=1).astype(float))
    begin = round(100 * (chorus.start_s + 1.0))
    quiet = samples[_RATE // 2 : 3 * _RATE]
    return (
        average_dbfs[begin:],
        peak_dbfs[begin:],
        mean_square_to_dbfs(np.mean(quiet.astype(float) ** 2, axis=0)),
    )


@pytest.mark.parametrize("part", ["bass", "guitar", "voice"])
def test_at_0_db_a_part_sits_in_fair_water(part: str) -> None:
    average_dbfs, peak_dbfs, noise_dbfs = _loud(part)
    playing = average_dbfs[average_dbfs > average_dbfs.max() - 10.0]
    # Within the window or a little under it, with peaks so far below -6 dBFS that a take may run louder.
    assert -21.5 < playing.mean() < -17.0
    assert -20.0 < np.percentile(average_dbfs, 90) < -14.0
    assert -12.0 < peak_dbfs.max() < -9.0
    assert noise_dbfs[0] == pytest.approx(-70.0, abs=1.5)


def test_at_0_db_every_drum_microphone_stays_under_the_ceiling() -> None:
    average_dbfs, peak_dbfs, noise_dbfs = _loud("drums")
    assert np.all(peak_dbfs.max(axis=0) < -10.0)
    assert np.all(peak_dbfs.max(axis=0) > -14.0)
    # Percussion: peaks far above the average.
    assert np.all(peak_dbfs.max(axis=0) - np.median(average_dbfs, axis=0) > 12.0)
    np.testing.assert_allclose(noise_dbfs, -70.0, atol=1.5)


@pytest.mark.parametrize("part", PARTS)
def test_12_db_more_runs_into_full_scale_and_stays_within_it(part: str) -> None:
    _, peak_dbfs, _ = _loud(part, 12.0)
    assert peak_dbfs.max() == 0.0


@pytest.mark.parametrize("part", PARTS)
def test_20_db_less_is_far_too_quiet_and_takes_the_noise_along(part: str) -> None:
    average_dbfs, _, noise_dbfs = _loud(part, -20.0)
    assert average_dbfs.max() < -30.0
    np.testing.assert_allclose(noise_dbfs, -90.0, atol=1.5)


def test_an_overloading_preamp_goes_flat_below_full_scale() -> None:
    _, peak_dbfs, _ = _loud("bass", overload=True)
    assert peak_dbfs.max() == pytest.approx(-17.0, abs=0.01)
    assert np.count_nonzero(peak_dbfs[:, 0] > -17.01) > 50


def test_hum_rises_above_the_noise() -> None:
    quiet = _play(3.0, hum=50.0)[:, 0].astype(float)
    assert mean_square_to_dbfs(float(np.mean(quiet**2))) == pytest.approx(-56.0, abs=0.5)
