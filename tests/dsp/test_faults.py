"""Faults of an input: each made on purpose, each absent from ordinary sound."""

from __future__ import annotations

import functools
import time

import numpy as np
import pytest

from dsp.faults import DC_OFFSET, FaultFinder
from dsp.reading import FaultKind

RATE_HZ = 48_000
HOP = 480


def playing(seconds=12.0, seed=1, level=0.3, lowest_hz=110.0):
    """Mono notes that decay, with a rest after every fourth one."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    beat = 0.5
    out = np.zeros(t.size)
    for index in range(int(seconds / beat)):
        if index % 5 == 4:
            continue
        inside = (t >= index * beat) & (t < (index + 1) * beat)
        local = t[inside] - index * beat
        tone = lowest_hz * 2 ** (rng.integers(0, 12) / 12)
        waves = sum(np.sin(2 * np.pi * tone * k * local + rng.uniform(0, 6)) / k for k in range(1, 6))
        out[inside] += waves * np.exp(-4 * local) * np.minimum(1, local / 0.005)
    return level * out / np.abs(out).max()


def noise(frames, dbfs, seed=9):
    return np.random.default_rng(seed).normal(0, 10 ** (dbfs / 20), frames)


def stereo(left, right):
    return np.stack((left, right), axis=1).astype(np.float32)


def watch(x, sizes=None, **options):
    x = np.asarray(x, np.float32)
    x = x[:, np.newaxis] if x.ndim == 1 else x
    finder = FaultFinder(RATE_HZ, x.shape[1], HOP, **options)
    whole = x.shape[0] // HOP
    at = 0
    for size in sizes or [whole]:
        finder.process(x[at * HOP : (at + size) * HOP])
        at += size
    return finder


def kinds(faults):
    return [fault.kind for fault in faults]


def both(finder):
    """The faults, where now and overall agree."""
    assert kinds(finder.faults) == kinds(finder.final())
    return finder.final()


def room(seed=1):
    """Two microphones in a room: much in common, noise of their own."""
    a, b = playing(seed=seed), playing(seed=seed + 50)
    return stereo(a + 0.4 * b + noise(a.size, -75, seed), 0.5 * a + b + noise(a.size, -74, seed + 1))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_ordinary_takes_have_none(seed):
    assert both(watch(room(seed))) == ()
    assert both(watch(room(seed)[:, 0])) == ()
    assert both(watch(playing(seed=seed, lowest_hz=41.2, level=0.9) + noise(12 * RATE_HZ, -80))) == ()


def test_exact_zeros_are_named_after_two_seconds_and_taken_back_by_a_sample():
    finder = FaultFinder(RATE_HZ, 2, HOP)
    zeros = np.zeros((HOP, 2), np.float32)
    for _ in range(199):
        finder.process(zeros)
    assert finder.faults == ()
    finder.process(zeros)
    assert kinds(finder.faults) == [FaultKind.DIGITAL_SILENCE]
    assert finder.faults[0].value == pytest.approx(2.0)
    finder.process(np.full((HOP, 2), 1e-7, np.float32))
    assert finder.faults == ()


def test_file_with_a_silent_end_is_not_a_silent_file():
    x = np.concatenate((room(), np.zeros((3 * RATE_HZ, 2), np.float32)))
    finder = watch(x)
    assert kinds(finder.faults) == [FaultKind.DIGITAL_SILENCE]
    assert finder.final() == ()
    assert kinds(watch(np.zeros((RATE_HZ, 2))).final()) == [FaultKind.DIGITAL_SILENCE]


@pytest.mark.parametrize(("right", "below_db"), [(None, None), (-95.0, -65.0)])
def test_dead_side(right, below_db):
    left = playing()
    other = np.zeros(left.size) if right is None else noise(left.size, right)
    (fault,) = both(watch(stereo(left, other)))
    assert (fault.kind, fault.channel) == (FaultKind.DEAD_CHANNEL, 1)
    if below_db is None:
        assert fault.value is None
    else:
        assert fault.value < below_db
    (fault,) = both(watch(stereo(other, left)))
    assert fault.channel == 0


def test_a_microphone_that_only_overhears_is_not_dead():
    left = playing()
    assert both(watch(stereo(left, 0.01 * left + noise(left.size, -75)))) == ()


def test_dead_side_comes_back_once_it_plays():
    dead = stereo(playing(), np.zeros(12 * RATE_HZ))
    finder = watch(np.concatenate((dead, room())))
    assert finder.faults == ()


def test_identical_channels():
    x = playing() + noise(12 * RATE_HZ, -70)
    (fault,) = both(watch(stereo(x, x)))
    assert (fault.kind, fault.channel) == (FaultKind.SAME_CHANNELS, 1)
    dithered = stereo(x, x + noise(x.size, -96))
    assert kinds(both(watch(dithered))) == [FaultKind.SAME_CHANNELS]
    assert both(watch(stereo(x, x + noise(x.size, -60)))) == ()
    assert both(watch(stereo(x, 0.9 * x))) == ()  # panned, not copied


def test_inverted_pair():
    x = playing()
    (fault,) = both(watch(stereo(x + noise(x.size, -60, 1), -0.8 * x + noise(x.size, -60, 2))))
    assert (fault.kind, fault.channel) == (FaultKind.INVERTED_CHANNELS, 1)
    assert fault.value < -0.9


def test_a_chorus_that_spreads_one_voice_is_no_inverted_pair():
    x, own = playing(), noise(12 * RATE_HZ, -20)
    own *= 0.31 * x.std() / own.std()
    pair = stereo(x + own, own - x)  # correlation -0.82 to -0.93, as a chorus makes it of a steady tone
    assert -0.93 < np.corrcoef(pair.T)[0, 1] < -0.8
    assert both(watch(pair)) == ()


@pytest.mark.parametrize("offset", [0.006, -0.02])
def test_dc_offset_with_its_value(offset):
    x = playing(30.0) + noise(30 * RATE_HZ, -80) + offset
    finder = watch(x)
    (now,), (overall,) = finder.faults, finder.final()
    assert now.kind == overall.kind == FaultKind.DC_OFFSET
    assert now.value == pytest.approx(offset, abs=2e-4)
    assert overall.value == pytest.approx(np.float32(x).mean(dtype=np.float64), abs=1e-5)


@pytest.mark.parametrize("seconds", [3.0, 9.0])
def test_dc_offset_of_a_short_file(seconds):
    x = playing(seconds) + 0.02
    assert kinds(watch(x).final()) == [FaultKind.DC_OFFSET]


@pytest.mark.parametrize("frequency_hz", [20.0, 30.87, 41.2, 50.0, 99.9, 100.0, 100.3, 101.0])
def test_no_steady_bass_looks_like_an_offset(frequency_hz):
    t = np.arange(25 * RATE_HZ) / RATE_HZ
    for phase in (0.0, 1.2):
        finder = FaultFinder(RATE_HZ, 1, HOP)
        x = (0.95 * np.sin(2 * np.pi * frequency_hz * t + phase)).astype(np.float32)[:, np.newaxis]
        for second in range(25):
            finder.process(x[second * RATE_HZ : (second + 1) * RATE_HZ])
            assert finder.faults == ()
            assert finder.final() == ()


def test_offset_that_a_converter_really_has_is_let_be():
    assert both(watch(playing(30.0) + 0.3 * DC_OFFSET)) == ()


def quantised(x, bits):
    step = 2.0 ** (1 - bits)
    return np.round(x / step) * step


@pytest.mark.parametrize("bits", [12, 16])
def test_low_bits_that_are_always_zero(bits):
    x = quantised(playing() + noise(12 * RATE_HZ, -60), bits)
    (fault,) = both(watch(x, claimed_bits=24))
    assert (fault.kind, fault.channel, fault.value) == (FaultKind.LOW_RESOLUTION, None, float(bits))
    assert kinds(both(watch(x))) == [FaultKind.LOW_RESOLUTION]


def test_resolution_as_promised():
    x = playing() + noise(12 * RATE_HZ, -60)
    assert both(watch(quantised(x, 16), claimed_bits=16)) == ()
    assert both(watch(quantised(x, 24), claimed_bits=24)) == ()
    assert both(watch(quantised(x, 22), claimed_bits=24)) == ()
    assert both(watch(x, claimed_bits=24)) == ()


def test_test_tone_of_few_values_says_nothing_about_the_resolution():
    square = 0.5 * np.sign(np.sin(2 * np.pi * 110 * np.arange(10 * RATE_HZ) / RATE_HZ + 0.1))
    assert both(watch(square, claimed_bits=24)) == ()


def automatic_gain(x, release_db_s, target_dbfs=-20.0, most_db=30.0):
    """Down within 50 ms, up at a steady rate, never beyond its most."""
    levels = 10 * np.log10((x.reshape(-1, HOP) ** 2).mean(axis=1) + 1e-12)
    gain_db, gains = 0.0, np.zeros(levels.size)
    for index, level_db in enumerate(levels):
        wanted = min(target_dbfs - level_db, most_db)
        if wanted < gain_db:
            gain_db += (wanted - gain_db) * 0.18
        else:
            gain_db = min(wanted, gain_db + release_db_s * HOP / RATE_HZ)
        gains[index] = gain_db
    curve = np.interp(np.arange(x.size), np.arange(gains.size) * HOP + HOP / 2, gains)
    return x * 10 ** (curve / 20)


@functools.cache
def phrases(seconds=40.0, seed=3):
    """Playing of 2 to 3 s, then a pause of 1.5 to 2.5 s, over a room's noise."""
    x = playing(seconds, seed)
    rng = np.random.default_rng(seed)
    at = 0.0
    while at < seconds:
        at += rng.uniform(2, 3)
        stop = at + rng.uniform(1.5, 2.5)
        x[int(at * RATE_HZ) : int(stop * RATE_HZ)] = 0.0
        at = stop
    return x + noise(x.size, -65)


@pytest.mark.parametrize("release_db_s", [8.0, 15.0])
def test_automatic_gain_pumps(release_db_s):
    finder = watch(automatic_gain(phrases(), release_db_s))
    (fault,) = finder.final()
    assert (fault.kind, fault.channel) == (FaultKind.PUMPING, 0)
    assert 5 < fault.value < 30


def test_same_phrases_without_it_do_not():
    assert both(watch(phrases())) == ()


def test_swelling_notes_do_not_pump():
    t = np.arange(60 * RATE_HZ) / RATE_HZ
    swell = 10 ** ((-50 + 45 * (t % 5.0) / 4.0).clip(-50, -5) / 20) * (t % 5.0 < 4.5)
    x = 0.3 * swell * np.sin(2 * np.pi * 220 * t) + noise(t.size, -70)
    assert both(watch(x)) == ()


def test_grouping_of_hops_changes_nothing():
    x = stereo(automatic_gain(phrases(30.0), 10.0) + 0.008, np.zeros(30 * RATE_HZ))
    at_once = watch(x)
    assert len(at_once.final()) >= 2
    whole = x.shape[0] // HOP
    for size in (1, 7, 333):
        sizes = [size] * (whole // size) + ([whole % size] if whole % size else [])
        other = watch(x, sizes)
        assert other.final() == at_once.final()
        assert other.faults == at_once.faults


def test_swapped_channels_swap_the_faults():
    x = stereo(playing() + 0.02, noise(12 * RATE_HZ, -100))
    there = {(fault.kind, fault.channel, fault.value) for fault in watch(x).final()}
    back = {(fault.kind, 1 - fault.channel, fault.value) for fault in watch(x[:, ::-1]).final()}
    assert len(there) == 2
    assert there == back


def test_cost():
    x = np.tile(room(), (5, 1))
    finder = FaultFinder(RATE_HZ, 2, HOP)
    finder.process(x[: HOP * 100])
    begun = time.process_time()
    finder.process(x)
    assert time.process_time() - begun < 0.5  # a minute of stereo: well under 0.1 s when nothing else runs
